//! The clock of a scanner that was met before.
//!
//! Takes: an exam and its pairing, and the journals of the exams beside it.
//! Gives: how the scanner's clock runs, as found in this exam or known from the latest earlier one.
//! Never: takes a clock that was known before for the truth: it only helps where the exam itself says too little.
//! Tested in: `tests/it/known_scanner.rs`.

use std::collections::BTreeSet;
use std::path::Path;

use chrono::TimeDelta;
use serde::Deserialize;

use crate::exam::event::{Frame, ScannerClock};
use crate::exam::fold::Exam;
use crate::frames::clock_fit::KnownOffset;
use crate::frames::elsewhere::{Beside, journals_beside};
use crate::frames::pairing::Pairing;
use crate::frames::scanner_name::may_be_shared;

/// Pairs from which on a clock is worth remembering.
pub(crate) const PAIRS_MIN: usize = 5;
/// A clock that is known is looked for within this many seconds: it is the habit of a hand on a button.
const WITHIN_S: f64 = 2.0;
/// A quartz clock runs off by about so much; from memory, no source: 20 ppm is usual, cold and age add to it.
const RUNS_OFF_PPM: f64 = 50.0;

/// Clocks of one name are held against each other as far back as this; our own choice.
const SET_ANEW_DAYS: i64 = 31;

/// The one scanner that all these stills are of, as far as their files say.
#[must_use]
pub fn scanner_of<'a>(frames: impl IntoIterator<Item = &'a Frame>) -> Option<&'a str> {
    let named: BTreeSet<&str> = frames.into_iter().filter_map(|frame| frame.scanner.as_deref()).collect();
    let mut named = named.into_iter();
    named.next().filter(|_| named.next().is_none())
}

/// What is known of the clock of these stills from an earlier exam.
#[must_use]
pub fn known_offset(exam: &Exam, frames: &[Frame]) -> Option<KnownOffset> {
    let scanner = scanner_of(frames)?;
    // What the exam found itself may hang on the earlier clock, and does not take its place.
    let known =
        exam.scanner_clocks.iter().rev().find(|clock| clock.scanner == scanner && clock.exam.is_some())?;
    let from = known.exam.as_ref()?;
    let age_s = (exam.header.started_at - known.at).as_seconds_f64().abs();
    Some(KnownOffset {
        offset_s: known.offset_s,
        within_s: WITHIN_S + known.uncertainty_s + 1e-6 * RUNS_OFF_PPM * age_s,
        from: format!("the exam `{from}`"),
    })
}

/// The clock that this exam itself shows, for the next one.
#[must_use]
pub fn found(exam: &Exam, pairing: &Pairing) -> Option<ScannerClock> {
    let clock = pairing.clock.as_ref().filter(|clock| clock.pairs >= PAIRS_MIN)?;
    let end_s = exam.n_samples.seconds();
    let at_s = f64::midpoint(0.0, end_s);
    Some(ScannerClock {
        scanner: scanner_of(&exam.frames)?.to_owned(),
        offset_s: clock.offset_s + 1e-6 * clock.drift_ppm * at_s,
        uncertainty_s: clock.uncertainty_s,
        at: exam.header.started_at + TimeDelta::milliseconds(whole_ms(at_s)),
        exam: None,
    })
}

#[allow(clippy::cast_possible_truncation)] // an exam lasts hours
fn whole_ms(seconds: f64) -> i64 {
    (seconds * 1000.0) as i64
}

/// The clock of the scanner as the latest of the exams beside this one found it.
///
/// None where two scanners may have this name, and the clocks of the last weeks cannot be those of one.
#[must_use]
pub fn from_earlier(exam_folder: &Path, scanner: &str) -> Option<ScannerClock> {
    let clocks = journals_beside(exam_folder).into_iter().flat_map(|beside| {
        let clocks = clocks_of(&beside);
        clocks.into_iter().map(move |clock| ScannerClock { exam: Some(beside.exam.clone()), ..clock })
    });
    let known: Vec<ScannerClock> = clocks.filter(|clock| clock.scanner == scanner).collect();
    let last = known.iter().max_by_key(|clock| clock.at)?;
    let are_one = known.iter().all(|other| can_be_one(last, other));
    (are_one || !may_be_shared(scanner)).then(|| last.clone())
}

/// Whether one clock can have run like both; what is older than a few weeks may have been set anew since.
fn can_be_one(last: &ScannerClock, other: &ScannerClock) -> bool {
    let age = last.at - other.at;
    let within_s =
        WITHIN_S + last.uncertainty_s + other.uncertainty_s + 1e-6 * RUNS_OFF_PPM * age.as_seconds_f64();
    age > TimeDelta::days(SET_ANEW_DAYS) || (last.offset_s - other.offset_s).abs() <= within_s
}

/// In the line of every clock that was found.
const KIND: &str = "\"scanner_clock\"";

#[derive(Deserialize)]
struct ClockLine {
    body: ScannerClock,
}

fn clocks_of(beside: &Beside) -> Vec<ScannerClock> {
    let lines = beside.lines().filter(|line| line.contains(KIND));
    let clocks = lines.filter_map(|line| Some(serde_json::from_str::<ClockLine>(&line).ok()?.body));
    clocks.filter(|clock| clock.exam.is_none()).collect()
}
