//! Which calls and stills belong to a view.
//!
//! Takes: a view, a call or a still.
//! Gives: whether they belong together.
//! Never: which views are wanted; the protocols say that.
//! Tested in: `tests/it/knowledge.rs`.

use crate::exam::call::Act;
use crate::exam::fold::LoggedCall;
use crate::exam::place::WholeView;
use crate::knowledge::record::{CoverageRow, FrameRow, Status};

impl CoverageRow {
    /// The view that the row is about.
    #[must_use]
    pub fn view(&self) -> WholeView {
        WholeView { limb: self.limb.clone(), zone: self.zone.clone(), plane: self.plane.clone() }
    }
}

/// Whether `view` was current just after `call`.
pub(crate) fn was_current(view: &WholeView, call: &LoggedCall) -> bool {
    view.holds(&call.context.place)
}

/// Whether `frame` is labelled as `view`.
pub(crate) fn shows(view: &WholeView, frame: &FrameRow) -> bool {
    is_labelled(frame) && view.holds(&frame.place)
}

/// Whether a still has one label, and a picture to show under it.
pub(crate) fn is_labelled(frame: &FrameRow) -> bool {
    !frame.lacks_picture && matches!(frame.status, Status::Spoken | Status::Context | Status::Hand)
}

pub(crate) fn is_view(call: &LoggedCall) -> bool {
    matches!(call.act, Act::View(_))
}
