//! Which offsets the differences between calls and stills speak for.
//!
//! Takes: the moments of the calls and the times of the stills, however far apart the two clocks are.
//! Gives: offsets at the middle of the calls, each with a drift, the ones with most votes first.
//! Never: bounds the offset: a clock may be wrong by half an hour or by years.
//! Tested in: `tests/it/pair.rs`, `tests/it/pair_simulated.rs`.

/// Largest drift looked for, either way, in parts per million.
pub(super) const DRIFT_PPM_MAX: f64 = 250.0;
/// Width of a bin of the vote, in seconds.
pub(super) const BIN_S: f64 = 0.25;
/// Candidates nearer to each other than this are one, in seconds.
pub(super) const APART_S: f64 = 3.0;
/// Differences that are counted at most for one drift; with more stills fewer calls vote.
const DIFFERENCES_MAX: usize = 1_000_000;
/// Calls that vote at most; more do not change which offset wins.
const VOTERS_MAX: usize = 1500;
/// Offsets that are given at most.
const OFFSETS_MAX: usize = 24;
/// Drifts tried on either side of none.
const DRIFTS_MAX: f64 = 50.0;
/// Two drifts that are tried differ by this many seconds at either end of the exam.
const DRIFT_STEP_S: f64 = 0.5;
/// Votes of a clock mark.
const MARK_VOTES: f64 = 3.0;

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

/// An offset at the middle of the calls.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Peak {
    votes: f64,
    offset_s: f64,
    drift: f64,
}

/// The middle of the exam, where an offset is known best.
pub(super) fn middle(said: &[Said]) -> f64 {
    said.first().zip(said.last()).map_or(0.0, |(first, last)| f64::midpoint(first.at_s, last.at_s))
}

/// Offsets at the middle of the calls, with the drift they were voted for with; most votes first.
#[allow(clippy::cast_possible_truncation)] // at most `DRIFTS_MAX`
pub(super) fn vote(said: &[Said], saved: &[Saved], reach_s: f64) -> Vec<(f64, f64)> {
    let half_s = said.last().map_or(0.0, |last| last.at_s - middle(said));
    let steps = (1e-6 * DRIFT_PPM_MAX * half_s / DRIFT_STEP_S).floor().min(DRIFTS_MAX) as i32;
    let mut peaks: Vec<Peak> = Vec::new();
    for step in -steps..=steps {
        let drift = 1e-6 * DRIFT_PPM_MAX * f64::from(step) / f64::from(steps.max(1));
        peaks.extend(peaks_at(said, saved, drift, reach_s));
    }
    peaks.sort_by(|a, b| {
        (b.votes.total_cmp(&a.votes))
            .then(a.offset_s.abs().total_cmp(&b.offset_s.abs()))
            .then(a.offset_s.total_cmp(&b.offset_s))
            .then(a.drift.abs().total_cmp(&b.drift.abs()))
    });
    let mut chosen: Vec<(f64, f64)> = Vec::new();
    for Peak { offset_s, drift, .. } in peaks {
        if chosen.iter().all(|(other_s, _)| (offset_s - other_s).abs() >= APART_S) {
            chosen.push((offset_s, drift));
        }
        if chosen.len() == OFFSETS_MAX {
            break;
        }
    }
    chosen
}

/// The offsets that most differences agree on, for one drift.
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation)] // bins of times that a calendar holds
fn peaks_at(said: &[Said], saved: &[Saved], drift: f64, reach_s: f64) -> Vec<Peak> {
    let middle_s = middle(said);
    let voters = said.len().min(VOTERS_MAX).min((DIFFERENCES_MAX / saved.len().max(1)).max(1));
    let all = (0..voters).map(|idx| said[idx * said.len() / voters]);
    let mut votes: Vec<(i64, f64)> = Vec::with_capacity(voters * saved.len());
    for call in all.chain(said.iter().copied().filter(|call| call.mark)) {
        let due_s = call.at_s + drift * (call.at_s - middle_s);
        let weight = if call.mark { MARK_VOTES } else { 1.0 };
        votes.extend(saved.iter().map(|still| (((still.at_s - due_s) / BIN_S).floor() as i64, weight)));
    }
    votes.sort_unstable_by_key(|vote| vote.0);
    let counts = votes.chunk_by(|a, b| a.0 == b.0);
    let counts: Vec<(i64, f64)> =
        counts.map(|same| (same[0].0, same.iter().map(|vote| vote.1).sum())).collect();
    let smoothed = smooth(&counts, (reach_s / BIN_S).ceil() as i64);
    let peak = |(bin, votes)| Peak { votes, offset_s: (bin as f64 + 0.5) * BIN_S, drift };
    tops(smoothed).into_iter().map(peak).collect()
}

/// Sums over `reach` bins either way, the nearest counting most.
#[allow(clippy::cast_precision_loss)] // a handful of bins
fn smooth(counts: &[(i64, f64)], reach: i64) -> Vec<(i64, f64)> {
    let mut first = 0;
    let at = |(bin, _): &(i64, f64)| {
        while counts[first].0 < bin - reach {
            first += 1;
        }
        let near = counts[first..].iter().take_while(|(other, _)| *other <= bin + reach);
        let share = |other: i64| 1.0 - other.abs_diff(*bin) as f64 / (reach + 1) as f64;
        (*bin, near.map(|(other, votes)| votes * share(*other)).sum())
    };
    counts.iter().map(at).collect()
}

/// The highest bins, none near a higher one.
#[allow(clippy::cast_possible_truncation)] // a handful of bins
fn tops(mut votes: Vec<(i64, f64)>) -> Vec<(i64, f64)> {
    let apart = (APART_S / BIN_S) as u64;
    votes.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let mut tops: Vec<(i64, f64)> = Vec::new();
    for (bin, votes) in votes {
        if tops.iter().all(|(other, _)| other.abs_diff(bin) >= apart) {
            tops.push((bin, votes));
        }
        if tops.len() == OFFSETS_MAX {
            break;
        }
    }
    tops
}
