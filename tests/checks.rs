//! Rules about habits and lesions: each once where it fires, once where it is silent.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation)] // tests may panic

mod support;

use support::{BUILT_IN, exam, exam_of};
use zonecall::exam::call::Amount;
use zonecall::exam::event::Entered;
use zonecall::exam::fold::{Exam, LoggedEntry};
use zonecall::frames::pairing::Pairing;
use zonecall::knowledge::record::{Finding, record};
use zonecall::protocol::Protocols;
use zonecall::protocol::rules::Weight;

fn of(rule: &str, exam: &Exam, protocols: &Protocols) -> Vec<Finding> {
    let record = record(exam, &Pairing::default(), protocols);
    record.findings.into_iter().filter(|finding| finding.rule == rule).collect()
}

/// `fires` breaks the rule once, with `words` in the message; `silent` keeps it.
#[track_caller]
fn check_exams(rule: &str, words: &str, fires: &Exam, silent: &Exam) {
    let found = of(rule, fires, &BUILT_IN.1);
    assert_eq!(found.len(), 1, "{rule}: {found:#?}");
    assert!(found[0].message.contains(words), "{rule}: `{words}` is not in `{}`", found[0].message);
    assert_eq!(of(rule, silent, &BUILT_IN.1), [], "{rule}");
}

#[track_caller]
fn check(rule: &str, words: &str, fires: &[&str], silent: &[&str]) {
    check_exams(rule, words, &exam_of(fires), &exam_of(silent));
}

const PLACE: [&str; 2] = ["left fore two bravo transverse", "s d f t"];

fn at_place<'a>(rest: &[&'a str]) -> Vec<&'a str> {
    PLACE.into_iter().chain(rest.iter().copied()).collect()
}

#[test]
fn a_lesion_larger_than_its_structure_is_asked_about() {
    let area = "area one point five square centimetres";
    let fires = at_place(&[area, "lesion area one point six square centimetres"]);
    let silent = at_place(&[area, "lesion area nought point five square centimetres"]);
    check("lesion-larger", "LF 2B SDFT", &fires, &silent);
}

#[test]
fn a_lesion_wants_both_scores_once_for_a_place() {
    let fires = at_place(&["core lesion", "echo score two"]);
    let silent = at_place(&["core lesion", "echo score two", "long axis", "s d f t", "fibre score one"]);
    check("lesion-without-score", "no fibre score", &fires, &silent);
    check(
        "lesion-without-score",
        "no echo score and no fibre score",
        &at_place(&["core lesion", "core lesion"]),
        &at_place(&["adhesion"]),
    );
}

#[test]
fn a_score_wants_a_view() {
    let fires = ["left fore two bravo", "s d f t", "echo score two"];
    check("score-without-view", "no plane in force", &fires, &at_place(&["echo score two"]));
}

/// Adams and Stashak's Lameness in Horses, 7th ed., p. 312.
#[test]
fn a_view_without_weight_is_flagged_once() {
    let fires = ["leg lifted", PLACE[0], PLACE[1], "area one point five square centimetres", "save"];
    check("off-weight", "without weight", &fires, &["weight bearing", PLACE[0], "save"]);
    assert_eq!(of("off-weight", &exam_of(&["leg lifted", PLACE[0]]), &BUILT_IN.1), []);
}

#[test]
fn two_limbs_within_seconds_are_asked_about() {
    let saves = |apart_s: f64| {
        exam(&[
            (2.0, PLACE[0]),
            (6.0, "save"),
            (6.5, "right fore two bravo transverse"),
            (6.0 + apart_s, "save"),
        ])
    };
    check_exams("limb-change-while-saving", "4.0 s apart", &saves(4.0), &saves(6.0));
}

#[test]
fn the_other_limb_is_asked_for() {
    let both = ["left fore two bravo transverse", "right fore two bravo transverse"];
    check("other-limb-not-scanned", "right fore was not", &[both[0]], &both);
}

