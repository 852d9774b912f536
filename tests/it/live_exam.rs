//! The exam while it happens is the exam that its journal gives, line by line.
use crate::support;

use std::ffi::OsString;
use std::os::unix::ffi::OsStringExt as _;

use proptest::prelude::*;
use support::{BUILT_IN, exam_lines};
use zonecall::exam::fold::fold;
use zonecall::exam::journal::Lines;
use zonecall::exam::live_exam::LiveExam;
use zonecall::knowledge::progress::Progress;
use zonecall::session::remembered::RememberedScanner;

/// What may be said in any order: views, levels, values, notes, taking back, correcting, and what makes no sense.
const SAID: &[&str] = &[
    "left fore zone two alpha transverse",
    "right fore",
    "zone two bravo",
    "level twelve",
    "longitudinal",
    "superficial flexor mild core lesion",
    "severe core lesion",
    "area one point two",
    "standoff on",
    "save",
    "not scanned",
    "note",
    "end note",
    "good boy",
    "disregard that",
    "disregard the last two",
    "disregard the last three",
    "correction right fore",
    "correction left fore three bravo longitudinal",
    "correction zone one alpha",
    "correction area one point five square centimetres",
    "correction moderate core lesion",
    "correction standoff off",
    "correction level fourteen",
    "correction disregard that",
    "correction where am i",
    "correction",
];

/// Takes the lines one by one and compares after each.
fn grown(lines: &Lines) {
    let protocols = &BUILT_IN.1;
    let mut first = Lines::default();
    first.events.push(lines.events[0].clone());
    let mut live = LiveExam::read(first, protocols).unwrap();
    let mut whole = Lines::default();
    for (idx, line) in lines.events.iter().enumerate() {
        whole.events.push(line.clone());
        if idx > 0 {
            assert_eq!(live.next_seq(), line.seq);
            live.take(line.clone(), protocols);
        }
        assert_eq!(live.exam(), &fold(&whole, protocols).unwrap(), "after {line:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 16, ..ProptestConfig::default() })]
    #[test]
    fn after_each_line_the_exam_is_as_if_all_lines_were_folded(
        said in prop::collection::vec(prop::sample::select(SAID), 1..40),
    ) {
        grown(&exam_lines(&said));
    }
}

#[test]
fn a_correction_that_is_taken_back_leaves_what_was_said_first() {
    let said = ["left fore two alpha", "save", "correction right fore", "disregard that", "save"];
    let lines = exam_lines(&said);
    grown(&lines);
    assert_eq!(fold(&lines, &BUILT_IN.1).unwrap().context.place.limb.as_deref(), Some("LF"));
}

/// A view that was taken back is not called, and its save goes with it.
#[test]
fn how_far_the_views_are_follows_what_is_taken_back_and_corrected() {
    let exam = support::exam_of(&["left fore two alpha transverse", "save", "disregard that", "save"]);
    assert_eq!(Progress::of(&exam).saves(), 1);
}

#[test]
fn a_resumed_exam_knows_the_folder_of_its_scanner() {
    let exam = tempfile::tempdir().unwrap();
    assert_eq!(RememberedScanner::of(exam.path()), None);
    let names = ["a \"scanner\"", "a\nscanner", "a\\xff"].map(OsString::from);
    let no_text = OsString::from_vec(b"scanner\xff".to_vec());
    for name in names.into_iter().chain([no_text]) {
        let scanner =
            RememberedScanner { watch: exam.path().join(name), export_delay_s: 2.0, received: true };
        scanner.keep(exam.path()).unwrap();
        assert_eq!(RememberedScanner::of(exam.path()), Some(scanner));
    }
}
