//! The record, its coverage, and each rule: once where it fires, once where it is silent.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_truncation)] // tests may panic

mod support;

use std::collections::BTreeSet;

use support::{BUILT_IN, exam_of};
use zonecall::clock::WallQuality;
use zonecall::exam::call::{Act, Problem};
use zonecall::exam::event::{Frame, Outcome};
use zonecall::exam::fold::Exam;
use zonecall::frames::pairing::{ClockFit, PairedFrame, Pairing, Tie};
use zonecall::knowledge::check::rule_ids;
use zonecall::knowledge::record::{Finding, Record, Status, record};

/// An exam with its pairing, as it is built up for one case.
struct Case {
    exam: Exam,
    pairing: Pairing,
}

/// A closed exam of breaths, without stills.
fn said(breaths: &[&str]) -> Case {
    let mut exam = exam_of(breaths);
    exam.closed = Some((exam.header.started_at, "end of exam".to_owned()));
    Case { exam, pairing: Pairing::default() }
}

impl Case {
    /// Adds a still that hangs on `tie`; the clocks are known.
    fn still(mut self, tie: Tie) -> Case {
        let number = self.exam.frames.len() + 1;
        self.exam.frames.push(Frame {
            id: format!("1.2.{number}"),
            file: format!("frames/{number}.dcm"),
            sha256: "0".repeat(64),
            saved_at: self.exam.header.started_at,
            resolution_s: 1.0,
            time_source: "AcquisitionDateTime".to_owned(),
            zone_assumed: false,
            instance_number: None,
            size_px: None,
            problems: Vec::new(),
        });
        let rivals = if tie == Tie::Open { vec![(0, 0.5, "as near".to_owned())] } else { Vec::new() };
        self.pairing.frames.push(PairedFrame { exam_s: Some(1.5), tie, confidence: 0.9, rivals });
        let method = "median".to_owned();
        let clock = ClockFit { offset_s: 1.0, drift_ppm: 0.0, uncertainty_s: 0.5, pairs: 3, method };
        self.pairing.clock = Some(clock);
        self
    }

    /// A still for each save call.
    fn stills(mut self) -> Case {
        let saves: Vec<usize> = self.saves();
        for call in saves {
            self = self.still(Tie::Save(call));
        }
        self
    }

    fn saves(&self) -> Vec<usize> {
        let calls = self.exam.calls.iter().enumerate();
        calls.filter(|(_, call)| call.act == Act::Save).map(|(index, _)| index).collect()
    }

    fn but(mut self, change: impl FnOnce(&mut Case)) -> Case {
        change(&mut self);
        self
    }

    fn record(&self) -> Record {
        record(&self.exam, &self.pairing, &BUILT_IN.1)
    }

    fn of(&self, rule: &str) -> Vec<Finding> {
        assert!(rule_ids().any(|known| known == rule), "no rule is called `{rule}`");
        self.record().findings.into_iter().filter(|finding| finding.rule == rule).collect()
    }
}

/// `fires` breaks the rule once, with `words` in the message; `silent` keeps it.
#[track_caller]
fn check(rule: &str, words: &str, fires: &Case, silent: &Case) {
    let found = fires.of(rule);
    assert_eq!(found.len(), 1, "{rule}: {found:#?}");
    assert!(found[0].message.contains(words), "{rule}: `{words}` is not in `{}`", found[0].message);
    assert_eq!(silent.of(rule), [], "{rule}");
}

fn problem() -> Problem {
    Problem { message: "odd".to_owned(), help: "look".to_owned() }
}

/// Every rule of the program stands in the file once, and each has a case here that fires and one that does not.
#[test]
fn every_rule_has_its_own_name_a_source_a_reason_and_a_case_each_way() {
    let names: BTreeSet<&str> = rule_ids().collect();
    assert_eq!(names.len(), rule_ids().count());
    let file: Vec<&str> = BUILT_IN.1.rules.rule.iter().map(|rule| rule.id.as_str()).collect();
    assert_eq!(
        file,
        rule_ids().collect::<Vec<_>>(),
        "the file and the program list the same rules in one order"
    );
    assert!(BUILT_IN.1.rules.rule.iter().all(|rule| !rule.source.is_empty() && rule.why.len() > 20));
    let tests = concat!(include_str!("knowledge.rs"), include_str!("checks.rs"));
    // `check(rule, ...)` demands one finding from its first case and none from its second.
    let flat: String = tests.split_whitespace().collect();
    let one_way = ["view-without-still", "view-missing", "not-understood"];
    for name in names {
        let both = ["check", "check_exams"].iter().any(|call| flat.contains(&format!("{call}(\"{name}\"")));
        let counted = flat.matches(&format!(".of(\"{name}\")")).count() >= 2;
        assert!(
            both || counted || one_way.contains(&name),
            "`{name}` lacks a case that fires or one that is silent"
        );
    }
}

