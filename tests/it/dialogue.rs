//! What the dialogue acts on, asks back, passes over and warns of, without a sound.
use crate::support;

use support::header;
use support::talk::{Talk, person, sample};
use zonecall::exam::closed_sets::Presence;
use zonecall::exam::event::{Event, Header, Horse, Outcome};
use zonecall::language::closed_sets::AnswerWord;
use zonecall::session::dialogue::{DialogueOptions, Output, Speech};
use zonecall::session::effect::{AnswerExpected, Arrival, Effect, Floor, Input};
use zonecall::session::notice::{Device, Notice, ScreenChange};
use zonecall::session::tone::Tone;
use zonecall::speech::utterance::{Rival, Utterance};

#[test]
fn what_is_sure_is_acted_on_and_sounded() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha transverse");
    assert_eq!(talk.calls(), ["left fore zone two alpha transverse"]);
    assert_eq!(talk.tones(), [Tone::Understood]);
    talk.say("nonsense of somebody");
    assert_eq!(talk.tones(), [Tone::Understood, Tone::NotUnderstood]);
    assert_eq!(talk.calls().len(), 1);
}

#[test]
fn what_is_doubtful_waits_for_an_answer_by_word_or_key() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").unsure("zone two bravo", "zone three bravo");
    assert_eq!(talk.said(), ["zone two bravo, or zone three bravo?"]);
    assert_eq!(talk.calls().len(), 1, "nothing is done before the answer");
    assert!(talk.question().is_some());
    let expects = |talk: &Talk| {
        talk.done.iter().rev().find_map(|effect| match effect {
            Effect::Expect(expected) => Some(expected.answer),
            _ => None,
        })
    };
    assert_eq!(expects(&talk), Some(AnswerExpected::Yes));
    talk.at_s += 3.0;
    talk.say("second");
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("3B"));
    assert_eq!((talk.question(), expects(&talk)), (None, Some(AnswerExpected::No)));
    talk.unsure("zone two bravo", "good boy").step(Input::Key(AnswerWord::Yes));
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("2B"));
}

/// While a question waits an answer is what is most likely said, though the engine is not quite sure of it.
#[test]
fn an_answer_counts_unless_another_call_is_near() {
    let answered = |words: &str, rival: &str, behind: f64| {
        let mut talk = Talk::silent();
        talk.say("left fore").say("off fore");
        assert!(talk.question().is_some());
        let rivals = vec![Rival { words: rival.to_owned(), behind }];
        talk.utter(|utterance| Utterance { unsure: true, rivals, ..utterance }, words, Arrival::Whole);
        (talk.question().is_some(), talk.dialogue.exam().context.place.limb.clone().unwrap_or_default())
    };
    let limb = |waits: bool, limb: &str| (waits, zonecall::code::LimbCode::from(limb));
    assert_eq!(answered("no", "note", 7.7), limb(false, "LF"), "far behind");
    assert_eq!(answered("no", "good boy", 0.5), limb(false, "LF"), "no call of its own");
    assert_eq!(answered("yes", "note", 7.7), limb(false, "RF"));
    assert_eq!(answered("yes", "no", 0.5), limb(true, "LF"), "another answer, and near");
    assert_eq!(answered("no", "note", 0.5), limb(true, "LF"), "another call, and near");
    let mut talk = Talk::silent();
    talk.say("left fore").say("off fore");
    talk.utter(|utterance| utterance, "yes", Arrival::Broken);
    assert!(talk.question().is_some(), "sound was lost in it");
}

#[test]
fn a_question_that_nobody_answers_stays_open_for_the_reviewer() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha transverse").unsure("zone two bravo", "zone three bravo");
    talk.at_s += 20.0;
    talk.say("yes");
    assert_eq!(talk.told(Notice::Listening), ["no answer: left open for review"]);
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("2A"));
    assert!(talk.dialogue.exam().utterances[1].is_open());
}

#[test]
fn its_own_voice_is_never_a_call() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("where am i");
    assert_eq!(talk.said(), ["left fore, zone 2A, transverse"]);
    talk.at_s -= 1.5;
    talk.own_voice(2.0).say("left fore zone two alpha transverse");
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Ignored));
    assert_eq!(talk.calls().len(), 2);
    talk.say("zone two bravo");
    assert_eq!(talk.calls().len(), 3, "when it has died away a person is heard again");
}

