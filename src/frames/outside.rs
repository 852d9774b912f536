//! Stills that were saved outside the time of an exam.
//!
//! Takes: an exam, its stills and their pairing.
//! Gives: for each still, whether it was saved well before or after the exam.
//! Never: says so without a clock that ties the stills to the exam, by one of several that do so about as well, or of a still
//! that a person placed.
//! Tested in: `tests/it/pair_folder.rs`.

use chrono::{DateTime, Utc};

use crate::exam::event::Frame;
use crate::exam::fold::Exam;
use crate::frames::clock_fit::{exam_s, scanner_s};
use crate::frames::pairing::{ClockFit, PairedFrame, Pairing, Tie};
use crate::frames::reading::bounds_s;
use crate::frames::save_times::saved_at;
use crate::frames::scanner_name::by_scanner;

/// Stills further than this from the beginning or the end of the exam are of another one, in seconds: ten minutes, in which
/// a vet may still save one that counts.
const WELL_S: f64 = 600.0;

/// For each of these stills, whether it was saved outside the time of the exam.
#[must_use]
pub fn outside(exam: &Exam, frames: &[Frame], pairing: &Pairing) -> Vec<bool> {
    let Some(best) = &pairing.clock else { return vec![false; frames.len()] };
    let clocks: Vec<&ClockFit> = std::iter::once(best).chain(&pairing.rival_clocks).collect();
    let (from_s, to_s) = bounds_s(exam);
    let mut times = saved_at(frames, exam.header.utc_offset_s);
    // A copy was saved when its still was, whatever time the file has.
    for (copy, original) in pairing.copies.iter().enumerate().filter_map(|(copy, of)| Some((copy, (*of)?))) {
        times[copy] = times[original];
    }
    let is_outside = |(paired, at): (&PairedFrame, DateTime<Utc>)| {
        // By the clock as it ran on, where it was set by an hour meanwhile.
        let since_start_s = (at - exam.header.started_at).as_seconds_f64();
        let by_scanner_s = paired.exam_s.map_or(since_start_s, |at_s| scanner_s(best, at_s));
        let is_outside_by = |clock: &&ClockFit| {
            let at_s = exam_s(clock, by_scanner_s);
            at_s < from_s - WELL_S || at_s > to_s + WELL_S
        };
        let by_hand = matches!(paired.tie, Tie::Hand(_) | Tie::Label(_) | Tie::LeftOut);
        !by_hand && clocks.iter().all(is_outside_by)
    };
    let mut found: Vec<bool> = pairing.frames.iter().zip(times).map(is_outside).collect();
    let groups = by_scanner(frames);
    // The clock of one scanner says nothing of the stills of another whose own clock is not known.
    let is_untied = |own: &&Vec<usize>| own.iter().all(|idx| pairing.frames[*idx].exam_s.is_none());
    for idx in groups.iter().filter(|_| groups.len() > 1).filter(is_untied).flatten() {
        found[*idx] = false;
    }
    found
}
