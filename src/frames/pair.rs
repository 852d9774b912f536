//! Pairs each still with the call that labels it.
//!
//! Takes: the exam as folded from its journal, and the stills.
//! Gives: `Pairing`: the clock, and for each still its call, how sure that is, and what else it could be.
//! Never: I/O; chooses between two labels that do about as well.
//! Tested in: `tests/it/pair.rs`.

use chrono::{DateTime, Utc};

use crate::exam::call::{Act, Command};
use crate::exam::event::Frame;
use crate::exam::fold::Exam;
use crate::frames::by_hand::{by_hand, standing_copies};
use crate::frames::clock_fit::{Candidate, Fit, Said, Saved, clock_fit};
use crate::frames::known_clock::known_offset;
use crate::frames::pairing::{ClockFit, PairedFrame, Pairing, Tie};
use crate::frames::reading::{NumberedStill, PairMoment, PairReading, call_of, label, since_start_s};
use crate::frames::save_times::{copy_of, saved_at, through_summer_time};
use crate::frames::scanner_name::by_scanner;
use crate::frames::stretch::hold_by_stretch;

/// A clock mark and a save call nearer than this are one moment, in seconds; our own choice.
const ONE_MOMENT_S: f64 = 3.0;
/// How closely a person can set the clocks by hand, in seconds: scanners show whole seconds.
const BY_HAND_S: f64 = 1.0;

/// Pairs the stills of an exam with its calls; equal input gives an equal answer.
///
/// The entries of `Pairing::frames` are in the order of `frames`.
/// Each scanner has a clock of its own; the one that more pairs speak for is the clock of the pairing.
#[must_use]
pub fn pair(exam: &Exam, frames: &[Frame]) -> Pairing {
    let moments = moments(exam);
    let times = saved_at(frames, exam.header.utc_offset_s);
    let copies = standing_copies(exam, frames, copy_of(frames, &times));
    let nothing = PairedFrame { exam_s: None, tie: Tie::Nothing, confidence: 0.0, rivals: Vec::new() };
    let mut pairing = Pairing {
        frames: vec![nothing; frames.len()],
        copies,
        unsure: vec![false; frames.len()],
        ..Pairing::default()
    };
    for own in by_scanner(frames) {
        pair_own(exam, (frames, &own), &moments, &times, &mut pairing);
    }
    for (frame, paired) in frames.iter().zip(&mut pairing.frames) {
        if let Some(tie) = by_hand(exam, frame) {
            *paired = PairedFrame { exam_s: paired.exam_s, tie, confidence: 1.0, rivals: Vec::new() };
        }
    }
    // What a person said of a still holds for its copies, unless something was said of the copy itself.
    for (copy, frame) in frames.iter().enumerate() {
        if let Some(original) = pairing.copies[copy].filter(|_| by_hand(exam, frame).is_none()) {
            pairing.frames[copy] = pairing.frames[original].clone();
            pairing.unsure[copy] = pairing.unsure[original];
        }
    }
    pairing
}

/// Pairs the stills of one scanner, those of `frames` at the places `own`, by the clock that they show.
fn pair_own(
    exam: &Exam,
    (frames, own): (&[Frame], &[usize]),
    moments: &[PairMoment],
    times: &[DateTime<Utc>],
    pairing: &mut Pairing,
) {
    let (stills, fit) = clock_of(exam, (frames, own), moments, times, &pairing.copies);
    let readings: Vec<Vec<PairedFrame>> = fit
        .candidates
        .iter()
        .map(|candidate| PairReading::new(exam, moments, &stills, candidate).frames(fit.confidence))
        .collect();
    for (at, still) in stills.iter().enumerate() {
        if let Some(merged) = merge(exam, &fit.candidates, &readings, at) {
            pairing.frames[still.frame] = merged;
        }
    }
    // A clock that a person set holds for all of the exam.
    if let Some(best) = fit.candidates.first().filter(|_| exam.clock_by_hand().is_none()) {
        let unsure = hold_by_stretch(exam, moments, &stills, best, &mut pairing.frames);
        for (known, unsure) in pairing.unsure.iter_mut().zip(unsure) {
            *known |= unsure;
        }
    }
    let mut clocks = fit.candidates.into_iter().map(|candidate| candidate.clock);
    let Some(clock) = clocks.next() else { return };
    if pairing.clock.as_ref().is_none_or(|known| known.pairs < clock.pairs) {
        pairing.clock = Some(clock);
        pairing.rival_clocks = clocks.collect();
    }
}

