//! The stills that a report shows: proposed by what was found, and as a person chose.
//!
//! Takes: `Record` and `Protocols`.
//! Gives: their indexes, each still of a finding followed by the same view of the other limb.
//! Never: a still whose label is in doubt, not even one that a person chose.
//! Tested in: `tests/it/first_page.rs`.

use crate::exam::place::Place;
use crate::knowledge::belongs::is_labelled;
use crate::knowledge::record::{CallRow, FrameRow, Record, standing};
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;

/// Stills that are proposed: two pages of four.
const PROPOSED_MAX: usize = 8;
/// Stills in one report, those that were chosen included: six pages of four.
pub const KEY_STILLS_MAX: usize = 24;

/// Whether a still can be shown as what its label says.
#[must_use]
pub fn is_sure(frame: &FrameRow) -> bool {
    is_labelled(frame) && frame.doubt.is_empty() && frame.refused.is_none()
}

/// Whether a call says that something is changed, surely or possibly.
#[must_use]
pub fn says_changed(call: &CallRow) -> bool {
    matches!(call.class, Some(Class::Lesion | Class::Abnormal))
}

/// Whether a finding that is not normal was said at this place, in whatever plane.
#[must_use]
pub fn has_finding(record: &Record, place: &Place) -> bool {
    standing(&record.calls).any(|call| {
        says_changed(call)
            && call.place.limb.is_some()
            && (&call.place.limb, &call.place.zone) == (&place.limb, &place.zone)
    })
}

/// The stills that the report shows: what is proposed without what a person left out, then what a person added.
#[must_use]
pub fn key_stills(record: &Record, protocols: &Protocols) -> Vec<usize> {
    let of_its_own = |frame: &FrameRow| frame.copy_of.is_none() || frame.key == Some(true);
    let stills: Vec<(usize, &FrameRow)> =
        record.frames.iter().enumerate().filter(|(_, frame)| is_sure(frame) && of_its_own(frame)).collect();
    let mut proposed: Vec<usize> = Vec::new();
    for (idx, frame) in stills.iter().filter(|(_, frame)| has_finding(record, &frame.place)) {
        let other = frame.place.limb.as_deref().and_then(|code| protocols.other_limb(code, None));
        let pair = stills.iter().find(|(_, twin)| {
            other.is_some_and(|other| twin.place.limb.as_ref() == Some(&other.code))
                && (&twin.place.zone, &twin.place.plane) == (&frame.place.zone, &frame.place.plane)
        });
        for idx in std::iter::once(*idx).chain(pair.map(|(twin, _)| *twin)) {
            if !proposed.contains(&idx) {
                proposed.push(idx);
            }
        }
    }
    proposed.truncate(PROPOSED_MAX);
    proposed.retain(|idx| record.frames[*idx].key != Some(false));
    let added = stills.iter().filter(|(idx, frame)| frame.key == Some(true) && !proposed.contains(idx));
    let added: Vec<usize> = added.map(|(idx, _)| *idx).collect();
    proposed.into_iter().chain(added).take(KEY_STILLS_MAX).collect()
}