#[test]
fn faults_of_journal_and_audio_are_told() {
    let fine = || said(&["left fore"]);
    check("journal-damage", "line 7", &fine().but(|case| case.exam.damage.push((7, problem()))), &fine());
    check("audio-lost", "0.50 s", &fine().but(|case| case.exam.samples_lost = 8000), &fine());
    check("not-closed", "never closed", &fine().but(|case| case.exam.closed = None), &fine());
    let quiet = fine().but(|case| case.exam.breaths[0].level_dbfs = -60.0);
    check("too-quiet", "1 breath was quieter", &quiet, &fine());
    let clipped = fine().but(|case| case.exam.breaths[0].clipped = 0.2);
    check("clipped", "1 breath was clipped", &clipped, &fine());
}

#[test]
fn breaths_not_understood_have_one_summary_and_a_row_each() {
    let case = said(&["left fore", "blue green yellow", "red red"]);
    check("not-understood", "2 breaths were not understood", &case, &said(&["left fore"]));
    let kinds: Vec<String> = case.record().calls.into_iter().map(|row| row.kind).collect();
    assert_eq!(kinds, ["view", "unknown", "unknown"]);
}

#[test]
fn a_view_left_without_a_save_points_to_its_last_call() {
    let left = said(&["left fore zone two alpha transverse", "two bravo", "save"]);
    let found = left.of("view-without-still");
    assert_eq!(found.len(), 1, "{found:#?}");
    assert!(found[0].message.starts_with("LF 2A T was called, but no save"), "{}", found[0].message);
    assert_eq!(found[0].call_seq, Some(left.exam.calls[0].seq));
    assert_eq!(said(&["left fore zone two alpha transverse", "save"]).of("view-without-still"), []);
    let by_context = said(&["left fore zone two alpha transverse"]).still(Tie::Context(0));
    assert_eq!(by_context.of("view-without-still"), []);
}

#[test]
fn a_save_without_its_still_is_told_once_there_are_stills() {
    let case = said(&["left fore zone two alpha transverse", "save", "two bravo", "save"]);
    assert_eq!(case.of("view-without-still"), []);
    let first_only = case.saves()[0];
    let case = case.still(Tie::Save(first_only));
    let found = case.of("view-without-still");
    assert_eq!(found.len(), 1, "{found:#?}");
    assert!(found[0].message.contains("LF 2B T was called and saved"), "{}", found[0].message);
}

/// 7 zones x 2 planes on the one limb that was called: our arithmetic on the fore scheme.
#[test]
fn views_are_missing_on_limbs_that_were_examined_only() {
    let case = said(&["left fore zone two alpha transverse", "save"]);
    assert_eq!(case.of("view-missing").len(), 13);
    assert_eq!(said(&["standoff on"]).of("view-missing"), []);
    let taken_back = said(&["left fore zone two alpha transverse", "scratch that"]);
    assert_eq!(taken_back.of("view-missing"), []);
}

#[test]
fn a_view_said_not_to_be_scanned_is_not_missing() {
    let rows = |breaths: &[&str]| {
        let rows = said(breaths).record().coverage;
        let left_out = rows.into_iter().filter(|row| row.not_done);
        left_out.map(|row| format!("{} {}", row.zone, row.plane)).collect::<Vec<_>>()
    };
    // The plane kept from the zone before does not narrow it down.
    assert_eq!(rows(&["left fore two alpha transverse", "two bravo", "not scanned"]), ["2B T", "2B L"]);
    assert_eq!(rows(&["left fore two alpha", "long axis", "not scanned"]), ["2A L"]);
    assert_eq!(rows(&["left fore two alpha", "s d f t", "not scanned"]), [""; 0]);
    let whole_limb = said(&["left fore", "not scanned"]);
    assert_eq!(whole_limb.of("view-missing"), []);
}

