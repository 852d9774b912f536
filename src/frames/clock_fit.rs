//! Finds how the scanner's clock runs against the exam's.
//!
//! Takes: the moments of the save calls and clock marks, and the times of the stills.
//! Gives: the clock that explains most of them, and others that explain about as many.
//! Never: takes an offset for granted, or settles between two clocks that do about as well.
//! Tested in: here and `tests/it/pair.rs`.

use crate::frames::assign::{Edge, assign};
use crate::frames::pairing::ClockFit;
use crate::frames::theil_sen::{FittedLine, median, theil_sen};

/// Largest offset looked for, either way, in seconds: one hour of summer time.
pub const OFFSET_S_MAX: f64 = 3600.0;
/// Largest drift looked for, either way, in parts per million.
pub const DRIFT_PPM_MAX: f64 = 100.0;
/// How far a still may lie from its call for the two to count, in seconds, before the step of the scanner's clock.
const REACH_S: f64 = 1.0;
/// Width of a bin of the vote, in seconds.
const BIN_S: f64 = 0.25;
/// Calls that vote at most; more do not change which offset wins.
const VOTERS_MAX: usize = 1500;
/// Offsets of the vote that are looked at closely.
const CANDIDATES_MAX: usize = 24;
/// Candidates nearer to each other than this are one, in seconds.
const APART_S: f64 = 3.0;
/// Rivals that are given.
const RIVALS_MAX: usize = 4;
/// Rounds of pairing and fitting for a candidate.
const ROUNDS: usize = 4;

/// A moment of the exam at which a still was saved by what was said.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Said {
    /// Seconds since the start of the exam.
    pub at_s: f64,
    /// It was a clock mark: its still pins the offset.
    pub mark: bool,
}

/// A still by the scanner's clock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Saved {
    /// Seconds since the start of the exam by the scanner's clock.
    pub at_s: f64,
    /// Step of that clock, in seconds.
    pub resolution_s: f64,
}

/// A clock with what speaks for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Candidate {
    /// The clock.
    pub clock: ClockFit,
    /// Spread of the stills about their calls, in seconds (1.4826 x median absolute deviation).
    pub spread_s: f64,
    /// Clock marks that have their still.
    pub marks: usize,
    /// Pairs, each counted by how close it is.
    pub score: f64,
}

/// What the fit gives.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Fit {
    /// The best clock first, then those that explain about as much; empty where nothing is known.
    pub candidates: Vec<Candidate>,
    /// How sure it is that the first is right, 0 to 1.
    pub confidence: f64,
}

/// Scanner seconds that `clock` gives for exam seconds.
#[must_use]
pub fn scanner_s(clock: &ClockFit, exam_s: f64) -> f64 {
    exam_s + clock.offset_s + clock.drift_ppm * 1e-6 * exam_s
}

/// Exam seconds that `clock` gives for scanner seconds.
#[must_use]
pub fn exam_s(clock: &ClockFit, scanner_s: f64) -> f64 {
    (scanner_s - clock.offset_s) / (1.0 + clock.drift_ppm * 1e-6)
}

/// Finds the clocks that explain the stills best; both lists in order of time.
///
/// All differences between a still and a call vote for an offset, once for each of a few drifts.
/// The offsets with most votes are looked at closely: pairing in order, then the drift by Theil and Sen's slope
/// and the offset by the median.
/// Clocks that give a clock mark its still go before all others.
#[must_use]
pub fn clock_fit(said: &[Said], saved: &[Saved]) -> Fit {
    let step_s = saved.iter().map(|still| still.resolution_s).fold(0.0, f64::max).min(2.0);
    let reach_s = REACH_S + step_s / 2.0;
    let mut candidates: Vec<Candidate> = Vec::new();
    for (offset_s, drift) in vote(said, saved, reach_s) {
        let Some(candidate) = refine(said, saved, (offset_s, drift), reach_s, step_s) else {
            continue;
        };
        let middle_s = middle(said);
        let place = |other: &Candidate| scanner_s(&other.clock, middle_s);
        let twin = candidates.iter().position(|other| (place(other) - place(&candidate)).abs() < APART_S);
        match twin {
            Some(idx) if better(&candidate, &candidates[idx]).is_lt() => candidates[idx] = candidate,
            Some(_) => {}
            None => candidates.push(candidate),
        }
    }
    candidates.sort_by(better);
    judge(candidates)
}

/// Best first: marks with a still, then score, then the smaller offset.
fn better(a: &Candidate, b: &Candidate) -> std::cmp::Ordering {
    (b.marks.cmp(&a.marks))
        .then(b.score.total_cmp(&a.score))
        .then(a.clock.offset_s.abs().total_cmp(&b.clock.offset_s.abs()))
        .then(a.clock.offset_s.total_cmp(&b.clock.offset_s))
}