/// The stills of one scanner by its clock, and how that runs; through a change of summer time, if more calls have their still
/// so.
fn clock_of(
    exam: &Exam,
    (frames, own): (&[Frame], &[usize]),
    moments: &[PairMoment],
    times: &[DateTime<Utc>],
    copies: &[Option<usize>],
) -> (Vec<NumberedStill>, Fit) {
    let said: Vec<Said> =
        moments.iter().map(|moment| Said { at_s: moment.at_s, mark: moment.mark }).collect();
    let own_frames: Vec<Frame> = own.iter().map(|idx| frames[*idx].clone()).collect();
    let known = known_offset(exam, &own_frames);
    let fitted = |times: &[DateTime<Utc>]| {
        let stills = stills(exam, (frames, own), times, copies);
        let saved: Vec<Saved> = stills.iter().map(|still| still.saved).collect();
        let fit = clock_fit(&said, &saved, known.as_ref());
        (stills, fit)
    };
    if let Some(fit) = clock_by_hand(exam) {
        return (stills(exam, (frames, own), times, copies), fit);
    }
    let as_written = fitted(times);
    let own_times: Vec<DateTime<Utc>> = own.iter().map(|idx| times[*idx]).collect();
    let Some(through) = through_summer_time(&own_frames, &own_times) else {
        return as_written;
    };
    let mut all = times.to_vec();
    for (idx, at) in own.iter().zip(through) {
        all[*idx] = at;
    }
    let mut through = fitted(&all);
    match through.1.candidates.first_mut() {
        Some(best) if best.explains_more(as_written.1.candidates.first()) => {
            best.clock.method.push_str("; set by an hour during the exam, as for summer time");
            through
        }
        _ => as_written,
    }
}

/// The one clock that a person set.
fn clock_by_hand(exam: &Exam) -> Option<Fit> {
    let (offset_s, by) = exam.clock_by_hand()?;
    let method = format!("set by hand by {by}");
    let clock = ClockFit { offset_s, drift_ppm: 0.0, uncertainty_s: BY_HAND_S, pairs: 0, method };
    let candidate = Candidate { clock, spread_s: BY_HAND_S, marks: 0, score: 0.0 };
    Some(Fit { candidates: vec![candidate], confidence: 1.0 })
}

/// Save calls and clock marks that were not taken back, in order of time.
fn moments(exam: &Exam) -> Vec<PairMoment> {
    let mut all: Vec<PairMoment> = Vec::new();
    for (call, logged) in exam.calls.iter().enumerate().filter(|(_, logged)| logged.withdrawn_by.is_none()) {
        let save = logged.act.is_save();
        let mark = logged.act == Act::Command(Command::ClockMark);
        if save || mark {
            all.push(PairMoment { at_s: since_start_s(exam, logged.said_at), call, save, mark });
        }
    }
    all.sort_by(|a, b| a.at_s.total_cmp(&b.at_s).then(a.call.cmp(&b.call)));
    let mut moments: Vec<PairMoment> = Vec::new();
    for next in all {
        match moments.last_mut() {
            // Said together, a mark and a save speak of one still; the save labels it.
            Some(last) if last.save != next.save && next.at_s - last.at_s < ONE_MOMENT_S => {
                if next.save {
                    // The button is pressed with the save, whatever was said before it.
                    (last.call, last.at_s) = (next.call, next.at_s);
                }
                (last.save, last.mark) = (true, true);
            }
            _ => moments.push(next),
        }
    }
    moments
}

fn stills(
    exam: &Exam,
    (frames, own): (&[Frame], &[usize]),
    times: &[DateTime<Utc>],
    copies: &[Option<usize>],
) -> Vec<NumberedStill> {
    let mut order: Vec<usize> = own.iter().copied().filter(|idx| copies[*idx].is_none()).collect();
    order.sort_by_key(|idx| (times[*idx], frames[*idx].instance_number, *idx));
    let still = |frame: usize| NumberedStill {
        frame,
        saved: Saved { at_s: since_start_s(exam, times[frame]), resolution_s: frames[frame].resolution_s },
        hand: by_hand(exam, &frames[frame]),
    };
    // A still of another horse takes no call from this one's, and its time says nothing of the scanner's clock.
    let refused = exam.refused(frames);
    let taken = |still: &NumberedStill| still.hand != Some(Tie::LeftOut) && refused[still.frame].is_none();
    order.into_iter().map(still).filter(taken).collect()
}

/// One answer out of those by each clock: where the clocks give different labels, none is chosen.
fn merge(exam: &Exam, by: &[Candidate], readings: &[Vec<PairedFrame>], at: usize) -> Option<PairedFrame> {
    let mut merged = readings.first()?[at].clone();
    let best = call_of(merged.tie);
    if merged.tie == Tie::Open {
        return Some(merged);
    }
    let mut calls: Vec<(usize, f64, String)> = Vec::new();
    let mut agree = true;
    for (candidate, reading) in by.iter().zip(readings) {
        let share = 0.5_f64.powf(by[0].score - candidate.score).min(1.0);
        let call = call_of(reading[at].tie);
        agree &= match (best, call) {
            (Some(best), Some(call)) => label(exam, best) == label(exam, call),
            (None, None) => reading[at].tie == merged.tie,
            _ => false,
        };
        if let Some(call) = call.filter(|call| calls.iter().all(|known| known.0 != *call)) {
            calls.push((call, share, format!("by an offset of {:+.1} s", candidate.clock.offset_s)));
        }
    }
    if !agree {
        let total: f64 = calls.iter().map(|call| call.1).sum();
        calls.iter_mut().for_each(|call| call.1 /= total.max(f64::MIN_POSITIVE));
        merged.confidence = calls.first().map_or(0.0, |call| call.1).min(0.5);
        merged.tie = Tie::Open;
        merged.rivals = calls;
    }
    Some(merged)
}
