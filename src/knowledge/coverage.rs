//! Which views the protocol wants, and what there is of each.
//!
//! Takes: `Exam`, `Protocols` and the labelled stills.
//! Gives: one `CoverageRow` for each zone and plane of the limbs examined.
//! Never: counts a still with two readings, or a call that was taken back.
//! Tested in: `tests/it/knowledge.rs`.

use std::collections::{BTreeMap, BTreeSet};

use crate::exam::call::Act;
use crate::exam::fold::{Exam, LoggedCall};
use crate::knowledge::progress::Progress;
use crate::knowledge::record::{CoverageRow, FrameRow, Status};
use crate::protocol::Protocols;

/// Class of a finding that says that a place was left out on purpose.
pub(crate) const NOT_DONE: &str = "not_done";

/// The views wanted on each limb that was called, in the order of the protocols.
///
/// A scheme marked `when_called` counts only on limbs where one of its zones was called.
#[must_use]
pub fn coverage(exam: &Exam, frames: &[FrameRow], protocols: &Protocols) -> Vec<CoverageRow> {
    coverage_of(&Progress::of(exam), &exam.header.schemes, frames, protocols)
}

/// The same from what is known of the views already, in the schemes chosen for each group of limbs.
#[must_use]
pub fn coverage_of(
    progress: &Progress,
    schemes: &BTreeMap<String, String>,
    frames: &[FrameRow],
    protocols: &Protocols,
) -> Vec<CoverageRow> {
    let mut rows = Vec::new();
    for limb in protocols.limbs.iter().filter(|limb| progress.is_examined(&limb.code)) {
        for scheme in protocols.schemes_for(&limb.code, schemes) {
            let is_called = || scheme.zones.iter().any(|zone| progress.is_called(&limb.code, &zone.code));
            if scheme.when_called && !is_called() {
                continue;
            }
            for zone in &scheme.zones {
                for plane in &zone.planes {
                    let wanted = Wanted { limb: &limb.code, zone: &zone.code, plane };
                    rows.push(row(progress, frames, &scheme.name, wanted));
                }
            }
        }
    }
    rows
}

/// Calls that count: not taken back, and not carried by the call they put right.
pub(crate) fn live(exam: &Exam) -> impl Iterator<Item = &LoggedCall> {
    let carried: BTreeSet<u64> =
        exam.calls.iter().flat_map(|call| call.corrected_by.iter().copied()).collect();
    exam.calls.iter().filter(move |call| call.withdrawn_by.is_none() && !carried.contains(&call.seq))
}

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

    /// Whether this view was in force just after `call`.
    pub(crate) fn holds(self, call: &LoggedCall) -> bool {
        let context = &call.context;
        context.limb.as_deref() == Some(self.limb)
            && context.zone.as_deref() == Some(self.zone)
            && context.plane.as_deref() == Some(self.plane)
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

fn row(progress: &Progress, frames: &[FrameRow], scheme: &str, place: Wanted<'_>) -> CoverageRow {
    let view = progress.view(place);
    CoverageRow {
        limb: place.limb.to_owned(),
        scheme: scheme.to_owned(),
        zone: place.zone.to_owned(),
        plane: place.plane.to_owned(),
        frames: frames.iter().filter(|frame| place.shows(frame)).count(),
        called: view.called,
        saves: view.saves,
        not_done: progress.is_left_out(place),
    }
}
