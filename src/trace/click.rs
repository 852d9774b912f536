//! An outline from one click inside a bright structure: a suggestion, to be confirmed by a person.
//!
//! Takes: the grey values of a still and a point.
//! Gives: a polygon along the outer edge, from bright inside to dark outside.
//! Never: an outline where no edge stands out; it says so instead.
//! Tested in: `tests/it/trace.rs`.
//!
//! Rays run from the point in all directions. On each ray every radius gets a mark: the mean grey just inside minus
//! the mean grey just outside, over a window long enough to average speckle. The best closed line is then found by
//! dynamic programming: marks are summed around the circle, and neighbouring rays may differ only by a few pixels.
//! The window looks for a fall from bright to dark, so the inner edge of a dark lesion, which rises, does not hold it.
//! The line's centroid becomes the next point, which makes the result independent of where exactly was clicked.

use crate::trace::grey::Grey;
use crate::trace::outline::Outline;

/// Rays around the point.
const RAYS: usize = 180;
/// Steps of the radius in one pixel.
const STEPS: usize = 2;
/// Largest radius in pixels.
const RADIUS_MAX_PX: usize = 400;
/// Least radius in pixels.
const RADIUS_MIN_PX: usize = 6;
/// Length of the window inside and outside the edge, in pixels.
const WINDOW_PX: usize = 9;
/// Most steps that neighbouring rays differ by.
const BEND: usize = 10;
/// What a bend costs, in grey values for each step squared.
const STIFFNESS: f64 = 0.12;
/// How often the point is moved to the centroid.
const ROUNDS: usize = 3;
/// The least mean fall of grey over the edge that is one.
const FALL_MIN: f64 = 12.0;

/// Why there is no outline; data for a person.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum ClickProblem {
    /// The point is not inside the still.
    #[error("the point is outside the still; click inside the structure")]
    Outside,
    /// No edge.
    #[error("no clear edge was found around this point; trace it by hand")]
    NoEdge,
    /// The line ran into the edge of the still, or as far from the point as is looked.
    #[error(
        "the structure is too close to the edge of the still to be outlined from a point; trace it by hand"
    )]
    AtEdge,
}

/// Suggests the outline of the bright structure around a point.
///
/// # Errors
/// When the point is outside the still, no edge stands out, or the still ends too near beyond it.
pub fn outline_at(grey: &Grey, x_px: f64, y_px: f64) -> Result<Outline, ClickProblem> {
    let mut centre = (x_px, y_px);
    let mut found = Err(ClickProblem::NoEdge);
    for _ in 0..ROUNDS {
        sample(grey, centre.0, centre.1).ok_or(ClickProblem::Outside)?;
        let line = around(grey, centre).ok_or(ClickProblem::NoEdge)?;
        centre = centroid(&line.points_px);
        // Only the last line counts: an earlier one ran out from a point that was not yet in the middle.
        found = if line.at_edge {
            Err(ClickProblem::AtEdge)
        } else {
            Ok(Outline::Polygon { points_px: line.points_px })
        };
    }
    found
}

/// What a factor of e in grey counts, so that the falls of usual pictures are about as large as in grey values.
const LOG_SCALE: f64 = 60.0;

/// The logarithm of the grey value at a place; pixels have their value in their whole square.
///
/// Speckle multiplies: bright tissue is noisier, which would draw the line inwards. In the logarithm it is even.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // checked to lie inside the still
fn sample(grey: &Grey, x: f64, y: f64) -> Option<f64> {
    if x < 0.0 || y < 0.0 || !x.is_finite() || !y.is_finite() || x > 1e6 || y > 1e6 {
        return None;
    }
    grey.at(x as usize, y as usize).map(|value| LOG_SCALE * f64::from(value).ln_1p())
}

fn direction(ray: usize) -> (f64, f64) {
    let part =
        f64::from(u32::try_from(ray % RAYS).unwrap_or(0)) / f64::from(u32::try_from(RAYS).unwrap_or(1));
    let (sin, cos) = (std::f64::consts::TAU * part).sin_cos();
    (cos, sin)
}

fn px(steps: usize) -> f64 {
    f64::from(u32::try_from(steps).unwrap_or(u32::MAX)) / f64::from(u32::try_from(STEPS).unwrap_or(1))
}

