//! How far a spoken correction reaches: it belongs to what was said just before it, or it is asked about.
use crate::support;

use support::talk::{Talk, person};
use zonecall::exam::closed_sets::SettledAs;
use zonecall::exam::event::{Event, Outcome};
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal::Lines;
use zonecall::session::dialogue::{DialogueOptions, Listener, Speech};
use zonecall::session::effect::Input;
use zonecall::session::notice::Notice;
use zonecall::session::tone::Tone;

const EXAM: [&str; 6] =
    ["left fore", "zone two alpha transverse", "save", "longitudinal", "save", "zone two bravo transverse"];

/// Six calls, then minutes of quiet scanning.
fn exam(talk: &mut Talk) {
    EXAM.iter().for_each(|text| {
        talk.say(text);
    });
    talk.at_s += 240.0;
}

fn limbs(talk: &Talk) -> Vec<&str> {
    talk.dialogue.exam().calls.iter().filter_map(|call| call.context.place.limb.as_deref()).collect()
}

#[test]
fn a_correction_after_what_was_not_understood_does_not_move_the_limb_of_minutes_before() {
    let mut talk = Talk::aloud();
    exam(&mut talk);
    talk.say("nonsense of somebody").say("correction right fore");
    assert!(limbs(&talk).iter().all(|limb| *limb == "LF"), "{:?}", limbs(&talk));
    assert_eq!(talk.said().last(), Some(&"right fore now, or from 2A on?"));
    talk.say("first");
    assert_eq!(limbs(&talk)[..6], ["LF"; 6], "what was called before stays as it was");
    assert_eq!(talk.dialogue.exam().context.place.limb.as_deref(), Some("RF"));
    assert!(talk.dialogue.exam().utterances.last().is_some_and(|heard| heard.outcome == Outcome::Calls));
}

#[test]
fn a_correction_of_minutes_before_is_asked_about_and_reaches_back_after_a_yes_to_it() {
    let mut talk = Talk::aloud();
    exam(&mut talk);
    talk.say("correction right fore");
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Asked));
    talk.say("second");
    assert!(limbs(&talk).iter().all(|limb| *limb == "RF"), "{:?}", limbs(&talk));
    let reach = talk.lines.iter().find_map(|line| match &line.event {
        Event::Call(call) if call.call.corrects => call.call.reach,
        _ => None,
    });
    assert_eq!(reach, talk.dialogue.exam().calls.first().map(|call| call.seq), "the journal says how far");
}

#[test]
fn a_correction_at_once_counts_and_how_far_it_reached_is_said() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("save").say("correction right fore");
    assert_eq!(limbs(&talk), ["RF"; 3]);
    assert_eq!(talk.said(), ["right fore from 2A on"]);
    assert_eq!(talk.told(Notice::Answer), ["right fore from 2A on: 1 calls after it moved with it"]);
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("correction zone two bravo");
    assert!(talk.said().is_empty(), "nothing moved but what was corrected: {:?}", talk.said());
}

#[test]
fn a_correction_while_a_question_waits_puts_right_what_was_asked() {
    for told in [&["correction zone two alpha"][..], &["correction", "zone two alpha"]] {
        let mut talk = Talk::aloud();
        talk.say("left fore zone one alpha transverse")
            .say("save")
            .unsure("zone one bravo", "zone three bravo");
        told.iter().for_each(|text| {
            talk.say(text);
        });
        let zones: Vec<_> =
            talk.dialogue.exam().calls.iter().filter_map(|call| call.context.place.zone.clone()).collect();
        let zones: Vec<&str> = zones.iter().map(|zone| zone.as_str()).collect();
        assert_eq!(zones[..2], ["1A", "1A"], "what was saved before stays in its zone");
        assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("2A"), "{:?}", talk.said());
        assert!(talk.dialogue.exam().utterances[2].settled, "what was asked about needs no reviewer");
        assert_eq!(talk.question(), None);
    }
}

