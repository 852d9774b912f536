//! A damaged line is named, and nothing is computed from a number that no exam can hold.
use crate::support::{self, BUILT_IN};

use std::collections::BTreeSet;

use proptest::prelude::*;
use zonecall::exam::bounds::{SAMPLES_MAX, SEQ_MAX};
use zonecall::exam::event::Event;
use zonecall::exam::fold::fold;
use zonecall::exam::journal::{JOURNAL_FILE, Lines, lines};
use zonecall::exam::seq::Seq;
use zonecall::frames::pair::pair;
use zonecall::knowledge::assemble::record;

const SAID: [(f64, &str); 4] = [
    (2.0, "left fore zone two alpha transverse"),
    (6.0, "superficial flexor normal"),
    (9.0, "area ninety square millimetres"),
    (12.0, "save"),
];

/// The journal as text.
fn written() -> String {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &SAID);
    std::fs::read_to_string(folder.path().join(JOURNAL_FILE)).unwrap()
}

/// Everything that a report is made from; it must come to an end, whatever the lines hold.
fn all_of(found: &Lines) -> usize {
    let Ok(exam) = fold(found, &BUILT_IN.1) else { return 0 };
    record(&exam, &pair(&exam, &exam.frames), &BUILT_IN.1).findings.len()
}

#[test]
fn a_number_that_no_exam_can_hold_is_named_with_its_line_and_not_used() {
    let whole = written();
    let long = "99999999999999";
    for (name, from, to) in [
        ("seq", "{\"seq\":4,".to_owned(), format!("{{\"seq\":{},", u64::MAX)),
        ("seq", "{\"seq\":4,".to_owned(), format!("{{\"seq\":{},", SEQ_MAX + 1)),
        ("sample", "\"sample\":115200".to_owned(), format!("\"sample\":{}", u64::MAX)),
        ("sample", "\"sample\":0},".to_owned(), format!("\"sample\":{}}},", SAMPLES_MAX + 1)),
        ("to", "\"to\":38400".to_owned(), format!("\"to\":{}", u64::MAX)),
        ("span", "\"from\":32000".to_owned(), format!("\"from\":{SAMPLES_MAX}")),
        ("monotonic_ns", "\"monotonic_ns\":0".to_owned(), format!("\"monotonic_ns\":{}", u64::MAX)),
        ("number", "\"number\":90.0".to_owned(), format!("\"number\":{long}.0")),
        ("wall", "\"wall\":\"2026".to_owned(), "\"wall\":\"2826".to_owned()),
        ("utc_offset_s", "\"utc_offset_s\":7200".to_owned(), "\"utc_offset_s\":720000".to_owned()),
    ] {
        let Some(at) = whole.find(&from) else { panic!("`{from}` is not in the journal: {whole}") };
        let number = whole[..at].lines().count() as u64 + u64::from(whole[..at].ends_with('\n'));
        let damaged = whole.replacen(&from, &to, 1);
        let found = lines(damaged.as_bytes());
        let told =
            found.damage.iter().find(|(_, problem)| problem.message.starts_with(&format!("`{name}` is ")));
        let Some((line, problem)) = told else { panic!("{name}: {:?}", found.damage) };
        assert_eq!(*line, number.max(1), "{name}: {problem:?}");
        assert_eq!(found.events.len(), whole.lines().count(), "{name}: the line is kept");
        all_of(&found);
    }
}

/// A box whose clock was set in the middle: the program wrote these lines, and nobody changed them.
#[test]
fn a_clock_that_leaps_by_years_is_no_damage() {
    for year in ["1970", "2036", "2199"] {
        let set = written().replacen("\"wall\":\"2026", &format!("\"wall\":\"{year}"), 1);
        let accused =
            |problem: &zonecall::exam::call::Problem| problem.message.contains("the line is not used");
        let found = lines(set.as_bytes());
        assert!(!found.damage.iter().any(|(_, problem)| accused(problem)), "{year}: {:?}", found.damage);
        all_of(&found);
    }
}

#[test]
fn a_number_that_two_lines_have_is_given_to_one_of_them() {
    let twice = written().replacen("{\"seq\":5,", "{\"seq\":4,", 1);
    let found = lines(twice.as_bytes());
    let numbers: BTreeSet<Seq> = found.events.iter().map(|line| line.seq).collect();
    assert_eq!(numbers.len(), found.events.len());
    assert!(!found.damage.is_empty());
    all_of(&found);
}

#[test]
fn an_impossible_start_leaves_no_exam_and_says_which_line() {
    let damaged = written().replacen("\"started_at\":\"2026", "\"started_at\":\"6026", 1);
    let found = lines(damaged.as_bytes());
    assert!(matches!(found.events[0].event, Event::Unknown { .. }));
    assert_eq!(found.damage[0].0, 1);
    assert!(fold(&found, &BUILT_IN.1).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    /// The chain is left broken: what counts here is that nothing panics, hangs, or asks for all memory.
    #[test]
    fn a_flipped_bit_anywhere_is_read_folded_and_reported(at in 0_usize..1 << 20, bit in 0_u8..8) {
        static WHOLE: std::sync::LazyLock<String> = std::sync::LazyLock::new(written);
        let mut bytes = WHOLE.clone().into_bytes();
        let at = at % bytes.len();
        bytes[at] ^= 1 << bit;
        let found = lines(&bytes);
        let last_line = bytes[..bytes.len() - 1].iter().rposition(|byte| *byte == b'\n').unwrap();
        prop_assert!(at > last_line || !found.damage.is_empty(), "byte {} is not missed", at);
        all_of(&found);
    }
}
