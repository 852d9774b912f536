//! Finds how the scanner's clock runs against the exam's.
//!
//! Takes: the moments of the save calls and clock marks, and the times of the stills.
//! Gives: the clock that explains most of them, and others that explain about as many.
//! Never: takes an offset for granted, or settles between two clocks that do about as well.
//! Tested in: here and `tests/it/pair.rs`.

use crate::frames::assign::{Edge, assign};
use crate::frames::pairing::ClockFit;
use crate::frames::theil_sen::{FittedLine, median, theil_sen};
use crate::frames::vote::{APART_S, BIN_S, DRIFT_PPM_MAX, middle, vote};
pub use crate::frames::vote::{Said, Saved};

/// Clocks that agree to this many seconds are tied by a few stills: one hour of summer time. What lies further off must
/// be shown by more than chance.
pub const NEAR_S: f64 = 3600.0;
/// The largest offset that a person can set, either way, in seconds: a century. A clock that lost its battery begins
/// anew at some year.
pub const OFFSET_S_MAX: f64 = 100.0 * 365.25 * 86_400.0;
/// Pairs of a clock that lies far off, where they are a large share of what could be paired.
const PAIRS_FAR_MIN: usize = 5;
/// As many such clocks as this may fit as well by chance.
const CHANCE_FAR_MAX: f64 = 0.2;
/// As many clocks as this may fit as well by chance, of all that could be tried.
const CHANCE_MAX: f64 = 0.01;
/// A gap between two calls counts as at most so many of the usual ones.
const PAUSE_GAPS: f64 = 5.0;
/// Share of what could be paired that a clock pairs, where few stills say little about chance.
const SHARE: f64 = 0.6;
/// So many pairs a clock mark that has its still is worth; our own choice.
const MARK_PAIRS: f64 = 3.0;
/// Pairs that a clock needs, where no mark pins it.
const PAIRS_MIN: usize = 2;
/// A clock that is known from an earlier exam counts as much as so many pairs.
const KNOWN_SCORE: f64 = 2.0;
/// How far a clock is trusted that only an earlier exam speaks for.
const KNOWN_TRUST: f64 = 0.5;
/// How far a still may lie from its call for the two to count, in seconds, before the step of the scanner's clock.
const REACH_S: f64 = 1.5;
/// Rivals that are given.
const RIVALS_MAX: usize = 4;
/// Rounds of pairing and fitting for a candidate.
const ROUNDS: usize = 4;

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

impl Candidate {
    /// Whether it explains clearly more of the stills than another one: more than a rival may fall short of the best.
    pub(super) fn explains_more(&self, than: Option<&Candidate>) -> bool {
        let other = than.map_or(0.0, |other| other.score);
        self.score - other > slack(self.score)
    }
}

/// By how much a rival may explain less: a fifth, or one and a half pairs.
pub(super) fn slack(best_score: f64) -> f64 {
    (0.2 * best_score).max(1.5)
}

/// A clock that is known from an earlier exam.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownOffset {
    /// Scanner minus exam, in seconds.
    pub offset_s: f64,
    /// How far it may have run off since, in seconds.
    pub within_s: f64,
    /// Where it is known from, for people.
    pub from: String,
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
/// A clock that gives a clock mark its still goes before others that explain about as many.
#[must_use]
pub fn clock_fit(said: &[Said], saved: &[Saved], known: Option<&KnownOffset>) -> Fit {
    let candidates = candidates(said, saved, known);
    if let (true, Some(known)) = (candidates.is_empty(), known) {
        return Fit { candidates: vec![as_known(known)], confidence: KNOWN_TRUST };
    }
    judge(candidates)
}