#[test]
fn a_lesion_wants_a_sweep_in_its_zone() {
    let place = ["left fore two bravo longitudinal", "s d f t", "core lesion"];
    check("sweep-missing", "LF 2B", &place, &[place[0], place[1], place[2], "full width swept"]);
    let other_zone = [place[0], place[1], place[2], "three alpha", "full width swept"];
    assert_eq!(of("sweep-missing", &exam_of(&other_zone), &BUILT_IN.1).len(), 1);
    assert_eq!(of("sweep-missing", &exam_of(&[place[0]]), &BUILT_IN.1), []);
    let mut protocols = BUILT_IN.1.clone();
    protocols.rules.habits.sweep.every_zone = true;
    assert_eq!(of("sweep-missing", &exam_of(&[place[0]]), &protocols).len(), 1);
}

#[test]
fn zones_are_scanned_in_order_and_from_the_top_again() {
    let order =
        ["left fore one alpha transverse", "one bravo", "one alpha longitudinal", "one bravo", "two alpha"];
    check("zone-order-jump", "from zone 1A to 2B", &["left fore one alpha", "two bravo"], &order);
    let next_limb = ["left fore three charlie", "one alpha", "right fore three charlie"];
    assert_eq!(
        of("zone-order-jump", &exam_of(&next_limb), &BUILT_IN.1),
        [],
        "another limb may begin anywhere"
    );
}

#[test]
fn the_practice_sets_the_standoff_for_the_suspensory_body() {
    let view = ["left fore one bravo", "suspensory body"];
    check(
        "standoff-habit",
        "the habit set for this practice is off",
        &["standoff on", view[0], view[1]],
        &["standoff off", view[0], view[1]],
    );
    let mut protocols = BUILT_IN.1.clone();
    protocols.rules.habits.setting_for[0].state = "on".to_owned();
    assert_eq!(of("standoff-habit", &exam_of(&["standoff on", view[0], view[1]]), &protocols), []);
}

#[test]
fn a_depth_far_from_five_to_six_centimetres_is_told() {
    check(
        "depth-unusual",
        "12 cm is not 4 to 7",
        &["imaging depth twelve"],
        &["imaging depth five point five"],
    );
}

#[test]
fn the_marker_is_asked_for_once_an_exam() {
    check("marker-never-said", "lateral in transverse views", &PLACE, &["marker lateral", PLACE[0]]);
    assert_eq!(of("marker-never-said", &exam_of(&["standoff on"]), &BUILT_IN.1), []);
}

/// Every 8 to 12 weeks: Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., p. 333; the exam is of 4 May 2026.
#[test]
fn a_lesion_is_scanned_again_after_the_interval_set() {
    check("rescan-due", "by 2026-06-29", &at_place(&["core lesion", "core lesion"]), &at_place(&["normal"]));
}

fn traced_area(structure: &str, number: f64) -> Exam {
    let mut exam = exam_of(&at_place(&["area one point five square centimetres"]));
    let entered = Entered {
        limb: "LF".to_owned(),
        zone: "2B".to_owned(),
        plane: None,
        structure: structure.to_owned(),
        term: "area".to_owned(),
        amount: Amount { number, unit: Some("cm2".to_owned()), unit_assumed: false },
        scale: None,
        traced: true,
        by: None,
        still: None,
        scale_by_hand_mm: None,
        outline: None,
    };
    exam.entries.push(LoggedEntry { seq: 99, at: exam.header.started_at, entered });
    exam
}

#[test]
fn an_entry_that_no_measure_is_made_from_is_told() {
    let (fires, silent) = (traced_area("LPL", 1.5), traced_area("SDFT", 1.5));
    check_exams("entry-unused", "area 1.5 cm2 of LPL in LF 2B", &fires, &silent);
}

#[test]
fn a_value_that_a_traced_one_replaces_is_told() {
    let traced = |number: f64| traced_area("SDFT", number);
    check_exams("value-replaced", "1.48 cm2 traced", &traced(1.48), &traced(1.5));
}

#[test]
fn a_rule_can_be_weighed_otherwise_or_switched_off() {
    let weighed = |weight| {
        let mut protocols = BUILT_IN.1.clone();
        let rule = protocols.rules.rule.iter_mut().find(|rule| rule.id == "marker-never-said").unwrap();
        rule.severity = weight;
        of("marker-never-said", &exam_of(&PLACE), &protocols)
    };
    assert_eq!(weighed(Weight::Off), []);
    assert_ne!(weighed(Weight::Error)[0].severity, weighed(Weight::Info)[0].severity);
}
