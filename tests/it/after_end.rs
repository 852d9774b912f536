//! What is said after "end of exam" in a recording, and the stills that were saved then.
use crate::support::BUILT_IN;
use crate::support::talk::{Talk, sample};

use std::collections::BTreeSet;

use zonecall::exam::call::Act;
use zonecall::exam::event::{AudioFile, CloseReason, Event, Frame, Outcome};
use zonecall::frames::pair::pair;
use zonecall::frames::pairing::Tie;
use zonecall::knowledge::assemble::record;
use zonecall::session::dialogue::DialogueOptions;
use zonecall::session::effect::Input;

const VIEW: &str = "left fore zone one alpha transverse";

/// A recording in which this is said; nobody listens to what the program would ask.
fn recorded(said: &[&str]) -> Talk {
    let mut talk = Talk::new(DialogueOptions::default());
    for words in said {
        talk.say(words);
    }
    talk
}

/// Every view of the left fore, called and saved.
fn all_views() -> Vec<String> {
    let zones =
        ["one alpha", "one bravo", "two alpha", "two bravo", "three alpha", "three bravo", "three charlie"];
    let mut said = vec!["left fore".to_owned()];
    for zone in zones {
        for plane in ["transverse", "longitudinal"] {
            said.extend([format!("zone {zone} {plane}"), "save".to_owned()]);
        }
    }
    said
}

fn rules(talk: &Talk) -> BTreeSet<String> {
    let exam = talk.dialogue.exam();
    let record = record(exam, &pair(exam, &exam.frames), &BUILT_IN.1);
    record.findings.into_iter().map(|finding| finding.rule).collect()
}

#[test]
fn while_views_are_missing_a_call_after_the_end_counts_as_it_does_at_the_horse() {
    let mut talk = recorded(&[VIEW, "save", "end of exam"]);
    assert!(talk.dialogue.has_ended());
    talk.at_s += 60.0;
    talk.say("right fore zone two bravo transverse").say("deep flexor core lesion").say("save");
    assert!(!talk.dialogue.has_ended());
    assert_eq!(talk.calls().last(), Some(&"save"));
    assert_eq!(talk.dialogue.exam().context.place.limb.as_deref(), Some("RF"));
    talk.say("end of exam");
    assert!(talk.dialogue.has_ended());
    assert_eq!(talk.dialogue.counts().after_end, 0);
    let found = rules(&talk);
    assert!(found.contains("exam-went-on") && !found.contains("unheard-after-end"), "{found:?}");
}

#[test]
fn talk_does_not_go_on_with_an_exam_and_is_no_loss() {
    let talk = recorded(&[VIEW, "save", "end of exam", "yes", "steady good boy"]);
    assert!(talk.dialogue.has_ended());
    assert_eq!(talk.outcomes()[3..], [Outcome::Talk, Outcome::Talk]);
    assert_eq!(talk.dialogue.counts().after_end, 0);
    assert!(!rules(&talk).contains("unheard-after-end"));
}

#[test]
fn no_goes_on_with_an_exam_that_has_all_views() {
    let mut said = all_views();
    said.push("end of exam".to_owned());
    let said: Vec<&str> = said.iter().map(String::as_str).collect();
    let mut talk = recorded(&said);
    assert!(talk.dialogue.has_ended(), "all views were saved");
    talk.say("zone two bravo").say("save");
    assert_eq!(talk.dialogue.counts().after_end, 2);
    assert!(rules(&talk).contains("unheard-after-end"));
    talk.say("no").say("zone two bravo transverse");
    assert!(!talk.dialogue.has_ended());
    assert_eq!(talk.calls().last(), Some(&"zone two bravo transverse"));
    assert!(rules(&talk).contains("unheard-after-end"), "the two phrases before are still not acted on");
}

#[test]
fn the_next_recording_goes_on_with_an_exam_that_has_all_views() {
    let mut said = all_views();
    said.push("end of exam".to_owned());
    let said: Vec<&str> = said.iter().map(String::as_str).collect();
    let mut talk = recorded(&said);
    let first_sample = sample(talk.at_s);
    let audio = AudioFile { file: "audio/0002.wav".to_owned(), first_sample, source: "b.wav".to_owned() };
    talk.step(Input::Line(Box::new(Event::Audio(audio))));
    talk.say("right fore zone two bravo transverse").say("save");
    assert_eq!(talk.dialogue.exam().context.place.limb.as_deref(), Some("RF"));
    assert_eq!(talk.dialogue.counts().after_end, 0);
    assert!(!rules(&talk).contains("unheard-after-end"));
}

/// A still at `at_s` seconds by a clock that is that of the exam.
fn still(talk: &Talk, number: i64, at_s: f64) -> Frame {
    let saved_at = talk.dialogue.instant_of(sample(at_s));
    Frame {
        file: format!("stills/{number}.dcm"),
        resolution_s: 0.1,
        instance_number: Some(number),
        ..crate::support::still::saved(&format!("1.2.{number}"), saved_at)
    }
}

#[test]
fn a_still_saved_after_the_end_has_no_label_from_the_place_before_it_and_one_saved_later_counts() {
    let mut talk = Talk::new(DialogueOptions::default());
    for (pause_s, words) in [
        (0.0, VIEW),
        (1.0, "save"),
        (9.0, "save"),
        (14.5, "save"),
        (21.0, "end of exam"),
        (90.0, "zone two bravo"),
    ] {
        talk.at_s += pause_s;
        talk.say(words);
    }
    talk.at_s += 3.0;
    talk.say("save");
    let of = |talk: &Talk, wanted: fn(&Act) -> bool| -> Vec<f64> {
        let calls = talk.dialogue.exam().calls.iter().filter(|call| wanted(&call.act));
        calls.map(|call| call.sample.seconds()).collect()
    };
    let saves = of(&talk, |act| *act == Act::Save);
    let end = of(&talk, |act| matches!(act, Act::Command(_)))[0];
    let times = [saves[0], saves[1], saves[2], end + 8.0, saves[3]];
    let frames: Vec<Frame> =
        times.iter().zip(1..).map(|(at_s, number)| still(&talk, number, *at_s)).collect();
    talk.step(Input::End { reason: CloseReason::EndOfRecording });
    let exam = talk.dialogue.exam();
    let ties: Vec<Tie> = pair(exam, &frames).frames.iter().map(|frame| frame.tie).collect();
    assert!(matches!(ties[0], Tie::Save(_)) && matches!(ties[4], Tie::Save(_)), "{ties:?}");
    assert_eq!(ties[3], Tie::Nothing, "nobody said what was scanned after the end");
}
