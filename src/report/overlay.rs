//! What was traced and set on the stills, as it is drawn over their pictures.
//!
//! Takes: `Exam`.
//! Gives: `Overlays`: for each still its lines, in shares of its width and height.
//! Never: a line on a still whose size is not known, or one of a value that was taken back.
//! Tested in: `tests/it/first_page.rs`.

use std::collections::BTreeMap;

use serde::Serialize;

use crate::exam::fold::Exam;

/// A line over a picture.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OverlayLine {
    /// Corners in shares of width and height.
    pub corners: Vec<(f64, f64)>,
    /// The last corner is joined to the first.
    pub closed: bool,
}

/// The lines of each still, by its id.
pub type Overlays = BTreeMap<String, Vec<OverlayLine>>;

/// Everything that is drawn over the stills of an exam; of one term at one place the last counts, as in the measures.
#[must_use]
pub fn overlays(exam: &Exam) -> Overlays {
    let mut drawn = Overlays::new();
    for (idx, logged) in exam.entries.iter().enumerate() {
        let entered = &logged.entered;
        let same = |other: &crate::exam::event::Entered| {
            (&other.limb, &other.zone, &other.structure, &other.term)
                == (&entered.limb, &entered.zone, &entered.structure, &entered.term)
        };
        if exam.entries[idx + 1..].iter().any(|later| same(&later.entered)) {
            continue;
        }
        let Some(id) = &entered.still else { continue };
        // Of a loop one frame is shown: what was drawn on another would lie over the wrong picture.
        if entered.frame_number.unwrap_or(1) != exam.frame_shown(id).unwrap_or(1) {
            continue;
        }
        let size = exam.frames.iter().find(|frame| &frame.id == id).and_then(|frame| frame.size_px);
        let Some((width, height)) = size.filter(|(width, height)| *width > 0 && *height > 0) else {
            continue;
        };
        let share = |(x, y): (f64, f64)| (x / f64::from(width), y / f64::from(height));
        let line = match (&entered.outline, entered.ends_px) {
            (Some(outline), _) => {
                OverlayLine { corners: outline.corners().into_iter().map(share).collect(), closed: true }
            }
            (None, Some(ends)) => OverlayLine { corners: ends.map(share).to_vec(), closed: false },
            (None, None) => continue,
        };
        let lines = drawn.entry(id.clone()).or_default();
        if !lines.contains(&line) {
            lines.push(line);
        }
    }
    drawn
}
