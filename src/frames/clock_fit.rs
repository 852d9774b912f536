//! How the scanner's clock runs against the exam's.
//!
//! Takes: the seconds at which saves were called and the seconds at which stills were saved, each sorted.
//! Gives: candidate fits, best first; more than one when regular spacing lets several offsets explain the stills.
//! Never: assumes that the clocks agree, or settles between two fits that explain as much.
//! Tested in: `tests/pair.rs`, against `scipy.stats.theilslopes`.

/// The largest offset that is looked for, either way, in seconds.
pub const OFFSET_MAX_S: f64 = 3600.0;
/// The largest drift that is believed, in parts per million.
pub const DRIFT_MAX_PPM: f64 = 100.0;
/// A still within this many seconds of where a save call puts it agrees with it.
const AGREE_S: f64 = 1.5;
/// Width of a bin when offsets are counted, in seconds.
const BIN_S: f64 = 0.5;
/// How many of the fullest bins are tried.
const PEAKS: usize = 24;
/// Save calls used to find the offset; the middle ones of a longer exam.
const VOTERS_MAX: usize = 500;
/// Drift is fitted only with this many pairs or more, spread over this many seconds: in less time the delay
/// between word and button hides it.
const DRIFT_PAIRS_MIN: usize = 8;
const DRIFT_SPREAD_S: f64 = 900.0;
/// Pairs kept for the drift: slopes are taken between all of them.
const SLOPE_PAIRS_MAX: usize = 400;
/// A second fit that explains at least this share of what the best one does is a rival.
const RIVAL_SHARE: f64 = 0.85;
/// Fewer pairs than this prove nothing.
const PAIRS_MIN: usize = 3;

/// One way in which the clocks may be tied: `scanner = exam + offset + drift x exam`, in seconds.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Scanner minus exam at exam second 0.
    pub offset_s: f64,
    /// Parts per million by which the scanner's clock runs fast.
    pub drift_ppm: f64,
    /// Spread of the pairs around the fit (1.4826 x median absolute deviation), in seconds.
    pub spread_s: f64,
    /// Pairs that agree with it.
    pub pairs: usize,
    /// How well it explains the stills: one for each perfect pair.
    pub score: f64,
}

impl Fit {
    /// The exam second of a scanner second.
    #[must_use]
    pub fn exam_s(&self, scanner_s: f64) -> f64 {
        (scanner_s - self.offset_s) / (1.0 + self.drift_ppm * 1e-6)
    }
}

/// The fits that explain the stills, best first; empty when nothing does.
///
/// `marks_s` are saves that were called as clock marks: a fit must put a still at each of them.
#[must_use]
pub fn fit(saves_s: &[f64], stills_s: &[f64], marks_s: &[f64]) -> Vec<Fit> {
    let mut fits: Vec<Fit> = Vec::new();
    for offset_s in peaks(saves_s, stills_s) {
        let Some(fit) = refine(saves_s, stills_s, offset_s) else { continue };
        let marked = marks_s
            .iter()
            .all(|mark| stills_s.iter().any(|still| (fit.exam_s(*still) - mark).abs() <= AGREE_S));
        let known = fits.iter().any(|other| (other.offset_s - fit.offset_s).abs() < AGREE_S);
        if marked && !known {
            fits.push(fit);
        }
    }
    fits.sort_by(|a, b| b.score.total_cmp(&a.score));
    let enough = fits.first().map_or(0.0, |best| best.score * RIVAL_SHARE);
    fits.retain(|fit| fit.score >= enough);
    fits
}