#[test]
fn the_pastern_is_covered_only_when_called() {
    let schemes = |breaths: &[&str]| {
        let rows = said(breaths).record().coverage;
        rows.into_iter().map(|row| row.scheme).collect::<BTreeSet<String>>()
    };
    assert_eq!(schemes(&["right hind"]), BTreeSet::from(["hock".to_owned()]));
    let both = BTreeSet::from(["hock".to_owned(), "pastern".to_owned()]);
    assert_eq!(schemes(&["right hind", "pastern one alpha"]), both);
}

#[test]
fn a_branch_low_in_the_limb_wants_a_still_of_its_own() {
    let case = said(&["left fore zone three bravo transverse", "save", "medial branch", "save"]).stills();
    let silent = said(&[
        "left fore zone three bravo transverse",
        "medial branch",
        "save",
        "lateral branch",
        "not seen",
    ])
    .stills();
    check("structure-without-still", "LF 3B has no still of its own of SL-lateral", &case, &silent);
    assert_eq!(said(&["left fore zone two alpha transverse"]).of("structure-without-still"), []);
}

#[test]
fn a_lesion_wants_both_planes() {
    let one = said(&["left fore zone two alpha transverse", "s d f t", "core lesion", "save"]);
    let both =
        said(&["left fore zone two alpha transverse", "s d f t", "core lesion", "save", "long axis", "save"]);
    check("lesion-in-one-plane", "LF 2A has a lesion, but stills in plane T only", &one, &both);
    let none = said(&["left fore zone two alpha transverse", "s d f t", "normal", "save"]);
    assert_eq!(none.of("lesion-in-one-plane"), []);
}

#[test]
fn a_poor_picture_is_taken_again() {
    let poor = ["left fore zone two alpha transverse", "save", "repeat this"];
    let again = said(&[poor[0], poor[1], poor[2], "save"]);
    check("quality-not-repeated", "`repeat this`", &said(&poor), &again);
    let elsewhere = said(&[poor[0], poor[1], poor[2], "two bravo", "save"]);
    assert_eq!(elsewhere.of("quality-not-repeated").len(), 1);
    let still_before = said(&poor).stills();
    assert_eq!(still_before.of("quality-not-repeated").len(), 1, "the still is the poor one");
}

#[test]
fn stills_without_a_sure_label_are_told() {
    let words = ["left fore zone two alpha transverse", "save"];
    let fine = || said(&words).stills();
    check("still-ambiguous", "two readings", &said(&words).still(Tie::Open), &fine());
    check("still-unlabelled", "1.dcm", &said(&words).still(Tie::Nothing), &fine());
    check("still-from-context", "no save call", &said(&words).still(Tie::Context(0)), &fine());
    let no_plane = said(&["left fore two alpha"]).still(Tie::Context(0));
    check("still-label-incomplete", "without plane", &no_plane, &said(&words).still(Tie::Context(0)));
    let bad = fine().but(|case| case.exam.frames[0].problems.push(problem()));
    check("still-file", "odd; look", &bad, &fine());
    check("clock-unknown", "could not be tied", &fine().but(|case| case.pairing.clock = None), &fine());
    let untold = said(&words).still(Tie::Nothing).but(|case| {
        case.pairing.clock = None;
        case.exam.header.wall = WallQuality::FileTime;
    });
    check("clock-unknown", "with --started-at", &untold, &fine());
    let none = said(&words).still(Tie::Nothing).still(Tie::Nothing);
    assert_eq!(none.of("still-unlabelled").len(), 1, "one cause, one line");
    assert_eq!(said(&words).of("clock-unknown"), [], "without stills there is no other clock");
}

#[test]
fn a_still_that_pairing_leaves_out_is_unlabelled() {
    let case = said(&["left fore"]).still(Tie::Context(0)).but(|case| case.pairing.frames.clear());
    assert_eq!(case.record().frames[0].status, Status::Unlabelled);
}