/// Every clock that explains more of the stills than chance would, the best first; both lists in order of time.
pub(super) fn candidates(said: &[Said], saved: &[Saved], known: Option<&KnownOffset>) -> Vec<Candidate> {
    let step_s = step_s(saved);
    let reach_s = REACH_S + step_s / 2.0;
    let mut candidates: Vec<Candidate> = Vec::new();
    for (offset_s, drift) in vote(said, saved, reach_s) {
        let Some(candidate) = refine(said, saved, (offset_s, drift), reach_s, step_s, known) else {
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
    candidates
}

/// The widest step of the stills' times, in seconds.
fn step_s(saved: &[Saved]) -> f64 {
    saved.iter().map(|still| still.resolution_s).fold(0.0, f64::max).min(2.0)
}

/// How much pairs speak for a clock that are so many seconds off by it: each counts by how close it is.
pub(super) fn score(off: impl IntoIterator<Item = f64>, saved: &[Saved]) -> f64 {
    let widest_s = REACH_S + step_s(saved) / 2.0 + BIN_S;
    off.into_iter().map(|off| 1.0 - 0.6 * (off / widest_s).powi(2)).sum()
}

/// The clock of an earlier exam, where this one says nothing of it.
fn as_known(known: &KnownOffset) -> Candidate {
    let KnownOffset { offset_s, within_s, from } = known.clone();
    let method = format!("as in {from}");
    let clock = ClockFit { offset_s, drift_ppm: 0.0, uncertainty_s: within_s, pairs: 0, method };
    Candidate { clock, spread_s: within_s, marks: 0, score: 0.0 }
}

/// Best first: score and marks with a still, then the smaller offset.
///
/// A mark outweighs what a shift by one or two pairs costs; against many pairs it was said without its still.
fn better(a: &Candidate, b: &Candidate) -> std::cmp::Ordering {
    (weight(b).total_cmp(&weight(a)))
        .then(b.marks.cmp(&a.marks))
        .then(a.clock.offset_s.abs().total_cmp(&b.clock.offset_s.abs()))
        .then(a.clock.offset_s.total_cmp(&b.clock.offset_s))
}

/// Pairs, and what the marks are worth beside them.
#[allow(clippy::cast_precision_loss)] // a few marks
fn weight(one: &Candidate) -> f64 {
    one.score + MARK_PAIRS * one.marks as f64
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
    let slack = slack(best.score);
    // A mark that has its still settles what the pairs leave open.
    let is_rival = |other: &Candidate| other.marks >= best.marks;
    let others = candidates.iter().skip(1).filter(|other| is_rival(other));
    let next = others.map(weight).fold(0.0, f64::max);
    let confidence = 1.0 - 0.5_f64.powf((weight(&best) - next).max(0.0));
    let mut idx = 0;
    candidates.retain(|other| {
        idx += 1;
        idx == 1 || (is_rival(other) && weight(&best) - weight(other) <= slack)
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

/// Pairs and fits in turn, beginning with an offset at the middle of the calls and a drift.
#[allow(clippy::cast_precision_loss)] // counts of pairs
fn refine(
    said: &[Said],
    saved: &[Saved],
    (middle_offset_s, drift): (f64, f64),
    reach_s: f64,
    step_s: f64,
    known: Option<&KnownOffset>,
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
    let score = score(off.iter().copied(), saved);
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
        method: format!("most frequent time difference, {how}, median offset{pinned}"),
    };
    let candidate = Candidate { clock, spread_s, marks, score };
    if known.is_some_and(|known| (known.offset_s - candidate.clock.offset_s).abs() <= known.within_s) {
        // It was met before: that counts as much as a few pairs.
        return Some(Candidate { score: score + KNOWN_SCORE, ..candidate });
    }
    is_more_than_chance(&candidate, said, saved, reach_s).then_some(candidate)
}

/// Whether so many calls and stills meet because the clock is right.
///
/// A still that was saved at any time meets a call as often as calls lie close; a clock is tried for each pair of a call
/// and a still, which ties that pair by itself.
#[allow(clippy::cast_precision_loss)] // counts of pairs
fn is_more_than_chance(found: &Candidate, said: &[Said], saved: &[Saved], reach_s: f64) -> bool {
    let pairs = found.clock.pairs;
    if found.marks > 0 || pairs < PAIRS_MIN {
        return found.marks > 0;
    }
    let (Some(first), Some(last)) = (said.first(), said.last()) else { return false };
    // A long pause, or a clock that was set, makes the calls no less dense where there are any.
    let gaps: Vec<f64> = said.windows(2).map(|pair| pair[1].at_s - pair[0].at_s).collect();
    let gap_max_s = PAUSE_GAPS * median(gaps.clone());
    let spoken_s: f64 = gaps.iter().map(|gap| gap.min(gap_max_s)).sum();
    let from = scanner_s(&found.clock, first.at_s - reach_s);
    let to = scanner_s(&found.clock, last.at_s + reach_s);
    let within = saved.iter().filter(|still| (from..=to).contains(&still.at_s)).count();
    let per_s = said.len() as f64 / (spoken_s + 2.0 * reach_s);
    let hit = (2.0 * reach_s * per_s).min(1.0);
    let tried = said.len() as f64 * saved.len() as f64;
    let by_chance = tried * at_least(pairs - 1, within.max(pairs) - 1, hit);
    let share = pairs as f64 / within.min(said.len()).max(1) as f64;
    let is_near = found.clock.offset_s.abs() <= NEAR_S + reach_s;
    let is_shown = is_near || pairs >= PAIRS_FAR_MIN && by_chance <= CHANCE_FAR_MAX;
    // Stills of another exam of about the same rhythm: most of them fall outside this one, and most calls lack theirs.
    let few = |n: usize, of: usize| (n as f64) < SHARE * of as f64;
    let is_of_another = few(pairs, said.len()) && few(within, saved.len());
    by_chance <= CHANCE_MAX || share >= SHARE && is_shown && !is_of_another
}

/// The chance of at least `hits` in so many `tries`, each with the chance `hit`.
#[allow(clippy::cast_precision_loss)] // counts of pairs
fn at_least(hits: usize, tries: usize, hit: f64) -> f64 {
    if hit >= 1.0 || hits == 0 {
        return 1.0;
    }
    // In logarithms, for a chance may be smaller than any number that a computer holds.
    let (ln_hit, ln_miss) = (hit.ln(), (1.0 - hit).ln());
    let mut ln_ways = 0.0;
    let mut sum = 0.0;
    for n in 0..=tries {
        if n > 0 {
            ln_ways += ((tries - n + 1) as f64 / n as f64).ln();
        }
        if n >= hits {
            sum += (ln_ways + n as f64 * ln_hit + (tries - n) as f64 * ln_miss).exp();
        }
    }
    sum
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
    let known = theil_sen(&x, &y).filter(|line| line.high - line.low <= 2.0 * bound);
    if known.is_some_and(|line| line.low > bound || line.high < -bound) {
        // No clock drifts like that: a number at the edge of what is looked for would only seem to be known.
        return None;
    }
    let mut line =
        known.map_or(unknown, |line| FittedLine { slope: line.slope.clamp(-bound, bound), ..line });
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