/// No word of the code that the program reads out stands for a save.
/// The alarm names the plane, and so does a person meanwhile, whose microphone does not hear the program at all.
#[test]
fn a_word_of_its_own_that_comes_by_itself_and_late_is_a_persons() {
    let alarmed = || {
        let mut talk = Talk::aloud();
        talk.say("left fore zone two alpha longitudinal").say("zone two bravo").own_voice(4.0);
        assert_eq!(talk.said().last(), Some(&"no save: left fore, zone 2A, longitudinal"));
        talk
    };
    let mut talk = alarmed();
    talk.at_s += 2.0;
    talk.say("longitudinal");
    assert!(
        talk.question().is_some_and(|question| question.contains("longitudinal")),
        "{:?}",
        talk.question()
    );
    // One that hears it hears its first words, too: then it is the program's own.
    let mut talk = alarmed();
    let began_s = talk.at_s;
    talk.say("left fore").at_s = began_s + 2.0;
    talk.say("longitudinal");
    assert_eq!(talk.outcomes().iter().filter(|outcome| **outcome == Outcome::Ignored).count(), 2);
}

#[test]
fn a_save_over_the_programs_own_voice_is_not_taken_for_it() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("where am i");
    assert_eq!(talk.said(), ["left fore, zone 2A, transverse"]);
    talk.at_s -= 1.5;
    talk.own_voice(2.0).say("save");
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Asked), "never lost in silence");
}

/// It is not acted on, for the two voices are mixed; it is read back, and labels after it are in doubt until the answer.
#[test]
fn a_call_over_the_programs_own_voice_is_read_back_once() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("where am i");
    talk.at_s -= 1.5;
    talk.own_voice(2.0);
    talk.say("zone two bravo");
    assert_eq!((talk.calls().len(), talk.outcomes().last()), (2, Some(&Outcome::Asked)));
    assert_eq!(talk.said().last(), Some(&"zone two bravo?"));
    assert!(talk.dialogue.exam().utterances.last().unwrap().is_open(), "it puts the next labels in doubt");
    // Over the question, too: not once more, or the program would talk to itself.
    talk.at_s -= 1.5;
    talk.own_voice(2.0);
    talk.say("superficial flexor normal");
    assert_eq!(talk.outcomes().last(), Some(&Outcome::NotUnderstood));
    talk.say("yes");
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("2B"));
}

/// What is no clear call has a tone and a line, and labels after it are in doubt.
#[test]
fn what_a_person_says_while_the_program_speaks_is_not_lost_in_silence() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("where am i");
    talk.at_s -= 1.5;
    talk.own_voice(2.0);
    let tones = talk.tones().len();
    talk.say("zone two blue");
    assert_eq!(talk.calls().len(), 2);
    assert_eq!(talk.outcomes().last(), Some(&Outcome::NotUnderstood));
    assert_eq!(talk.tones()[tones..], [Tone::NotUnderstood]);
    assert_eq!(talk.told(Notice::NotUnderstood), ["zone two blue (while I was speaking: say it again)"]);
    assert!(talk.dialogue.exam().utterances.last().unwrap().is_open(), "it puts the next labels in doubt");
}

#[test]
fn with_an_earpiece_what_is_said_while_the_program_speaks_counts_as_ever() {
    let mut talk = Talk::new(DialogueOptions { output: Output::Earpiece, ..person(Speech::Aloud) });
    talk.say("left fore zone two alpha transverse").say("where am i");
    talk.at_s -= 1.5;
    talk.own_voice(2.0).say("zone two bravo");
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("2B"));
}

#[test]
fn what_was_said_before_listening_was_announced_is_not_acted_on() {
    let mut talk = Talk::silent();
    talk.utter(|utterance| utterance, "off fore", Arrival::TooEarly);
    assert_eq!((talk.calls().len(), talk.outcomes()), (0, vec![Outcome::Ignored]));
    assert_eq!((talk.tones(), talk.told(Notice::Ignored).len()), (vec![Tone::NotUnderstood], 1));
}

#[test]
fn a_save_or_a_zone_without_a_limb_asks_which_and_does_not_sound_like_success() {
    let mut talk = Talk::aloud();
    talk.say("zone two alpha").say("zone two bravo");
    assert_eq!(talk.said(), ["which limb?"], "aloud once");
    assert_eq!(talk.told(Notice::Incomplete).len(), 2, "on the screen each time");
    talk.at_s += 5.0;
    talk.say("save");
    talk.at_s += 5.0;
    talk.say("save");
    assert_eq!(talk.said().len(), 3, "at a save each time: {:?}", talk.said());
    assert!(!talk.tones().contains(&Tone::Understood), "{:?}", talk.tones());
    talk.at_s += 5.0;
    talk.say("left fore");
    talk.say("save");
    assert_eq!(talk.said().last(), Some(&"which zone?"));
}

