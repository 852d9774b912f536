//! Outlines and their size.
//!
//! Takes: a polygon or an ellipse in pixels from the upper left corner, and the regions that have a scale.
//! Gives: area, circumference, width and depth in millimetres.
//! Never: measures an outline that crosses itself or leaves its region.
//! Tested in: `tests/it/trace.rs`.

use serde::{Deserialize, Serialize};

/// More corners than this are no outline drawn by a person.
pub const POINTS_MAX: usize = 2000;
/// Corners that stand for an ellipse where its edge is followed.
const ELLIPSE_POINTS: u32 = 720;

/// What was traced; pixel (0, 0) covers 0 to 1 in both directions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "shape", rename_all = "snake_case")]
pub enum Outline {
    /// Corners in order, the last joined to the first.
    Polygon {
        /// The corners.
        points_px: Vec<(f64, f64)>,
    },
    /// An ellipse.
    Ellipse {
        /// Its middle.
        centre_px: (f64, f64),
        /// Half of each axis.
        half_axes_px: (f64, f64),
        /// First axis from the horizontal, clockwise on the screen, in degrees.
        turned_deg: f64,
    },
}

/// Why an outline cannot be measured; data for a person.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum OutlineProblem {
    /// Too few or too many corners, or a number that is none.
    #[error(
        "an outline needs 3 to {POINTS_MAX} corners or two half-axes, all finite numbers; trace it again"
    )]
    Malformed,
    /// It crosses or touches itself.
    #[error("the outline crosses itself; trace it again")]
    Crossed,
    /// No region with a scale holds it.
    #[error(
        "it does not lie within one region that has a scale; measure on the scanner, or set the scale by hand at the review desk"
    )]
    NoScale,
    /// Regions with different scales hold it.
    #[error(
        "it lies in two regions with different scales; measure on the scanner, or set the scale by hand at the review desk"
    )]
    TwoScales,
}

/// A part of a still in which a pixel has a size; all edges in pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scale {
    /// Left, top, right and bottom edge; pixels right and bottom of them do not belong to it.
    pub bounds_px: [f64; 4],
    /// Width of a pixel in millimetres, more than nothing.
    pub width_mm: f64,
    /// Height of a pixel in millimetres, more than nothing.
    pub height_mm: f64,
}

/// The size of an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Size {
    /// Area in square millimetres.
    pub area_mm2: f64,
    /// Length of its edge in millimetres.
    pub circumference_mm: f64,
    /// Extent across the screen in millimetres.
    pub width_mm: f64,
    /// Extent along the beam, down the screen, in millimetres.
    pub depth_mm: f64,
}

impl Outline {
    /// Its corners; an ellipse as a fine polygon.
    #[must_use]
    pub fn corners(&self) -> Vec<(f64, f64)> {
        match self {
            Outline::Polygon { points_px } => points_px.clone(),
            Outline::Ellipse { centre_px, half_axes_px, turned_deg } => {
                let (sin, cos) = turned_deg.to_radians().sin_cos();
                let corner = |idx: u32| {
                    let (y, x) =
                        (std::f64::consts::TAU * f64::from(idx) / f64::from(ELLIPSE_POINTS)).sin_cos();
                    let (x, y) = (half_axes_px.0 * x, half_axes_px.1 * y);
                    (centre_px.0 + cos * x - sin * y, centre_px.1 + sin * x + cos * y)
                };
                (0..ELLIPSE_POINTS).map(corner).collect()
            }
        }
    }

    /// Area in square pixels, by Green's theorem; of an ellipse by its axes.
    #[must_use]
    pub fn area_px2(&self) -> f64 {
        match self {
            Outline::Polygon { points_px } => {
                let doubled: f64 = edges(points_px).map(|(a, b)| a.0 * b.1 - b.0 * a.1).sum();
                doubled.abs() / 2.0
            }
            Outline::Ellipse { half_axes_px, .. } => std::f64::consts::PI * half_axes_px.0 * half_axes_px.1,
        }
    }

    /// Whether the middle of a pixel lies inside.
    #[must_use]
    pub fn holds(&self, corners: &[(f64, f64)], x: f64, y: f64) -> bool {
        let crossed = edges(corners)
            .filter(|(a, b)| (a.1 > y) != (b.1 > y) && x < (b.0 - a.0) * (y - a.1) / (b.1 - a.1) + a.0);
        crossed.count() % 2 == 1
    }