#[test]
fn an_unsure_correction_is_asked_for_its_reach_after_its_words() {
    let mut talk = Talk::aloud();
    exam(&mut talk);
    talk.unsure("correction right fore", "good boy").say("yes");
    assert_eq!(talk.said().last(), Some(&"right fore now, or from 2A on?"));
    assert!(limbs(&talk).iter().all(|limb| *limb == "LF"));
    talk.say("second");
    assert!(limbs(&talk).iter().all(|limb| *limb == "RF"));
}

#[test]
fn where_nobody_can_be_asked_a_correction_after_what_was_not_understood_changes_nothing() {
    let mut talk = Talk::new(DialogueOptions { listener: Listener::Nobody, ..DialogueOptions::default() });
    talk.say("left fore zone two alpha").say("nonsense of somebody").say("correction right fore").say("save");
    assert_eq!(limbs(&talk), ["LF"; 2]);
    assert_eq!(talk.outcomes()[2], Outcome::NotUnderstood);
    assert!(talk.dialogue.exam().utterances[2].is_open(), "it puts the next labels in doubt");
    talk.say("zone two bravo").say("correction right fore");
    assert_eq!(
        talk.dialogue.exam().context.place.limb.as_deref(),
        Some("RF"),
        "something was acted on since"
    );
}

/// "Now the right fore", with an unclear vowel.
#[test]
fn in_a_recording_no_before_a_limb_moves_nothing_of_minutes_before() {
    let mut talk = Talk::new(DialogueOptions { listener: Listener::Nobody, ..DialogueOptions::default() });
    exam(&mut talk);
    talk.say("no the right fore");
    assert!(limbs(&talk).iter().all(|limb| *limb == "LF"), "{:?}", limbs(&talk));
    assert!(
        talk.dialogue.exam().utterances.last().is_some_and(|heard| heard.is_open()),
        "labels are in doubt"
    );
    talk.say("left hind zone one bravo").say("no left fore");
    assert_eq!(talk.dialogue.exam().context.place.limb.as_deref(), Some("LF"), "at once it corrects");
}

#[test]
fn a_pair_of_side_words_that_was_not_chosen_is_asked_about_from_the_first_limb_on() {
    let chosen = DialogueOptions { sides: Some(0), ..person(Speech::Silent) };
    let mut talk = Talk::new(chosen);
    talk.say("off fore");
    assert_eq!(
        (talk.outcomes(), talk.dialogue.exam().context.place.limb.clone()),
        (vec![Outcome::Asked], None)
    );
    talk.say("yes").say("near fore");
    assert_eq!(
        talk.dialogue.exam().context.place.limb.as_deref(),
        Some("LF"),
        "that pair is the exam's own now"
    );
    talk.say("right fore");
    assert_eq!(talk.outcomes().last(), Some(&Outcome::Asked));
    assert!(talk.tones().contains(&Tone::NotUnderstood));
}

/// The calls that were taken back, by their words.
fn taken_back(talk: &Talk) -> Vec<&str> {
    let calls = talk.dialogue.exam().calls.iter().filter(|call| call.withdrawn_by.is_some());
    calls.map(|call| call.call.words.as_str()).collect()
}

const NOTHING: &str = "that was not acted on; nothing was taken back";

#[test]
fn disregard_after_what_was_not_understood_takes_no_save_back_and_says_so() {
    for words in ["disregard that", "disregard last two", "not saved"] {
        let mut talk = Talk::aloud();
        talk.say("left fore zone two alpha transverse").say("save").say("nonsense of somebody").say(words);
        assert_eq!(taken_back(&talk), [""; 0], "{words}");
        assert_eq!(talk.said().last(), Some(&NOTHING));
        let told = talk.told(Notice::Settled);
        assert!(told.last().is_some_and(|told| told.contains("`nonsense of somebody`")), "{told:?}");
        let utterance = &talk.dialogue.exam().utterances[2];
        assert!(utterance.settled && !utterance.is_open(), "its speaker has taken it back");
        // Said once more it means what was said before that.
        talk.say(words);
        assert_eq!(taken_back(&talk).last(), Some(&"save"), "{words}");
    }
}

