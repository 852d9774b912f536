//! Calls among the words of a note: not acted on, and never in silence.
use zonecall::exam::event::Outcome;
use zonecall::session::notice::Notice;
use zonecall::session::tone::Tone;

use crate::support::talk::Talk;

/// What a note took in was not acted on: that is heard and shown, whether the note was open or opened by the same utterance.
#[test]
fn a_call_that_a_note_swallowed_has_a_tone_and_a_line() {
    let swallowed = |opening: &str, said: &str, unsure: bool| {
        let mut talk = Talk::silent();
        talk.say("left fore zone two alpha transverse");
        if !opening.is_empty() {
            talk.say(opening).at_s -= 1.0;
        }
        let (tones, lines) = (talk.tones().len(), talk.told(Notice::NotUnderstood).len());
        match unsure {
            true => talk.unsure(said, "shave"),
            false => talk.say(said),
        };
        let told = talk.told(Notice::NotUnderstood)[lines..].join("; ");
        (talk.outcomes().last().copied(), talk.tones()[tones..].to_vec(), told)
    };
    for (opening, said, unsure, what) in [
        ("note lame", "superficial core lesion", false, "superficial"),
        ("note", "save", true, "save"),
        ("", "note old scar from last year save", false, "save"),
    ] {
        let (outcome, tones, told) = swallowed(opening, said, unsure);
        assert_eq!(
            (outcome, &tones[..]),
            (Some(Outcome::Note), &[Tone::NotUnderstood][..]),
            "{said}: {told}"
        );
        assert!(told.contains(&format!("it holds `{what}")) && told.contains("end of note"), "{told}");
    }
    let (outcome, tones, told) = swallowed("note", "good boy", false);
    assert_eq!((outcome, tones, told.as_str()), (Some(Outcome::Note), vec![], ""));
}
