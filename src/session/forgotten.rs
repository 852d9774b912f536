//! The view that was left without a still, reported while it can still be corrected.
//!
//! Takes: what was current before and is current now, how far the views are, and when stills arrived.
//! Gives: the view to be reported, by name.
//! Never: I/O, or a view that was left out on purpose.
//! Tested in: `tests/it/answer.rs`, `tests/sound/listen.rs`.

use crate::clock::Sample;
use crate::exam::call::{Act, Command};
use crate::exam::context::Context;
use crate::exam::place::Place;
use crate::knowledge::progress::Progress;

/// Whether the exam goes on after the calls of an utterance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ExamState {
    /// It goes on.
    GoesOn,
    /// One of the calls ended it.
    Ended,
}

impl ExamState {
    /// After these calls.
    pub fn after<'a>(calls: impl IntoIterator<Item = &'a Act>) -> Self {
        if calls.into_iter().any(ends) { Self::Ended } else { Self::GoesOn }
    }
}

/// The view that was current `before` and is left now, by moving on or because the exam has ended; what is current
/// `after` that, and the `progress` with the calls that did it.
///
/// A view is limb, zone and plane; while one of them is not known, or nothing was said of it, or it was left out on
/// purpose, there is none to be forgotten. Nor is there where a zone was called and then its plane: what lay between was
/// the plane of the zone before, and nobody meant it.
#[must_use]
pub fn left(before: &Context, after: &Context, progress: &Progress, state: ExamState) -> Option<Place> {
    let left = before.place.clone();
    if state == ExamState::GoesOn && left.same_view(&after.place) {
        return None;
    }
    let view = left.whole_view()?;
    let is_plane_only = left.limb == after.place.limb && left.zone == after.place.zone;
    if state == ExamState::GoesOn && is_plane_only && !progress.view(&view).settled {
        return None;
    }
    (progress.view(&view).meant && !progress.is_left_out(&view)).then_some(left)
}

/// A save was spoken in this view.
#[must_use]
pub fn is_saved_by_word(progress: &Progress, view: &Place) -> bool {
    view.whole_view().is_some_and(|view| progress.view(&view).saves > 0)
}

/// Something is still said of this view: it was neither taken back nor corrected away.
#[must_use]
pub fn is_meant(progress: &Progress, view: &Place) -> bool {
    view.whole_view().is_some_and(|view| progress.view(&view).meant)
}

/// The call ends the exam.
fn ends(act: &Act) -> bool {
    *act == Act::Command(Command::EndOfExam)
}

/// A view that was left while the scanner's folder is followed: whether its still has come is known a little later.
#[derive(Debug, Clone, PartialEq)]
pub struct Left {
    /// The view.
    pub view: Place,
    /// From the sample at which it was called to the one at which it was left.
    pub from: Sample,
    /// See `from`.
    pub to: Sample,
}

impl Left {
    /// True when a still saved at this sample is one of the view.
    #[must_use]
    pub fn holds(&self, saved_at: Sample) -> bool {
        (self.from..self.to).contains(&saved_at)
    }

    /// True when none of the stills, by the samples at which they were saved, belongs to the view.
    #[must_use]
    pub fn lacks_still(&self, saved_at: &[Sample]) -> bool {
        !saved_at.iter().any(|at| self.holds(*at))
    }
}