#[test]
fn the_other_pair_of_side_words_waits_for_a_yes() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha").say("save").say("off fore");
    assert_eq!(talk.dialogue.exam().context.place.limb.as_deref(), Some("LF"));
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Asked));
    talk.say("no");
    assert_eq!(talk.dialogue.exam().context.place.limb.as_deref(), Some("LF"));
    talk.say("near fore").say("yes");
    assert_eq!(talk.calls().last(), Some(&"near fore"));
}

#[test]
fn a_save_ends_a_note_and_that_is_told() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha transverse").say("note");
    talk.at_s -= 1.0;
    talk.say("good boy");
    talk.at_s -= 1.0;
    talk.say("save");
    assert_eq!(talk.calls().last(), Some(&"save"));
    assert!(talk.told(Notice::Note).contains(&"the note has ended here"), "{:?}", talk.told(Notice::Note));
}

#[test]
fn a_question_that_expired_leaves_the_screen_by_itself() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha transverse").unsure("zone two bravo", "zone three bravo");
    assert!(talk.question().is_some());
    talk.at_s += 20.0;
    talk.step(Input::Time);
    assert_eq!(talk.question(), None);
}

#[test]
fn a_place_that_was_corrected_was_not_left_without_a_save() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha transverse").say("correction zone two bravo");
    assert!(talk.told(Notice::Forgotten).is_empty(), "{:?}", talk.told(Notice::Forgotten));
    talk.say("zone three alpha").say("disregard that");
    let left = talk.told(Notice::Forgotten);
    assert_eq!(left, ["left fore, zone 2B, transverse was left without a save"]);
}

#[test]
fn a_correction_moves_the_stills_on_the_map() {
    let options = DialogueOptions { export_delay: Some(sample(1.0).0), ..person(Speech::Silent) };
    let mut talk = Talk::new(options);
    talk.say("left fore zone two alpha transverse");
    talk.at_s += 3.0;
    let frame = Box::new(support::still::frame("1.2.3"));
    talk.step(Input::Still { frame, at: sample(talk.at_s) });
    talk.say("correction zone two bravo");
    let moved = talk.done.iter().find_map(|effect| match effect {
        Effect::Show(ScreenChange::StillsOf(views)) => Some(views),
        _ => None,
    });
    assert_eq!(moved.unwrap()[0].codes(), "LF 2B T");
}

#[test]
fn the_end_of_the_exam_is_summed_up_and_so_is_a_limb_when_it_is_left() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone one alpha transverse").say("save").say("right fore");
    assert_eq!(talk.told(Notice::Summary), ["left fore: 13 views have no save"]);
    assert_eq!(talk.said(), ["left fore: 13 missing"], "shorter for the ear");
    talk.say("end of exam");
    let summary = talk.told(Notice::Summary);
    assert_eq!(summary[1], "end of exam: 27 of 28 views have no save");
    assert!(summary[2].starts_with("missing: LF 1A L, "), "{summary:?}");
    assert!(summary[2].ends_with("and 24 more"), "{summary:?}");
    assert_eq!(talk.said().last(), Some(&"27 views missing, end anyway?"));
}

/// The scheme has fourteen views of this limb; all but the last are saved.
fn all_views_but_one() -> Talk {
    let mut talk = Talk::aloud();
    talk.say("left fore");
    for zone in ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo"] {
        talk.say(&format!("zone {zone} transverse")).say("save").say("longitudinal").say("save");
    }
    talk.say("zone three charlie transverse").say("save");
    talk
}

#[test]
fn one_view_is_not_spoken_of_as_several() {
    let mut talk = all_views_but_one();
    talk.say("right fore");
    assert_eq!(talk.told(Notice::Summary), ["left fore: 1 view has no save"]);
    let mut talk = all_views_but_one();
    talk.say("end of exam");
    assert_eq!(talk.told(Notice::Summary)[0], "end of exam: 1 of 14 views has no save");
    assert_eq!(talk.said().last(), Some(&"1 view missing, end anyway?"));
}

