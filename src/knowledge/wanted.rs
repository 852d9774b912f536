//! Views that are wanted, and which calls and stills belong to one.
//!
//! Takes: limb, zone and plane.
//! Gives: `Wanted`.
//! Never: which views those are; the protocols say that.
//! Tested in: `tests/it/knowledge.rs`.

use crate::exam::call::Act;
use crate::exam::fold::LoggedCall;
use crate::knowledge::record::{CoverageRow, FrameRow, Status};

/// A view that is wanted: limb, zone and plane, all of them known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Wanted<'a> {
    pub(crate) limb: &'a str,
    pub(crate) zone: &'a str,
    pub(crate) plane: &'a str,
}

impl<'a> Wanted<'a> {
    /// The view of a coverage row.
    pub(crate) fn of(row: &'a CoverageRow) -> Wanted<'a> {
        Wanted { limb: &row.limb, zone: &row.zone, plane: &row.plane }
    }

    /// Whether this view was current just after `call`.
    pub(crate) fn holds(self, call: &LoggedCall) -> bool {
        let context = &call.context;
        context.place.limb.as_deref() == Some(self.limb)
            && context.place.zone.as_deref() == Some(self.zone)
            && context.place.plane.as_deref() == Some(self.plane)
    }

    /// Whether `frame` is labelled as this view.
    pub(crate) fn shows(self, frame: &FrameRow) -> bool {
        is_labelled(frame)
            && frame.place.limb.as_deref() == Some(self.limb)
            && frame.place.zone.as_deref() == Some(self.zone)
            && frame.place.plane.as_deref() == Some(self.plane)
    }
}

/// Whether a still has one label.
pub(crate) fn is_labelled(frame: &FrameRow) -> bool {
    matches!(frame.status, Status::Spoken | Status::Context | Status::Hand)
}

pub(crate) fn is_view(call: &LoggedCall) -> bool {
    matches!(call.act, Act::View(_))
}
