//! What a person changes before an utterance that was not understood leaves the doubts after it as they were.
use crate::support;

use chrono::{DateTime, Utc};
use proptest::prelude::*;
use support::BUILT_IN;
use support::case::{Case, said};
use zonecall::clock::{SAMPLE_RATE_HZ, Sample};
use zonecall::exam::call::{Act, Setting, View};
use zonecall::exam::event::Event;
use zonecall::exam::fold::{Exam, fold};
use zonecall::exam::journal::{self, Journal};
use zonecall::exam::review::{Change, Review};
use zonecall::exam::seq::Seq;
use zonecall::frames::pairing::{Pairing, Tie};

/// Where the utterance lies that nobody understood, in seconds.
const UNHEARD_S: f64 = 20.0;
const SAID: [(f64, &str); 10] = [
    (2.0, "left fore zone two bravo transverse"),
    (6.0, "save"),
    (10.0, "superficial flexor"),
    (14.0, "save"),
    (UNHEARD_S, "blue green yellow"),
    (26.0, "save"),
    (30.0, "area ninety square millimetres"),
    (34.0, "save"),
    (40.0, "zone three alpha"),
    (46.0, "save"),
];

/// The exam after these changes.
fn changed(changes: &[Change]) -> Exam {
    let folder = tempfile::tempdir().unwrap();
    support::write_journal(folder.path(), &SAID);
    let later: DateTime<Utc> = "2026-05-05T07:00:00Z".parse().unwrap();
    let mut journal = Journal::open(folder.path()).unwrap();
    for change in changes.iter().cloned() {
        let (by, why, was) = ("Robin".to_owned(), String::new(), String::new());
        journal
            .append(later, Sample::FIRST, &Event::Review(Box::new(Review { by, why, was, change })))
            .unwrap();
    }
    fold(&journal::read(folder.path()).unwrap(), &BUILT_IN.1).unwrap()
}

/// For each save: its line, whether its still is trusted by half at most, and whether it is asked about.
fn doubts(exam: &Exam, of: impl Fn(f64) -> bool) -> Vec<(Seq, bool, bool)> {
    let mut case = Case { exam: exam.clone(), pairing: Pairing::default() };
    let saves: Vec<usize> = (0..exam.calls.len())
        .filter(|idx| {
            let call = &exam.calls[*idx];
            let at_s = (call.said_at - exam.header.started_at).as_seconds_f64();
            call.act == Act::Save && call.withdrawn_by.is_none() && !call.is_added() && of(at_s)
        })
        .collect();
    for idx in &saves {
        case = case.still(Tie::Save(*idx));
    }
    let record = case.record(&BUILT_IN.1);
    let asked = |seq| {
        record.findings.iter().any(|found| found.rule == "save-after-unheard" && found.call_seq == Some(seq))
    };
    let rows = saves.iter().zip(&record.frames);
    rows.map(|(idx, row)| (exam.calls[*idx].seq, row.confidence <= 0.5, asked(exam.calls[*idx].seq)))
        .collect()
}

fn after(exam: &Exam) -> Vec<(Seq, bool, bool)> {
    doubts(exam, |at_s| at_s > UNHEARD_S)
}

fn before(exam: &Exam) -> Vec<(Seq, bool, bool)> {
    doubts(exam, |at_s| at_s < UNHEARD_S)
}

fn sample(at_s: f64) -> Sample {
    Sample((at_s * f64::from(SAMPLE_RATE_HZ)) as u64)
}

fn zone(code: &str) -> Act {
    Act::View(View { zone: Some(code.into()), ..View::default() })
}

/// Something seen, as the language understands it.
fn normal() -> Act {
    let seen = said(&["normal"]).exam.calls[0].act.clone();
    assert!(matches!(seen, Act::Finding(_)), "{seen:?}");
    seen
}

#[test]
fn two_stills_after_it_are_in_doubt_and_none_before_it_or_after_the_next_zone() {
    let exam = changed(&[]);
    let in_doubt = |all: Vec<(Seq, bool, bool)>| all.iter().map(|one| (one.1, one.2)).collect::<Vec<_>>();
    assert_eq!(in_doubt(after(&exam)), [(true, true), (true, true), (false, false)]);
    assert_eq!(in_doubt(before(&exam)), [(false, false), (false, false)]);
}

#[test]
fn a_zone_added_before_it_does_not_silence_the_doubt_over_a_later_still() {
    let exam = changed(&[Change::Add { sample: sample(8.0), act: zone("2A") }]);
    assert_eq!(after(&exam), after(&changed(&[])));
}

#[test]
fn a_finding_added_before_it_puts_no_doubt_on_stills_before_it() {
    let exam = changed(&[Change::Add { sample: sample(4.0), act: normal() }]);
    assert_eq!(before(&exam), before(&changed(&[])));
    assert_eq!(after(&exam), after(&changed(&[])));
}

#[test]
fn a_zone_added_at_it_settles_the_doubt() {
    let exam = changed(&[Change::Add { sample: sample(UNHEARD_S), act: zone("2A") }]);
    assert!(after(&exam).iter().all(|(_, low, asked)| !low && !asked), "{:?}", after(&exam));
}

/// A change of what is before the utterance, at a time before it.
fn edit() -> impl Strategy<Value = Change> {
    let exam = changed(&[]);
    let early: Vec<Seq> = exam.calls[..4].iter().map(|call| call.seq).collect();
    let views: Vec<Seq> =
        exam.calls[..4].iter().filter(|call| matches!(call.act, Act::View(_))).map(|call| call.seq).collect();
    let standoff = Setting { slot: "standoff".to_owned(), state: Some("on".to_owned()), amount: None };
    let limb = Act::View(View { limb: Some("RF".into()), ..View::default() });
    let act =
        prop::sample::select(vec![zone("2A"), zone("3B"), limb, normal(), Act::Save, Act::Setting(standoff)]);
    let at = 0.0..UNHEARD_S - 1.0;
    prop_oneof![
        (at.clone(), act).prop_map(|(at_s, act)| Change::Add { sample: sample(at_s), act }),
        (prop::sample::select(early.clone()), at)
            .prop_map(|(seq, at_s)| Change::Move { seq, sample: sample(at_s) }),
        prop::sample::select(early).prop_map(|seq| Change::Withdraw { seq }),
        prop::sample::select(views).prop_map(|seq| Change::Call { seq, act: zone("1B") }),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn no_edit_before_it_changes_a_doubt(edits in prop::collection::vec(edit(), 1..4)) {
        let exam = changed(&edits);
        prop_assert_eq!(after(&exam), after(&changed(&[])));
        prop_assert!(before(&exam).iter().all(|(_, low, asked)| !low && !asked));
    }
}