#[test]
fn the_summary_comes_once_and_after_the_yes_only_what_has_changed() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone one alpha transverse").say("save").say("end of exam");
    let shown = talk.told(Notice::Summary).len();
    assert!(shown >= 2, "{:?}", talk.told(Notice::Summary));
    assert!(
        !talk.told(Notice::Summary).iter().any(|line| line.contains("not understood")),
        "it is understood"
    );
    talk.at_s += 3.0;
    talk.say("yes");
    assert_eq!(talk.told(Notice::Summary)[shown..], ["the exam has ended"]);
    assert_eq!(talk.said().last(), Some(&"the exam has ended"));
    // A save said with the end counts after the yes: one view less is missing.
    let mut talk = Talk::aloud();
    talk.say("left fore zone one alpha transverse").say("save end of exam");
    let shown = talk.told(Notice::Summary).len();
    talk.at_s += 3.0;
    talk.say("yes");
    assert_eq!(talk.told(Notice::Summary)[shown..], ["the exam has ended; 13 views missing"]);
    // After a no it is a new end, and comes whole.
    let mut talk = Talk::silent();
    talk.say("left fore zone one alpha transverse").say("save").say("end of exam");
    let shown = talk.told(Notice::Summary).len();
    talk.say("no").say("end of exam");
    assert_eq!(talk.told(Notice::Summary).len(), 2 * shown);
}

/// The question before the end does not say so, and a box that ends its day with nameless exams leaves them to nobody.
#[test]
fn the_end_says_that_the_horse_has_no_name_after_its_question_too() {
    let nameless = Header { horse: Horse::default(), ..header() };
    let mut talk = Talk::of(nameless, person(Speech::Aloud));
    talk.say("left fore zone one alpha transverse").say("save").say("end of exam");
    talk.at_s += 3.0;
    talk.say("yes");
    assert_eq!(talk.said().last(), Some(&"the exam has ended; horse not named"));
    assert_eq!(talk.told(Notice::Summary).last(), Some(&"the exam has ended; horse not named"));
}

/// What was heard unsurely was asked about without a summary: it comes when the exam ends.
#[test]
fn an_end_that_was_only_heard_unsurely_is_summed_up_after_the_yes() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone one alpha transverse").say("save").unsure("end of exam", "good boy");
    talk.at_s += 3.0;
    talk.say("yes");
    assert!(talk.dialogue.has_ended());
    assert_eq!(talk.told(Notice::Summary)[0], "end of exam: 13 of 14 views have no save");
    assert_eq!(talk.said().last(), Some(&"13 views missing"));
}

#[test]
fn a_lesion_without_its_score_is_named_in_the_summary() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone one alpha transverse").say("superficial flexor core lesion").say("end of exam");
    let summary = talk.told(Notice::Summary);
    assert!(summary.iter().any(|line| line.starts_with("values not given: ")), "{summary:?}");
}

#[test]
fn a_limb_that_is_left_again_is_summed_up_only_when_something_changed() {
    let mut talk = Talk::silent();
    talk.say("left fore zone one alpha transverse").say("save").say("right fore").say("left fore");
    talk.say("right fore");
    let of_left = talk.told(Notice::Summary).iter().filter(|line| line.starts_with("left fore")).count();
    assert_eq!(of_left, 1, "{:?}", talk.told(Notice::Summary));
}

#[test]
fn an_exam_with_missing_views_ends_after_a_yes_and_goes_on_after_a_no() {
    let mut talk = Talk::silent();
    talk.say("left fore zone one alpha transverse").say("save").say("end of exam");
    assert!(!talk.dialogue.has_ended());
    talk.say("no");
    assert_eq!(talk.told(Notice::Settled).last(), Some(&"the exam goes on"));
    talk.say("zone one bravo");
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("1B"));
    talk.say("end of exam").say("yes");
    assert!(talk.dialogue.has_ended());
    assert_eq!(talk.calls().last(), Some(&"end of exam"));
    assert!(talk.dialogue.exam().utterances.iter().all(|heard| !heard.is_open()));
}

#[test]
fn an_exam_whose_end_was_said_ends_by_itself_when_nobody_objects_or_when_it_is_said_again() {
    let mut talk = Talk::silent();
    talk.say("left fore zone one alpha transverse").say("save").say("end of exam");
    talk.step(Input::Time);
    assert!(!talk.dialogue.has_ended(), "there is time to object");
    talk.at_s += 10.0;
    talk.step(Input::Time);
    assert!(talk.dialogue.has_ended(), "the vet may have gone");
    assert_eq!(talk.calls().last(), Some(&"end of exam"));
    let mut talk = Talk::silent();
    talk.say("left fore zone one alpha transverse").say("save").say("end of exam").say("end of exam");
    assert!(talk.dialogue.has_ended());
}