/// Keeps the best and its rivals.
///
/// A rival explains all but a fifth of what the best explains, or all but one and a half pairs:
/// calls at even intervals, shifted by one, lose exactly one pair.
/// Each pair more halves the chance that the best is the wrong one; that is a rule of ours, on the careful side.
fn judge(mut candidates: Vec<Candidate>) -> Fit {
    let Some(best) = candidates.first().cloned() else {
        return Fit::default();
    };
    let slack = (0.2 * best.score).max(1.5);
    let equal = |other: &&Candidate| other.marks == best.marks;
    let next = candidates.iter().skip(1).filter(equal).map(|other| other.score).fold(0.0, f64::max);
    let confidence = 1.0 - 0.5_f64.powf((best.score - next).max(0.0));
    let mut idx = 0;
    candidates.retain(|other| {
        idx += 1;
        idx == 1 || (other.marks == best.marks && best.score - other.score <= slack)
    });
    candidates.truncate(1 + RIVALS_MAX);
    if candidates.len() > 1 {
        let others: Vec<String> =
            candidates[1..].iter().map(|other| format!("{:+.1} s", other.clock.offset_s)).collect();
        let doubt = format!("; offsets of {} would do about as well", others.join(", "));
        candidates[0].clock.method.push_str(&doubt);
    }
    Fit { candidates, confidence }
}

fn middle(said: &[Said]) -> f64 {
    said.first().zip(said.last()).map_or(0.0, |(first, last)| f64::midpoint(first.at_s, last.at_s))
}

/// Offsets at the middle of the calls, with the drift they were voted for with; most votes first.
#[allow(clippy::cast_possible_truncation, clippy::cast_precision_loss, clippy::cast_sign_loss)] // bins, bounded below
fn vote(said: &[Said], saved: &[Saved], reach_s: f64) -> Vec<(f64, f64)> {
    let middle_s = middle(said);
    let half_s = said.last().map_or(0.0, |last| last.at_s - middle_s);
    let limit_s = OFFSET_S_MAX + reach_s + 1e-6 * DRIFT_PPM_MAX * (middle_s.abs() + half_s);
    let bins = (2.0 * limit_s / BIN_S).ceil() as usize + 1;
    // So many drifts that at either end of the exam two neighbours differ by half a second.
    let steps = (1e-6 * DRIFT_PPM_MAX * half_s / 0.5).ceil().min(50.0) as i32;
    let voters = said.len().min(VOTERS_MAX);
    let mut peaks: Vec<(f64, f64, f64)> = Vec::new();
    for step in -steps..=steps {
        let drift = 1e-6 * DRIFT_PPM_MAX * f64::from(step) / f64::from(steps.max(1));
        let mut counts = vec![0.0; bins];
        let all = (0..voters).map(|idx| said[idx * said.len() / voters]);
        for call in all.chain(said.iter().copied().filter(|call| call.mark)) {
            let from_s = call.at_s + drift * (call.at_s - middle_s) - limit_s;
            let first = saved.partition_point(|still| still.at_s < from_s);
            for still in &saved[first..] {
                let bin = ((still.at_s - from_s) / BIN_S) as usize;
                if bin >= bins {
                    break;
                }
                counts[bin] += if call.mark { 3.0 } else { 1.0 };
            }
        }
        let votes = smooth(&counts, (reach_s / BIN_S).ceil() as usize);
        for bin in tops(&votes, (APART_S / BIN_S) as usize) {
            peaks.push((votes[bin], (bin as f64 + 0.5) * BIN_S - limit_s, drift));
        }
    }
    peaks.sort_by(|a, b| {
        b.0.total_cmp(&a.0).then(a.1.abs().total_cmp(&b.1.abs())).then(a.2.abs().total_cmp(&b.2.abs()))
    });
    let mut chosen: Vec<(f64, f64)> = Vec::new();
    for (_, offset_s, drift) in peaks {
        if chosen.iter().all(|(other_s, _)| (offset_s - other_s).abs() >= APART_S) {
            chosen.push((offset_s, drift));
        }
        if chosen.len() == CANDIDATES_MAX {
            break;
        }
    }
    chosen
}

/// Sums over `reach` bins either way, the nearest counting most.
#[allow(clippy::cast_precision_loss)] // a handful of bins
fn smooth(counts: &[f64], reach: usize) -> Vec<f64> {
    (0..counts.len())
        .map(|at| {
            let from = at.saturating_sub(reach);
            let to = (at + reach + 1).min(counts.len());
            (from..to).map(|bin| counts[bin] * (1.0 - bin.abs_diff(at) as f64 / (reach + 1) as f64)).sum()
        })
        .collect()
}