#[test]
fn a_zone_of_another_scheme_is_asked_about() {
    let wrong = said(&["left fore", "zone four alpha"]);
    check("call-problem", "4A is not a zone of LF", &wrong, &said(&["left hind", "zone four alpha"]));
}

#[test]
fn problems_of_a_breath_that_was_taken_are_told() {
    let fine = || said(&["left fore", "blue green"]);
    let taken = fine().but(|case| case.exam.breaths[0].problems.push(problem()));
    assert_eq!(taken.exam.breaths[1].outcome, Outcome::NotUnderstood);
    check("breath-problem", "`left fore`: odd", &taken, &fine());
}

/// Zones of the accessory ligament: measured down to 3A in Arq Bras Med Vet Zootec 57(2), 2005; not in 3B.
#[test]
fn a_structure_outside_its_zones_is_asked_about() {
    let outside = said(&["left fore", "three bravo", "check ligament"]);
    let inside = said(&["left fore", "three alpha", "check ligament"]);
    check("structure-outside-zones", "ALDDFT is not expected in zone 3B", &outside, &inside);
    let whole = said(&["left fore", "three bravo", "suspensory ligament"]);
    assert_eq!(whole.of("structure-outside-zones"), [], "its branches are there");
    let part = said(&["left fore", "three bravo", "suspensory body"]);
    assert_eq!(part.of("structure-outside-zones").len(), 1);
}

#[test]
fn a_direction_that_the_limb_does_not_have_is_asked_about() {
    for (wrong, right, word) in
        [("left hind", "left fore", "palmar"), ("right fore", "right hind", "plantar")]
    {
        let lesion = format!("core lesion {word} medial");
        let place = |limb| said(&[limb, "two alpha transverse", "s d f t", &lesion]);
        check("foreign-position", &format!("`{word}` does not exist"), &place(wrong), &place(right));
    }
}

#[test]
fn what_has_no_place_is_told() {
    check(
        "finding-without-place",
        "no limb or zone",
        &said(&["normal"]),
        &said(&["left fore one alpha", "normal"]),
    );
    let placed = said(&["left fore one alpha transverse", "save"]);
    check("save-without-place", "no plane in force", &said(&["left fore one alpha", "save"]), &placed);
    let area = "area ninety square millimetres";
    let placed = said(&["left fore one alpha transverse", "s d f t", area]);
    let nowhere = said(&["left fore one alpha transverse", area]);
    check("value-without-place", "no structure in force", &nowhere, &placed);
}

#[test]
fn a_save_after_a_breath_that_was_not_understood_is_asked_about_until_the_next_zone() {
    let unheard = ["left fore one alpha transverse", "zone zone", "save"];
    let moved_on = ["left fore one alpha transverse", "zone zone", "one bravo", "save"];
    check("save-after-unheard", "listen", &said(&unheard), &said(&moved_on));
}

#[test]
fn hypoechoic_is_asked_about_and_the_score_is_not() {
    let place = ["left fore two bravo transverse", "s d f t"];
    let score = said(&[place[0], place[1], "echo score two"]);
    check("finding-unconfirmed", "`hypoechoic`", &said(&[place[0], place[1], "hypoechoic"]), &score);
}

/// Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., p. 331: the long axis only.
#[test]
fn a_fibre_score_wants_the_long_axis_and_an_area_the_cross_section() {
    let in_plane = |plane: &str, value: &str| said(&["left fore two bravo", plane, "s d f t", value]);
    let score = "fibre score two";
    check("value-in-wrong-plane", "plane T", &in_plane("transverse", score), &in_plane("long axis", score));
    let area = "area one point five square centimetres";
    check("value-in-wrong-plane", "plane L", &in_plane("long axis", area), &in_plane("transverse", area));
    let no_plane = said(&["left fore two bravo", "s d f t", score]);
    assert_eq!(no_plane.of("value-in-wrong-plane").len(), 1);
}

/// The bounds of a whole structure, 10 to 1000 mm2, are our own; 1.5 said for 150 is the slip they are for.
#[test]
fn a_slipped_unit_is_asked_about() {
    let area = |words: &str| said(&["left fore two bravo transverse", "s d f t", words]);
    let right = || area("area one point five square centimetres");
    let slip = area("area one point five square millimetres");
    check("value-out-of-bounds", "1.5 mm2 is not 10 to 1000 mm2", &slip, &right());
    check("unit-assumed", "area 1.5 cm2", &area("area one point five"), &right());
    let odd = right().but(|case| set_unit(case, Some("mm")));
    check("value-unit", "measured in cm2 or mm2", &odd, &right());
    let none = right().but(|case| set_unit(case, None));
    check("value-unit", "without a unit", &none, &right());
}