#[test]
fn a_call_after_the_end_of_an_exam_with_missing_views_is_not_lost() {
    let mut talk = Talk::silent();
    talk.say("left fore zone one alpha transverse").say("save").say("end of exam").say("zone one bravo");
    talk.at_s += 20.0;
    talk.step(Input::Time);
    assert!(!talk.dialogue.has_ended());
    assert_eq!(talk.calls().last(), Some(&"zone one bravo"));
    assert!(talk.dialogue.exam().utterances.iter().all(|heard| !heard.is_open()), "no label is in doubt");
}

#[test]
fn the_program_never_begins_to_speak_while_somebody_speaks() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").step(Input::Floor(Floor::Taken));
    talk.say("where am i");
    assert!(talk.said().is_empty(), "{:?}", talk.said());
    talk.step(Input::Floor(Floor::Free));
    assert_eq!(talk.said(), ["left fore, zone 2A, transverse"]);
    talk.at_s += 10.0;
    talk.step(Input::Floor(Floor::Taken));
    talk.say("where am i");
    talk.at_s += 10.0;
    talk.step(Input::Floor(Floor::Free));
    assert_eq!(talk.said().len(), 1, "what comes so late is only shown");
    assert_eq!(talk.told(Notice::Answer).len(), 2);
}

#[test]
fn a_zone_that_the_program_named_as_missing_is_not_asked_about() {
    let mut talk = Talk::silent();
    talk.say("left fore zone two alpha transverse").say("left fore zone three charlie");
    assert_eq!(talk.told(Notice::Forgotten), ["left fore, zone 2A, transverse was left without a save"]);
    talk.say("zone two alpha");
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("2A"));
    talk.say("left fore zone three charlie").say("zone one bravo");
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Asked), "one that was not named is read back");
}

#[test]
fn while_the_switch_is_off_nothing_counts() {
    let mut talk = Talk::silent();
    talk.utter(|utterance| utterance, "left fore", Arrival::SwitchedOff);
    assert_eq!((talk.calls().len(), talk.outcomes()), (0, vec![Outcome::Ignored]));
}

#[test]
fn half_a_phrase_is_asked_about() {
    let mut talk = Talk::silent();
    talk.utter(|utterance| utterance, "left fore zone two alpha", Arrival::Broken);
    assert_eq!((talk.calls().len(), talk.outcomes()), (0, vec![Outcome::Asked]));
}

#[test]
fn a_view_that_is_left_without_a_save_is_warned_of_once() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("zone two bravo");
    let warning = "left fore, zone 2A, transverse was left without a save";
    assert_eq!(talk.told(Notice::Forgotten), [warning]);
    assert_eq!(talk.said(), ["no save: left fore, zone 2A, transverse"], "three seconds at most");
    assert!(talk.tones().contains(&Tone::Alarm));
}

#[test]
fn with_the_scanners_folder_the_still_that_does_not_come_is_warned_of() {
    let options = DialogueOptions { export_delay: Some(sample(3.0).0), ..person(Speech::Silent) };
    let mut talk = Talk::new(options);
    talk.say("left fore zone two alpha transverse").say("zone two bravo");
    talk.step(Input::Time);
    assert!(talk.told(Notice::Forgotten).is_empty(), "it may still be on its way");
    talk.at_s += 10.0;
    talk.step(Input::Time);
    assert_eq!(talk.told(Notice::Forgotten), ["left fore, zone 2A, transverse has no still"]);
    talk.step(Input::LastStills);
    assert_eq!(talk.told(Notice::Forgotten).len(), 1, "each is told once");
}

#[test]
fn a_microphone_that_goes_is_written_down_and_sounded() {
    let mut talk = Talk::silent();
    let name = "headset".to_owned();
    talk.step(Input::Device { device: Device::Microphone, presence: Presence::Lost, name });
    assert_eq!(talk.tones(), [Tone::Alarm]);
    assert_eq!(talk.told(Notice::Fault).len(), 1);
    assert!(
        matches!(&talk.lines.last().unwrap().event, Event::Microphone { state, .. } if *state == Presence::Lost)
    );
}

#[test]
fn a_recording_is_never_asked_about() {
    let mut talk = Talk::new(DialogueOptions::default());
    talk.say("left fore zone two alpha transverse").unsure("zone two bravo", "zone three bravo");
    assert_eq!(talk.outcomes(), [Outcome::Calls, Outcome::NotUnderstood]);
    assert!(talk.said().is_empty());
}
