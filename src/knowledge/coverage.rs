//! Which views the protocol asks for, and what there is of each.
//!
//! Takes: `Exam`, `Protocols` and the labelled stills.
//! Gives: one `CoverageRow` for each zone and plane of the limbs examined.
//! Never: counts a still with two readings, or a call that was taken back.
//! Tested in: `tests/it/knowledge.rs`.

use std::collections::BTreeMap;

use crate::exam::fold::Exam;
use crate::knowledge::progress::Progress;
use crate::knowledge::record::{CoverageRow, FrameRow};
use crate::knowledge::wanted::Wanted;
use crate::protocol::Protocols;

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

fn row(progress: &Progress, frames: &[FrameRow], scheme: &str, place: Wanted<'_>) -> CoverageRow {
    let view = progress.view(place);
    CoverageRow {
        limb: place.limb.into(),
        scheme: scheme.to_owned(),
        zone: place.zone.into(),
        plane: place.plane.into(),
        frames: frames.iter().filter(|frame| place.shows(frame)).count(),
        called: view.called,
        saves: view.saves,
        not_done: progress.is_left_out(place),
    }
}
