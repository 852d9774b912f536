//! Which views the protocol wants, and what there is of each.
//!
//! Takes: `Exam`, `Protocols` and the labelled stills.
//! Gives: one `CoverageRow` for each zone and plane of the limbs examined.
//! Never: counts a still with two readings, or a call that was taken back.
//! Tested in: `tests/it/knowledge.rs`.

use std::collections::BTreeSet;

use crate::exam::call::Act;
use crate::exam::fold::{Exam, LoggedCall};
use crate::knowledge::record::{CoverageRow, FrameRow, Status};
use crate::protocol::Protocols;

/// Class of a finding that says that a place was left out on purpose.
pub(crate) const NOT_DONE: &str = "not_done";

/// The views wanted on each limb that was called, in the order of the protocols.
///
/// A scheme marked `when_called` counts only on limbs where one of its zones was called.
#[must_use]
pub fn coverage(exam: &Exam, frames: &[FrameRow], protocols: &Protocols) -> Vec<CoverageRow> {
    let examined: BTreeSet<&str> = live(exam).filter_map(looked_at).collect();
    let left_out = left_out(exam);
    let mut rows = Vec::new();
    for limb in protocols.limbs.iter().filter(|limb| examined.contains(limb.code.as_str())) {
        for scheme in protocols.schemes_for(&limb.code, &exam.header.schemes) {
            let called_here = |call: &LoggedCall| {
                is_view(call)
                    && call.context.limb.as_deref() == Some(&limb.code)
                    && call.context.zone.as_deref().is_some_and(|zone| scheme.zone(zone).is_some())
            };
            if scheme.when_called && !live(exam).any(called_here) {
                continue;
            }
            for zone in &scheme.zones {
                for plane in &zone.planes {
                    let wanted = Wanted { limb: &limb.code, zone: &zone.code, plane };
                    rows.push(row(exam, frames, &left_out, &scheme.name, wanted));
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

fn looked_at(call: &LoggedCall) -> Option<&str> {
    if is_view(call) { call.context.limb.as_deref() } else { None }
}

fn row(exam: &Exam, frames: &[FrameRow], left_out: &[LeftOut], scheme: &str, place: Wanted) -> CoverageRow {
    CoverageRow {
        limb: place.limb.to_owned(),
        scheme: scheme.to_owned(),
        zone: place.zone.to_owned(),
        plane: place.plane.to_owned(),
        frames: frames.iter().filter(|frame| place.shows(frame)).count(),
        called: live(exam).any(|call| is_view(call) && place.holds(call)),
        saves: live(exam).filter(|call| matches!(call.act, Act::Save) && place.holds(call)).count(),
        not_done: left_out.iter().any(|left_out| left_out.holds(place)),
    }
}

/// Whether it was said that `view` is not scanned.
pub(crate) fn left_out_at(exam: &Exam, view: Wanted) -> bool {
    left_out(exam).iter().any(|left_out| left_out.holds(view))
}

/// A place that was said not to be scanned; what is none was not named and means all.
struct LeftOut<'a> {
    limb: &'a str,
    zone: Option<&'a str>,
    plane: Option<&'a str>,
}

impl LeftOut<'_> {
    fn holds(&self, place: Wanted) -> bool {
        self.limb == place.limb
            && self.zone.is_none_or(|zone| zone == place.zone)
            && self.plane.is_none_or(|plane| plane == place.plane)
    }
}

/// Places said not to be scanned. A zone keeps the plane that was in force before it, so the plane counts only
/// if it was named together with the zone or since; a structure left out leaves the view itself wanted.
fn left_out(exam: &Exam) -> Vec<LeftOut<'_>> {
    let mut plane_named = false;
    let mut places = Vec::new();
    for call in live(exam) {
        match &call.act {
            Act::View(view) if view.limb.is_some() || view.zone.is_some() => {
                plane_named = view.plane.is_some()
            }
            Act::View(view) => plane_named |= view.plane.is_some(),
            Act::Finding(finding) if finding.class == NOT_DONE && call.context.structure.is_none() => {
                let Some(limb) = call.context.limb.as_deref() else { continue };
                let plane = call.context.plane.as_deref().filter(|_| plane_named);
                places.push(LeftOut { limb, zone: call.context.zone.as_deref(), plane });
            }
            _ => {}
        }
    }
    places
}
