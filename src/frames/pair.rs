//! Pairs the saved stills with what was said.
//!
//! Takes: the exam and its stills.
//! Gives: `Pairing`: for each still a save call, or what was in force, or two readings, or nothing.
//! Never: settles two plausible readings in silence.
//! Tested in: `tests/pair.rs`.

use crate::exam::call::{Act, Command};
use crate::exam::context::Context;
use crate::exam::event::Frame;
use crate::exam::fold::Exam;
use crate::frames::assign::assign;
use crate::frames::clock_fit::{Fit, fit};
use crate::frames::pairing::{ClockFit, PairedFrame, Pairing, Tie};

/// A save call and a still further apart than this are never paired, in seconds.
const REACH_S: f64 = 4.0;
/// The spread is never taken for less than this, in seconds: people are not more regular.
const SPREAD_MIN_S: f64 = 0.5;
/// What leaving a call or a still alone costs, in squares of the spread.
const GAP_COST: f64 = 9.0;
/// Two readings whose costs differ by less than this are both plausible.
const CLOSE_COST: f64 = 1.5;
/// A still this long after the last sound is not part of the exam, in seconds.
const AFTER_END_S: f64 = 60.0;
/// Confidence of a label that comes from what was in force.
const CONTEXT_CONFIDENCE: f64 = 0.6;

/// Pairs `frames` with the calls of `exam`.
#[must_use]
pub fn pair(exam: &Exam, frames: &[Frame]) -> Pairing {
    let started_at = exam.header.started_at;
    let scanner_s: Vec<f64> = frames.iter().map(|frame| seconds(frame.saved_at - started_at)).collect();
    let mut order: Vec<usize> = (0..frames.len()).collect();
    order.sort_by(|a, b| {
        let by_number = frames[*a].instance_number.cmp(&frames[*b].instance_number);
        scanner_s[*a]
            .total_cmp(&scanner_s[*b])
            .then(by_number)
            .then_with(|| frames[*a].id.cmp(&frames[*b].id))
    });
    let stills_s: Vec<f64> = order.iter().map(|idx| scanner_s[*idx]).collect();
    let saves: Vec<(usize, f64)> = exam
        .calls
        .iter()
        .enumerate()
        .filter(|(_, call)| call.withdrawn_by.is_none() && is_save(&call.act))
        .map(|(idx, call)| (idx, seconds(call.said_at - started_at)))
        .collect();
    let saves_s: Vec<f64> = saves.iter().map(|(_, at_s)| *at_s).collect();
    let is_mark = |call: &usize| exam.calls[*call].act == Act::Command(Command::ClockMark);
    let marks_s: Vec<f64> = saves.iter().filter(|(call, _)| is_mark(call)).map(|(_, at_s)| *at_s).collect();
    let fits = fit(&saves_s, &stills_s, &marks_s);
    let Some(best) = fits.first() else {
        let nothing = PairedFrame { exam_s: None, tie: Tie::Nothing, confidence: 0.0, rivals: Vec::new() };
        return Pairing { clock: None, frames: vec![nothing; frames.len()] };
    };
    let resolution_s = frames.iter().map(|frame| frame.resolution_s).fold(0.0, f64::max);
    let side = |fit: &Fit| Side { exam, saves: &saves, fit: fit.clone(), resolution_s }.pair(&stills_s);
    let mut paired = side(best);
    for rival in &fits[1..] {
        for (mine, other) in paired.iter_mut().zip(side(rival)) {
            doubt(exam, mine, &other, rival.offset_s);
        }
    }
    let mut in_order = paired.clone();
    for (place, idx) in order.iter().enumerate() {
        in_order[*idx] = paired[place].clone();
    }
    Pairing { clock: Some(clock(best, fits.len(), resolution_s)), frames: in_order }
}

#[allow(clippy::cast_precision_loss)] // exact to a microsecond over centuries
fn seconds(apart: chrono::TimeDelta) -> f64 {
    apart.num_microseconds().unwrap_or(i64::MAX) as f64 / 1e6
}

fn is_save(act: &Act) -> bool {
    matches!(act, Act::Save | Act::Command(Command::ClockMark))
}

#[allow(clippy::cast_precision_loss)] // few pairs
fn clock(best: &Fit, n_fits: usize, resolution_s: f64) -> ClockFit {
    // Twice the standard error of a median (1.2533 spread / sqrt n), and half a step of the scanner's clock.
    let uncertainty_s = 2.0 * 1.2533 * best.spread_s / (best.pairs as f64).sqrt() + resolution_s / 2.0;
    let mut method = format!(
        "median offset and Theil-Sen drift of {} save calls and stills; includes the delay between word and button",
        best.pairs
    );
    if n_fits > 1 {
        method.push_str(&format!(
            "; {n_fits} offsets explain the stills about equally well: say `clock mark` once"
        ));
    }
    ClockFit { offset_s: best.offset_s, drift_ppm: best.drift_ppm, uncertainty_s, pairs: best.pairs, method }
}

/// A second fit of the clocks puts this still elsewhere: keep both readings.
fn doubt(exam: &Exam, mine: &mut PairedFrame, other: &PairedFrame, offset_s: f64) {
    let call = |paired: &PairedFrame| match paired.tie {
        Tie::Save(call) | Tie::Context(call) => Some(call),
        Tie::Open | Tie::Nothing => None,
    };
    let (Some(here), Some(there)) = (call(mine), call(other)) else { return };
    if same_label(&exam.calls[here].context, &exam.calls[there].context) {
        return;
    }
    mine.tie = Tie::Open;
    mine.rivals.push((here, mine.confidence / 2.0, "the likeliest clock offset".to_owned()));
    mine.rivals.push((there, other.confidence / 2.0, format!("a clock offset of {offset_s:.1} s")));
    mine.confidence = 0.0;
}

