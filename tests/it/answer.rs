//! What is answered while listening, and when a forgotten save is reported.
use crate::support;

use support::{BUILT_IN, exam_of};
use zonecall::clock::Sample;
use zonecall::knowledge::progress::Progress;
use zonecall::language::closed_sets::Ask;
use zonecall::session::answer::{answer, brief};
use zonecall::session::forgotten::{ExamState, Left, is_saved_by_word, left};

#[track_caller]
fn check(ask: &str, said: &[&str], wanted: &str) {
    let exam = exam_of(said);
    assert_eq!(answer(Ask::named(ask).unwrap(), &exam, &Progress::of(&exam), &BUILT_IN.1).unwrap(), wanted);
}

/// The view that is reported as forgotten when the last of these utterances is said.
fn left_behind(said: &[&str]) -> Option<String> {
    let (before, exam) = (exam_of(&said[..said.len() - 1]).context, exam_of(said));
    let state = ExamState::after(exam.calls.iter().map(|call| &call.act));
    let progress = Progress::of(&exam);
    let view = left(&before, &exam.context, &progress, state);
    view.filter(|view| !is_saved_by_word(&progress, view)).map(|view| view.codes())
}

#[test]
fn where_am_i_tells_what_is_in_force() {
    check("where", &["where am i"], "no limb has been called yet");
    let said = ["left fore zone two alpha transverse", "zone two bravo", "where am i"];
    check("where", &said, "left fore, zone 2B, transverse");
}

#[test]
fn what_is_left_names_three_views_and_counts_the_rest() {
    check("left", &["what is left"], "no limb has been called yet");
    // Seven zones in two planes are fourteen views; one of them is saved.
    let said = ["left fore zone one alpha transverse", "save", "what is left"];
    let wanted = "zone 1A longitudinal, zone 1B transverse, zone 1B longitudinal, and 10 more";
    check("left", &said, wanted);
}

#[test]
fn what_next_names_one_view_in_the_order_of_the_scheme_or_of_the_practice() {
    check("next", &["what next"], "no limb has been called yet");
    let said = ["left fore zone one alpha transverse", "save", "what next"];
    check("next", &said, "zone 1A longitudinal");
    let mut protocols = BUILT_IN.1.clone();
    protocols.rules.habits.view_order = ["1A T", "3B L", "2B T"].map(str::to_owned).to_vec();
    let exam = exam_of(&said);
    let told = answer(Ask::Next, &exam, &Progress::of(&exam), &protocols);
    assert_eq!(told.as_deref(), Some("zone 3B longitudinal"));
}

#[test]
fn read_back_gives_the_last_call_that_stands() {
    check("last", &["read back"], "nothing has been called yet");
    check(
        "last",
        &["left fore zone two alpha", "superficial flexor normal", "disregard that", "read back"],
        "superficial flexor",
    );
}

#[test]
fn a_view_that_is_left_without_a_save_is_told_and_one_with_a_save_is_not() {
    let view = "left fore zone two alpha transverse";
    assert_eq!(left_behind(&[view, "zone two bravo"]).as_deref(), Some("LF 2A T"));
    assert_eq!(left_behind(&[view, "right fore"]).as_deref(), Some("LF 2A T"));
    assert_eq!(left_behind(&[view, "save", "zone two bravo"]), None);
    assert_eq!(left_behind(&[view, "not scanned", "zone two bravo"]), None, "left out on purpose");
    assert_eq!(left_behind(&[view, "superficial flexor normal"]), None, "the view is still in force");
    assert_eq!(left_behind(&["left fore", "zone two alpha"]), None, "no plane was named yet");
    assert_eq!(left_behind(&[view, "save", "disregard that", "zone two bravo"]).as_deref(), Some("LF 2A T"));
    assert_eq!(
        left_behind(&[view, "end of exam"]).as_deref(),
        Some("LF 2A T"),
        "the last view is left at the end"
    );
    assert_eq!(left_behind(&[view, "save", "end of exam"]), None);
}

#[test]
fn the_plane_that_a_zone_kept_until_another_was_named_is_no_view_that_was_forgotten() {
    let before = ["left fore zone two alpha longitudinal", "save", "zone two bravo"];
    let then = |said: &[&str]| left_behind(&[&before, said].concat());
    assert_eq!(then(&["transverse"]), None, "nobody meant 2B L");
    assert_eq!(then(&["zone three alpha"]).as_deref(), Some("LF 2B L"), "the plane was to stay");
    assert_eq!(then(&["superficial flexor normal", "transverse"]).as_deref(), Some("LF 2B L SDFT"));
    assert_eq!(then(&["longitudinal", "transverse"]).as_deref(), Some("LF 2B L"));
}

#[test]
fn with_the_scanners_folder_a_still_counts_for_the_view_that_was_in_force_when_it_was_saved() {
    let before = exam_of(&["left fore zone two alpha transverse"]).context;
    let exam = exam_of(&["left fore zone two alpha transverse", "zone two bravo"]);
    let view = left(&before, &exam.context, &Progress::of(&exam), ExamState::GoesOn);
    let left = Left { view: view.unwrap(), from: Sample(16_000), to: Sample(80_000) };
    assert!(left.lacks_still(&[]));
    assert!(left.lacks_still(&[Sample(15_999), Sample(80_000)]), "of the views before and after it");
    assert!(!left.lacks_still(&[Sample(40_000)]));
}

/// At 160 words a minute three seconds are eight words; "2A" is two of them.
#[test]
fn a_spoken_answer_takes_three_seconds_at_most() {
    let left = "zone 1A longitudinal, zone 1B transverse, zone 1B longitudinal, and 10 more";
    assert_eq!(brief(left), "zone 1A longitudinal, and more");
    let place = "left fore, zone 2A, transverse";
    assert_eq!(brief(place), place, "what is short is said as it is");
    let long = "left fore zone two alpha transverse superficial flexor normal save";
    assert_eq!(brief(long), "left fore zone two alpha transverse, and more");
}
