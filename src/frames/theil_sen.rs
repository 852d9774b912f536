//! A straight line through points of which some are wrong.
//!
//! Takes: points.
//! Gives: the median of all slopes between two points, its interval, and the median of what is left (Theil 1950, Sen 1968).
//! Never: lets a minority of wild points move the line.
//! Tested in: `tests/it/pair.rs`, against `scipy.stats.theilslopes`.

/// More points than this are thinned evenly: all slopes between `n` points are `n (n - 1) / 2`.
pub const POINTS_MAX: usize = 400;

/// `y = intercept + slope x`.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct FittedLine {
    /// Median of the slopes.
    pub slope: f64,
    /// Median of `y - slope x` (SciPy calls this the joint intercept).
    pub intercept: f64,
    /// Lower end of the slope's 95 % interval.
    pub low: f64,
    /// Upper end of the slope's 95 % interval.
    pub high: f64,
}

/// The line through the points (`x`, `y`); none where no two of them differ in `x`.
///
/// # Panics
/// When `x` and `y` differ in length.
#[must_use]
#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // ranks below 80,000
pub fn theil_sen(x: &[f64], y: &[f64]) -> Option<FittedLine> {
    assert_eq!(x.len(), y.len(), "a point has two coordinates");
    let taken = x.len().min(POINTS_MAX);
    let points: Vec<(f64, f64)> =
        (0..taken).map(|idx| idx * x.len() / taken).map(|idx| (x[idx], y[idx])).collect();
    let mut slopes: Vec<f64> = Vec::with_capacity(taken * taken / 2);
    for (idx, (x0, y0)) in points.iter().enumerate() {
        slopes.extend(
            points[idx + 1..].iter().filter(|(x1, _)| x1 != x0).map(|(x1, y1)| (y1 - y0) / (x1 - x0)),
        );
    }
    if slopes.is_empty() {
        return None;
    }
    slopes.sort_by(f64::total_cmp);
    let slope = middle(&slopes);
    let intercept = median(x.iter().zip(y).map(|(x, y)| y - slope * x).collect());
    // Sen's interval (1968, equation 2.6), with ties in either coordinate taken off.
    let term = |count: f64| count * (count - 1.0) * (2.0 * count + 5.0);
    let ties = |values: Vec<f64>| tied(values).into_iter().map(|count| term(count as f64)).sum::<f64>();
    let off = ties(points.iter().map(|point| point.0).collect())
        + ties(points.iter().map(|point| point.1).collect());
    let sigma = ((term(taken as f64) - off) / 18.0).max(0.0).sqrt();
    let (count, half) = (slopes.len() as f64, 1.959_963_984_540_054 * sigma);
    let upper = ((count + half) / 2.0).round_ties_even() as usize;
    let lower = (((count - half) / 2.0).round_ties_even() - 1.0).max(0.0) as usize;
    let last = slopes.len() - 1;
    Some(FittedLine { slope, intercept, low: slopes[lower.min(last)], high: slopes[upper.min(last)] })
}

/// How often each value occurs that occurs more than once.
fn tied(mut values: Vec<f64>) -> Vec<usize> {
    values.sort_by(f64::total_cmp);
    values.chunk_by(|a, b| a == b).map(<[f64]>::len).filter(|count| *count > 1).collect()
}

/// The median; 0 for no values.
pub(crate) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    middle(&values)
}

fn middle(sorted: &[f64]) -> f64 {
    match sorted.len() {
        0 => 0.0,
        count if count % 2 == 1 => sorted[count / 2],
        count => f64::midpoint(sorted[count / 2 - 1], sorted[count / 2]),
    }
}