fn same_label(a: &Context, b: &Context) -> bool {
    (&a.limb, &a.zone, &a.plane, &a.structure) == (&b.limb, &b.zone, &b.plane, &b.structure)
}

/// Pairing under one fit of the clocks.
struct Side<'a> {
    exam: &'a Exam,
    /// Index into the exam's calls, and exam second.
    saves: &'a [(usize, f64)],
    fit: Fit,
    resolution_s: f64,
}

impl Side<'_> {
    fn pair(&self, stills_s: &[f64]) -> Vec<PairedFrame> {
        let at_s: Vec<f64> = stills_s.iter().map(|still| self.fit.exam_s(*still)).collect();
        let options: Vec<Vec<(usize, f64)>> = at_s.iter().map(|still| self.options(*still)).collect();
        let assigned = assign(self.saves.len(), &options);
        let mut taken = vec![false; self.saves.len()];
        assigned.iter().flatten().for_each(|save| taken[*save] = true);
        let place = |still: usize| match assigned[still] {
            Some(save) => self.saved(still, save, &at_s, &assigned, &taken),
            None => self.in_force(at_s[still]),
        };
        let mut paired: Vec<PairedFrame> = (0..at_s.len()).map(place).collect();
        // A call half-way between two stills: neither is chosen.
        for still in 0..paired.len() {
            let Tie::Save(call) = paired[still].tie else { continue };
            let save = assigned[still].unwrap_or(0);
            for near in [still.wrapping_sub(1), still + 1] {
                let free = near < at_s.len() && assigned[near].is_none();
                if free && self.cost(at_s[near], save) - self.cost(at_s[still], save) < CLOSE_COST {
                    let reason = "one save call lies about half-way between two stills";
                    for idx in [still, near] {
                        let other = self.in_force(at_s[idx]);
                        paired[idx].tie = Tie::Open;
                        paired[idx].confidence = 0.0;
                        paired[idx].rivals = vec![(call, 0.5, reason.to_owned())];
                        if let Tie::Context(before) = other.tie {
                            paired[idx].rivals.push((
                                before,
                                0.5,
                                "what was in force at that moment".to_owned(),
                            ));
                        }
                    }
                }
            }
        }
        paired
    }

    /// How badly a still at this exam second fits a save call, in squares of the spread.
    fn cost(&self, at_s: f64, save: usize) -> f64 {
        let spread_s = self.fit.spread_s.max(SPREAD_MIN_S).hypot(self.resolution_s / 2.0);
        ((at_s - self.saves[save].1) / spread_s).powi(2)
    }

    /// The save calls within reach, with what each is worth.
    fn options(&self, at_s: f64) -> Vec<(usize, f64)> {
        let from = self.saves.partition_point(|(_, save_s)| *save_s < at_s - REACH_S);
        let near = (from..self.saves.len()).take_while(|save| self.saves[*save].1 <= at_s + REACH_S);
        near.map(|save| (save, 2.0 * GAP_COST - self.cost(at_s, save)))
            .filter(|(_, worth)| *worth > 0.0)
            .collect()
    }

    fn saved(
        &self,
        still: usize,
        save: usize,
        at_s: &[f64],
        assigned: &[Option<usize>],
        taken: &[bool],
    ) -> PairedFrame {
        let (call, _) = self.saves[save];
        let cost = self.cost(at_s[still], save);
        let mine = (-cost / 2.0).exp();
        let mut others = 0.0;
        let mut rivals = Vec::new();
        for (near, _) in self.options(at_s[still]) {
            let near_call = self.saves[near].0;
            let label = same_label(&self.exam.calls[call].context, &self.exam.calls[near_call].context);
            // A call that has a still of its own is no rival.
            if near == save || taken[near] || label {
                continue;
            }
            let near_cost = self.cost(at_s[still], near);
            others += (-near_cost / 2.0).exp();
            if near_cost - cost < CLOSE_COST {
                let reason = "lies about half-way between two save calls".to_owned();
                rivals.push((near_call, 0.5, reason));
            }
        }
        debug_assert_eq!(assigned[still], Some(save));
        let exam_s = Some(at_s[still]);
        if !rivals.is_empty() {
            rivals.insert(0, (call, 0.5, "lies about half-way between two save calls".to_owned()));
            return PairedFrame { exam_s, tie: Tie::Open, confidence: 0.0, rivals };
        }
        let confidence = mine / (mine + others + (-GAP_COST / 2.0).exp());
        PairedFrame { exam_s, tie: Tie::Save(call), confidence: round(confidence), rivals }
    }

    /// A still without a save call: labelled from what was in force, if anything was.
    fn in_force(&self, at_s: f64) -> PairedFrame {
        let started_at = self.exam.header.started_at;
        let said_s = |idx: usize| seconds(self.exam.calls[idx].said_at - started_at);
        let counts = |idx: &usize| self.exam.calls[*idx].withdrawn_by.is_none();
        let last = (0..self.exam.calls.len()).rev().find(|idx| said_s(*idx) <= at_s && counts(idx));
        let end_s = self.exam.breaths.last().map_or(0.0, |breath| breath.span.seconds().1);
        let nothing =
            PairedFrame { exam_s: Some(at_s), tie: Tie::Nothing, confidence: 0.0, rivals: Vec::new() };
        let Some(call) = last.filter(|_| at_s <= end_s + AFTER_END_S) else { return nothing };
        let context = &self.exam.calls[call].context;
        if context.limb.is_none() || context.zone.is_none() {
            return nothing;
        }
        PairedFrame { tie: Tie::Context(call), confidence: CONTEXT_CONFIDENCE, ..nothing }
    }
}

fn round(share: f64) -> f64 {
    (share * 1000.0).round() / 1000.0
}