/// The highest bins, none within `apart` of a higher one.
fn tops(votes: &[f64], apart: usize) -> Vec<usize> {
    let mut order: Vec<usize> = (0..votes.len()).filter(|bin| votes[*bin] > 0.0).collect();
    order.sort_by(|a, b| votes[*b].total_cmp(&votes[*a]).then(a.cmp(b)));
    let mut taken = vec![false; votes.len()];
    let mut tops = Vec::new();
    for bin in order {
        if taken[bin] {
            continue;
        }
        let to = (bin + apart).min(votes.len());
        taken[bin.saturating_sub(apart)..to].fill(true);
        tops.push(bin);
        if tops.len() == CANDIDATES_MAX {
            break;
        }
    }
    tops
}

/// Pairs and fits in turn, beginning with an offset at the middle of the calls and a drift.
#[allow(clippy::cast_precision_loss)] // counts of pairs
fn refine(
    said: &[Said],
    saved: &[Saved],
    (middle_offset_s, drift): (f64, f64),
    reach_s: f64,
    step_s: f64,
) -> Option<Candidate> {
    let mut line = FittedLine {
        slope: drift,
        intercept: middle_offset_s - drift * middle(said),
        ..FittedLine::default()
    };
    let mut pairs = Vec::new();
    // The first round looks further, as the vote knows the offset only to a bin.
    for round in 0..ROUNDS {
        let reach_s = if round == 0 { reach_s + BIN_S } else { reach_s };
        pairs = meet(said, saved, &line, reach_s);
        let next = fitted(said, saved, &pairs)?;
        if next == line {
            break;
        }
        line = next;
    }
    let off: Vec<f64> = pairs.iter().map(|pair| residual(said, saved, *pair, &line)).collect();
    let spread_s = 1.4826 * median(off.iter().map(|off| off.abs()).collect());
    let score = off.iter().map(|off| 1.0 - 0.6 * (off / (reach_s + BIN_S)).powi(2)).sum();
    let marks = pairs.iter().filter(|(call, _)| said[*call].mark).count();
    let drift_doubt = ((line.high - line.low) / 2.0).min(1e-6 * DRIFT_PPM_MAX);
    // Standard error of a median of normal values: 1.2533 sigma / sqrt(n).
    let noise_s = 1.96 * 1.2533 * spread_s.max(step_s / 12.0_f64.sqrt()) / (off.len() as f64).sqrt();
    let uncertainty_s = noise_s + step_s / 2.0 + drift_doubt * middle(said).abs();
    let how = if line.slope == 0.0 { "too short for a drift" } else { "drift by Theil-Sen" };
    let pinned = if marks > 0 { ", pinned by a clock mark" } else { "" };
    let clock = ClockFit {
        offset_s: line.intercept,
        drift_ppm: line.slope * 1e6,
        uncertainty_s,
        pairs: pairs.len(),
        method: format!("vote over all differences, {how}, offset by median{pinned}"),
    };
    let within = clock.offset_s.abs() <= OFFSET_S_MAX + reach_s;
    within.then_some(Candidate { clock, spread_s, marks, score })
}

/// Drift and offset of these pairs; the drift is 0 where the pairs allow any other within the bounds.
fn fitted(said: &[Said], saved: &[Saved], pairs: &[(usize, usize)]) -> Option<FittedLine> {
    let x: Vec<f64> = pairs.iter().map(|(call, _)| said[*call].at_s).collect();
    let y: Vec<f64> = pairs.iter().map(|(call, still)| saved[*still].at_s - said[*call].at_s).collect();
    if x.is_empty() {
        return None;
    }
    let bound = 1e-6 * DRIFT_PPM_MAX;
    let unknown = FittedLine { slope: 0.0, intercept: 0.0, low: -bound, high: bound };
    let mut line = theil_sen(&x, &y)
        .filter(|line| line.high - line.low <= 2.0 * bound)
        .map_or(unknown, |line| FittedLine { slope: line.slope.clamp(-bound, bound), ..line });
    line.intercept = median(x.iter().zip(&y).map(|(x, y)| y - line.slope * x).collect());
    Some(line)
}

fn residual(said: &[Said], saved: &[Saved], (call, still): (usize, usize), line: &FittedLine) -> f64 {
    let at_s = said[call].at_s;
    saved[still].at_s - at_s - line.intercept - line.slope * at_s
}

/// Pairs (call, still) in order, as many and as close as possible, within `reach_s`.
fn meet(said: &[Said], saved: &[Saved], line: &FittedLine, reach_s: f64) -> Vec<(usize, usize)> {
    let mut edges = Vec::new();
    for (row, call) in said.iter().enumerate() {
        let due_s = call.at_s + line.intercept + line.slope * call.at_s;
        let first = saved.partition_point(|still| still.at_s < due_s - reach_s);
        let near = saved[first..].iter().enumerate().take_while(|(_, still)| still.at_s <= due_s + reach_s);
        for (idx, still) in near {
            let off = (still.at_s - due_s) / reach_s;
            edges.push(Edge { row, column: first + idx, worth: 1.5 - 0.5 * off * off });
        }
    }
    assign(edges)
}