fn set_unit(case: &mut Case, unit: Option<&str>) {
    let Act::Value(value) = &mut case.exam.calls.last_mut().unwrap().act else { panic!("no value") };
    value.amount.unit = unit.map(str::to_owned);
}

/// Scales 0 to 4 and 0 to 3: Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., pp. 330-331.
#[test]
fn a_score_off_its_scale_is_asked_about() {
    let scored = |words: &str, number: f64| {
        said(&["left fore two bravo longitudinal", "s d f t", words]).but(|case| {
            let Act::Value(value) = &mut case.exam.calls.last_mut().unwrap().act else { panic!("no value") };
            value.amount.number = number;
        })
    };
    for (words, top) in [("echo score two", 4.0), ("fibre score two", 3.0)] {
        check("value-out-of-bounds", "a whole number from 0", &scored(words, top + 1.0), &scored(words, top));
        assert_eq!(scored(words, 1.5).of("value-out-of-bounds").len(), 1, "{words} 1.5");
    }
}

/// Lateral in transverse and proximal in longitudinal views: common practice, no source.
#[test]
fn a_marker_against_the_convention_is_told() {
    let marker = |plane: &str, way: &str| said(&["left fore two bravo", plane, way]);
    check(
        "marker-unusual",
        "usual is lateral",
        &marker("transverse", "marker medial"),
        &marker("transverse", "marker lateral"),
    );
    check(
        "marker-unusual",
        "usual is proximal",
        &marker("long axis", "marker lateral"),
        &marker("long axis", "marker proximal"),
    );
    assert_eq!(said(&["left fore", "marker proximal"]).of("marker-unusual"), []);
    assert_eq!(said(&["left fore", "marker distal"]).of("marker-unusual").len(), 1);
}

#[test]
fn findings_come_worst_first_and_equal_input_gives_equal_bytes() {
    let case = said(&["left fore two bravo", "area nine", "blue"]).but(|case| case.exam.samples_lost = 1);
    let severities: Vec<_> = case.record().findings.iter().map(|finding| finding.severity).collect();
    assert!(severities.is_sorted() && severities.len() > 3, "{severities:?}");
    assert_eq!(serde_json::to_vec(&case.record()).unwrap(), serde_json::to_vec(&case.record()).unwrap());
}

#[test]
fn a_row_holds_what_was_said_and_what_was_in_force() {
    let case = said(&[
        "standoff on",
        "imaging depth five point five",
        "left fore two bravo longitudinal",
        "s d f t",
        "fibre score two",
        "scratch that",
    ]);
    let row = case.record().calls.into_iter().find(|row| row.kind == "value").unwrap();
    let text = |part: &Option<String>| part.clone().unwrap_or_default();
    assert_eq!(
        [&row.place.limb, &row.place.zone, &row.place.plane, &row.place.structure].map(text),
        ["LF", "2B", "L", "SDFT"]
    );
    assert_eq!(
        (text(&row.term), row.number, text(&row.scale)),
        ("fibre score".to_owned(), Some(2.0), "0-3".to_owned())
    );
    assert_eq!(row.settings["standoff"], "on");
    assert_eq!(row.settings["imaging depth"], "5.5 cm");
    assert!(row.withdrawn);
}

#[test]
fn what_was_taken_back_breaks_no_rule() {
    let case = said(&["left hind two bravo transverse", "s d f t", "core lesion palmar", "scratch that"]);
    assert_eq!(case.of("foreign-position"), []);
}

#[test]
fn a_correction_is_judged_once_and_where_it_mends() {
    let case = said(&[
        "left fore two bravo transverse",
        "s d f t",
        "area one point five square centimetres",
        "correction area one square millimetres",
    ]);
    let found = case.of("value-out-of-bounds");
    assert_eq!(found.len(), 1, "{found:#?}");
    assert_eq!(found[0].call_seq, Some(case.exam.calls[2].seq));
}