/// Offsets at which many stills fall on save calls.
#[allow(clippy::cast_possible_truncation)] // the offset is bounded by `OFFSET_MAX_S`
fn peaks(saves_s: &[f64], stills_s: &[f64]) -> Vec<f64> {
    let skip = saves_s.len().saturating_sub(VOTERS_MAX) / 2;
    let mut votes: std::collections::BTreeMap<i64, u32> = std::collections::BTreeMap::new();
    for save in saves_s.iter().skip(skip).take(VOTERS_MAX) {
        let from = stills_s.partition_point(|still| still - save < -OFFSET_MAX_S);
        for still in stills_s[from..].iter().take_while(|still| *still - save <= OFFSET_MAX_S) {
            *votes.entry(((still - save) / BIN_S).floor() as i64).or_default() += 1;
        }
    }
    // Neighbouring bins share a peak: people press the button up to a second after the word.
    let around = |bin: i64| -> u32 { (bin - 1..=bin + 1).filter_map(|near| votes.get(&near)).sum() };
    let mut counted: Vec<(u32, i64)> = votes.keys().map(|bin| (around(*bin), *bin)).collect();
    counted.sort_by(|a, b| b.cmp(a));
    #[allow(clippy::cast_precision_loss)] // bins are few
    counted.iter().take(PEAKS).map(|(_, bin)| (*bin as f64 + 0.5) * BIN_S).collect()
}

/// Pairs each save with the nearest still under the fit, and fits again, until it settles.
fn refine(saves_s: &[f64], stills_s: &[f64], offset_s: f64) -> Option<Fit> {
    let mut fit = Fit { offset_s, drift_ppm: 0.0, spread_s: AGREE_S, pairs: 0, score: 0.0 };
    for _ in 0..4 {
        let pairs = agreeing(saves_s, stills_s, &fit);
        if pairs.len() < PAIRS_MIN {
            return None;
        }
        let spread = pairs[pairs.len() - 1].0 - pairs[0].0;
        let slope =
            if pairs.len() >= DRIFT_PAIRS_MIN && spread >= DRIFT_SPREAD_S { theil_sen(&pairs) } else { 0.0 };
        fit.drift_ppm = (slope * 1e6).clamp(-DRIFT_MAX_PPM, DRIFT_MAX_PPM);
        let mut offsets: Vec<f64> =
            pairs.iter().map(|(save, diff)| diff - save * fit.drift_ppm * 1e-6).collect();
        fit.offset_s = median(&mut offsets);
        let mut apart: Vec<f64> = offsets.iter().map(|offset| (offset - fit.offset_s).abs()).collect();
        fit.spread_s = 1.4826 * median(&mut apart);
        fit.pairs = pairs.len();
        fit.score = apart.iter().map(|apart| (1.0 - (apart / AGREE_S).powi(2)).max(0.0)).sum();
    }
    Some(fit)
}

/// Pairs (exam second of the save, scanner minus exam) within reach of the fit, each still used once, in order.
fn agreeing(saves_s: &[f64], stills_s: &[f64], fit: &Fit) -> Vec<(f64, f64)> {
    let mut pairs = Vec::new();
    let mut next = 0;
    for save in saves_s {
        while next < stills_s.len() && fit.exam_s(stills_s[next]) < save - AGREE_S {
            next += 1;
        }
        let here = &stills_s[next..];
        let near = here.iter().take_while(|still| fit.exam_s(**still) <= save + AGREE_S).enumerate();
        let apart = |still: f64| (fit.exam_s(still) - save).abs();
        if let Some((idx, still)) = near.min_by(|a, b| apart(*a.1).total_cmp(&apart(*b.1))) {
            pairs.push((*save, still - save));
            next += idx + 1;
        }
    }
    pairs
}

/// The median of the slopes between all pairs of points (Theil 1950, Sen 1968).
#[must_use]
pub fn theil_sen(points: &[(f64, f64)]) -> f64 {
    let step = points.len().div_ceil(SLOPE_PAIRS_MAX).max(1);
    let few: Vec<(f64, f64)> = points.iter().copied().step_by(step).collect();
    let mut slopes = Vec::new();
    for (idx, a) in few.iter().enumerate() {
        slopes.extend(few[idx + 1..].iter().filter(|b| b.0 != a.0).map(|b| (b.1 - a.1) / (b.0 - a.0)));
    }
    median(&mut slopes)
}

/// The median; 0 of nothing.
pub(crate) fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => 0.0,
        n if n % 2 == 1 => values[middle],
        _ => f64::midpoint(values[middle - 1], values[middle]),
    }
}