    /// Whether it can be measured.
    ///
    /// # Errors
    /// When it is malformed or crosses itself.
    pub fn verify(&self) -> Result<(), OutlineProblem> {
        let sound = match self {
            Outline::Polygon { points_px } => (3..=POINTS_MAX).contains(&points_px.len()),
            Outline::Ellipse { half_axes_px: (a, b), turned_deg, .. } => {
                *a > 0.0 && *b > 0.0 && turned_deg.is_finite()
            }
        };
        let corners = self.corners();
        if !sound || !corners.iter().all(|corner| corner.0.is_finite() && corner.1.is_finite()) {
            return Err(OutlineProblem::Malformed);
        }
        match self {
            Outline::Polygon { points_px } if crosses(points_px) => Err(OutlineProblem::Crossed),
            _ if self.area_px2() <= 0.0 => Err(OutlineProblem::Malformed),
            _ => Ok(()),
        }
    }
}

/// The scale that holds for the whole outline.
///
/// # Errors
/// When it cannot be measured, or none or two differing scales hold for it.
pub fn scale_for(outline: &Outline, scales: &[Scale]) -> Result<Scale, OutlineProblem> {
    outline.verify()?;
    scale_over(&outline.corners(), scales)
}

/// The scale that holds for all of these points, in pixels.
///
/// # Errors
/// When none or two differing scales hold for them.
pub fn scale_over(points: &[(f64, f64)], scales: &[Scale]) -> Result<Scale, OutlineProblem> {
    let holds = |scale: &&Scale| {
        let [left, top, right, bottom] = scale.bounds_px;
        points.iter().all(|(x, y)| (left..=right).contains(x) && (top..=bottom).contains(y))
    };
    let mut holding = scales.iter().filter(holds);
    let first = *holding.next().ok_or(OutlineProblem::NoScale)?;
    let same = |scale: &Scale| (scale.width_mm, scale.height_mm) == (first.width_mm, first.height_mm);
    if holding.all(same) { Ok(first) } else { Err(OutlineProblem::TwoScales) }
}

/// How far two points, given in pixels, lie apart on a scale, in millimetres.
#[must_use]
pub fn distance_mm([from, to]: [(f64, f64); 2], scale: &Scale) -> f64 {
    ((to.0 - from.0) * scale.width_mm).hypot((to.1 - from.1) * scale.height_mm)
}

/// The size of an outline on a scale; pixels may be wider than high.
#[must_use]
pub fn size(outline: &Outline, scale: &Scale) -> Size {
    let corners: Vec<(f64, f64)> =
        outline.corners().iter().map(|(x, y)| (x * scale.width_mm, y * scale.height_mm)).collect();
    let extent = |of: fn(&(f64, f64)) -> f64| {
        let all = corners.iter().map(of);
        all.clone().fold(f64::NEG_INFINITY, f64::max) - all.fold(f64::INFINITY, f64::min)
    };
    Size {
        area_mm2: outline.area_px2() * scale.width_mm * scale.height_mm,
        circumference_mm: edges(&corners).map(|(a, b)| (b.0 - a.0).hypot(b.1 - a.1)).sum(),
        width_mm: extent(|corner| corner.0),
        depth_mm: extent(|corner| corner.1),
    }
}

fn edges(corners: &[(f64, f64)]) -> impl Iterator<Item = ((f64, f64), (f64, f64))> + Clone {
    corners.iter().copied().zip(corners.iter().copied().cycle().skip(1))
}

/// Whether two edges that are no neighbours meet, or two neighbours fold back on each other.
fn crosses(corners: &[(f64, f64)]) -> bool {
    let edges: Vec<_> = edges(corners).collect();
    for (i, one) in edges.iter().enumerate() {
        for (j, other) in edges.iter().enumerate().skip(i + 1) {
            let neighbours = j == i + 1 || (i == 0 && j + 1 == edges.len());
            if neighbours {
                let (start, shared, end) =
                    if j == i + 1 { (one.0, one.1, other.1) } else { (other.0, one.0, one.1) };
                let back = side(start, shared, end) == 0.0
                    && (start.0 - shared.0) * (end.0 - shared.0) + (start.1 - shared.1) * (end.1 - shared.1)
                        > 0.0;
                if back || start == shared || shared == end {
                    return true;
                }
            } else if meet(*one, *other) {
                return true;
            }
        }
    }
    false
}

/// Twice the signed area of a triangle: on which side of a line the third point lies.
fn side(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> f64 {
    (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0)
}

fn meet((a, b): ((f64, f64), (f64, f64)), (c, d): ((f64, f64), (f64, f64))) -> bool {
    let (abc, abd, cda, cdb) = (side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b));
    if abc * abd < 0.0 && cda * cdb < 0.0 {
        return true;
    }
    let within = |p: (f64, f64), q: (f64, f64), r: (f64, f64)| {
        (p.0.min(q.0)..=p.0.max(q.0)).contains(&r.0) && (p.1.min(q.1)..=p.1.max(q.1)).contains(&r.1)
    };
    (abc == 0.0 && within(a, b, c))
        || (abd == 0.0 && within(a, b, d))
        || (cda == 0.0 && within(c, d, a))
        || (cdb == 0.0 && within(c, d, b))
}