/// For each radius in steps, how much the grey falls from inside to outside; none where the window leaves the still.
fn marks(grey: &Grey, centre: (f64, f64), ray: usize) -> Vec<f64> {
    let (dx, dy) = direction(ray);
    let mut sums = vec![0.0];
    for step in 0..(RADIUS_MAX_PX + WINDOW_PX) * STEPS {
        let radius = px(step) + 0.5 / f64::from(u32::try_from(STEPS).unwrap_or(1));
        let Some(value) = sample(grey, centre.0 + radius * dx, centre.1 + radius * dy) else { break };
        sums.push(sums.last().copied().unwrap_or(0.0) + value);
    }
    let window = WINDOW_PX * STEPS;
    let length = f64::from(u32::try_from(window).unwrap_or(1));
    let mut marks = Vec::new();
    for step in RADIUS_MIN_PX * STEPS..RADIUS_MAX_PX * STEPS {
        let Some(outer) = sums.get(step + window) else { break };
        let inner_from = step.saturating_sub(window);
        let inner =
            (sums[step] - sums[inner_from]) / f64::from(u32::try_from(step - inner_from).unwrap_or(1));
        marks.push(inner - (outer - sums[step]) / length);
    }
    marks
}

/// A closed line around a point.
struct EdgeLine {
    points_px: Vec<(f64, f64)>,
    /// On some ray it lies where the ray ends: the true edge may be further out.
    at_edge: bool,
}

/// The best closed line: dynamic programming twice around the circle, of which the second round is closed.
fn around(grey: &Grey, centre: (f64, f64)) -> Option<EdgeLine> {
    let mut marks: Vec<Vec<f64>> = (0..RAYS).map(|ray| marks(grey, centre, ray)).collect();
    // Each ray is as long as the still lets it be; beyond that no line can pass.
    let ends: Vec<usize> = marks.iter().map(Vec::len).collect();
    let radii = ends.iter().copied().max().filter(|radii| *radii > 0)?;
    if ends.contains(&0) {
        return Some(EdgeLine { points_px: ring(centre), at_edge: true });
    }
    marks.iter_mut().for_each(|marks| marks.resize(radii, f64::NEG_INFINITY));
    let mut best: Vec<f64> = marks[0].clone();
    let mut back: Vec<Vec<usize>> = Vec::new();
    for ray in 1..3 * RAYS {
        let (mut next, mut from) = (Vec::with_capacity(radii), Vec::with_capacity(radii));
        for (radius, mark) in marks[ray % RAYS].iter().enumerate().take(radii) {
            let low = radius.saturating_sub(BEND);
            let high = (radius + BEND + 1).min(radii);
            let (mut top, mut at) = (f64::NEG_INFINITY, low);
            for (before, sum) in best.iter().enumerate().take(high).skip(low) {
                let bend = f64::from(u32::try_from(before.abs_diff(radius)).unwrap_or(u32::MAX));
                let sum = sum - STIFFNESS * bend * bend;
                if sum > top {
                    (top, at) = (sum, before);
                }
            }
            next.push(top + mark);
            from.push(at);
        }
        best = next;
        back.push(from);
    }
    let mut radius = (0..radii).max_by(|a, b| best[*a].total_cmp(&best[*b]))?;
    let mut line = vec![radius; 3 * RAYS];
    for (ray, from) in back.iter().enumerate().rev() {
        radius = from[radius];
        line[ray] = radius;
    }
    // The middle round has a whole round on either side, so that its ends fit each other.
    let line = &line[RAYS..2 * RAYS];
    let fall: f64 = line.iter().enumerate().map(|(ray, radius)| marks[ray][*radius]).sum();
    if !fall.is_finite() {
        return Some(EdgeLine { points_px: ring(centre), at_edge: true });
    }
    if fall / f64::from(u32::try_from(RAYS).unwrap_or(1)) < FALL_MIN {
        return None;
    }
    let at_edge = line.iter().zip(&ends).any(|(radius, end)| radius + 1 >= *end);
    let corner = |(ray, radius): (usize, &usize)| {
        let ((dx, dy), length) = (direction(ray), px(radius + RADIUS_MIN_PX * STEPS));
        (centre.0 + length * dx, centre.1 + length * dy)
    };
    Some(EdgeLine { points_px: line.iter().enumerate().map(corner).collect(), at_edge })
}

/// The smallest ring around a point: where the still ends too near for any line.
fn ring(centre: (f64, f64)) -> Vec<(f64, f64)> {
    let radius = px(RADIUS_MIN_PX * STEPS);
    (0..RAYS).map(direction).map(|(dx, dy)| (centre.0 + radius * dx, centre.1 + radius * dy)).collect()
}

fn centroid(corners: &[(f64, f64)]) -> (f64, f64) {
    let (mut doubled, mut x, mut y) = (0.0, 0.0, 0.0);
    for (a, b) in corners.iter().zip(corners.iter().cycle().skip(1)) {
        let cross = a.0 * b.1 - b.0 * a.1;
        doubled += cross;
        x += (a.0 + b.0) * cross;
        y += (a.1 + b.1) * cross;
    }
    (x / (3.0 * doubled), y / (3.0 * doubled))
}
