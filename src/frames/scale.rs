//! How large a pixel of a still is: as its file states it, or as a person set it.
//!
//! Takes: a still, its file, and the points that are to be measured.
//! Gives: the scale that holds for all of them, and whether it was set by hand.
//! Never: a scale set by hand over one that the file states.
//! Tested in: `tests/it/review.rs` and `tests/it/review_browser/`.

use std::path::Path;

use crate::exam::call::Problem;
use crate::exam::fold::Exam;
use crate::frames::dicom;
use crate::trace::{Scale, scale_over};

/// The scale for these points on the still `id`; the second part is true where a person set it by hand.
///
/// # Errors
/// Why there is none, in words.
pub fn scale_of(
    exam: &Exam,
    id: &str,
    path: &Path,
    points_px: &[(f64, f64)],
) -> Result<(Scale, bool), Problem> {
    let stated = match stated(path) {
        Ok(scales) => scale_over(points_px, &scales)
            .map_err(|why| Problem { message: why.to_string(), help: String::new() }),
        Err(problem) => Err(problem),
    };
    match (stated, exam.scale_by_hand_mm(id)) {
        (Ok(scale), _) => Ok((scale, false)),
        (Err(_), Some(mm)) => Ok((whole(mm), true)),
        (Err(problem), None) => Err(problem),
    }
}

/// The one scale that the file states for all that has one; none where it states no scale, or several.
#[must_use]
pub fn sole_scale(path: &Path) -> Option<Scale> {
    let scales = stated(path).ok()?;
    let first = *scales.first()?;
    let same = |scale: &Scale| (scale.width_mm, scale.height_mm) == (first.width_mm, first.height_mm);
    scales.iter().all(same).then_some(first)
}

fn stated(path: &Path) -> Result<Vec<Scale>, Problem> {
    Ok(dicom::regions(path)?.0.into_iter().map(Scale::from).collect())
}

/// A scale of the whole picture.
fn whole(mm: f64) -> Scale {
    Scale { bounds_px: [0.0, 0.0, f64::INFINITY, f64::INFINITY], width_mm: mm, height_mm: mm }
}