#[test]
fn after_resume_disregard_still_belongs_to_what_was_not_understood_before_it() {
    for words in ["disregard that", "disregard last two", "not saved"] {
        let mut talk = Talk::aloud();
        talk.say("left fore zone two alpha transverse").say("save").say("nonsense of somebody");
        let mut talk = Talk::resumed(&talk.lines, talk.at_s, person(Speech::Aloud));
        talk.say(words);
        assert_eq!(taken_back(&talk), [""; 0], "{words}");
        assert_eq!(talk.said(), [NOTHING]);
        assert!(!talk.dialogue.exam().utterances[2].is_open(), "its speaker has taken it back");
        let mut talk = Talk::resumed(&talk.lines, talk.at_s, person(Speech::Aloud));
        talk.say(words);
        assert_eq!(taken_back(&talk).last(), Some(&"save"), "{words}, said once more");
    }
}

#[test]
fn disregard_after_a_question_that_nobody_answered_takes_back_what_was_asked() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("save").unsure("zone three bravo", "zone one bravo");
    talk.at_s += 30.0;
    talk.step(Input::Time);
    talk.say("disregard that").say("longitudinal");
    assert_eq!(taken_back(&talk), [""; 0]);
    let answers: Vec<SettledAs> = talk
        .lines
        .iter()
        .filter_map(|line| match &line.event {
            Event::Settled(settled) => Some(settled.answer),
            _ => None,
        })
        .collect();
    assert_eq!(answers, [SettledAs::TakenBack]);
    assert_eq!(fold_again(&talk), *talk.dialogue.exam(), "the journal says the same");
}

/// The exam as its lines give it afterwards.
fn fold_again(talk: &Talk) -> Exam {
    let mut lines = Lines::default();
    lines.events.extend(talk.lines.iter().cloned());
    fold(&lines, &support::BUILT_IN.1).unwrap()
}

#[test]
fn a_doubted_disregard_belongs_to_what_was_said_before_it_and_the_rest_of_its_phrase_counts() {
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("save").say("nonsense of somebody");
    talk.unsure("disregard that", "good boy").say("yes");
    assert_eq!(taken_back(&talk), [""; 0], "{:?}", talk.said());
    assert_eq!(talk.said().last(), Some(&NOTHING));
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse").say("save").say("nonsense of somebody");
    talk.say("disregard that zone two bravo");
    assert_eq!(taken_back(&talk), [""; 0]);
    assert_eq!(talk.dialogue.exam().context.place.zone.as_deref(), Some("2B"), "{:?}", talk.outcomes());
    // What was acted on and then asked about is what is taken back.
    let mut talk = Talk::aloud();
    talk.say("left fore zone two alpha transverse")
        .say("save")
        .unsure("disregard that", "good boy")
        .say("yes");
    assert_eq!(taken_back(&talk), ["save"]);
}

#[test]
fn in_a_recording_a_disregard_after_what_was_not_understood_waits_for_a_person() {
    let mut talk = Talk::new(DialogueOptions { listener: Listener::Nobody, ..DialogueOptions::default() });
    talk.say("left fore zone two alpha transverse")
        .say("save")
        .say("nonsense of somebody")
        .say("disregard that");
    assert_eq!(taken_back(&talk), [""; 0]);
    assert_eq!(talk.outcomes()[2..], [Outcome::NotUnderstood; 2], "both are for a person to listen to");
    let exam = talk.dialogue.exam();
    let why = &exam.utterances[3].problems[0].message;
    assert!(why.contains("nothing was taken back") && exam.utterances[2].is_open(), "{why}");
}

#[test]
fn not_saved_after_a_question_about_a_save_takes_no_other_save_back() {
    let asked_about = |words: &str| {
        let mut talk = Talk::aloud();
        talk.say("left fore zone two alpha transverse").say("save").unsure(words, "good boy");
        talk.at_s += 30.0;
        talk.step(Input::Time);
        talk.say("not saved");
        taken_back(&talk).len()
    };
    assert_eq!(asked_about("frame saved"), 0, "it is that save which was not made");
    assert_eq!(asked_about("zone two bravo"), 1, "no other save can be meant");
}
