//! Which views the protocol asks for, and what there is of each.
//!
//! Takes: `Exam`, `Protocols` and the labelled stills.
//! Gives: one `CoverageRow` for each zone and plane of the limbs examined.
//! Never: counts a still with two readings, or a call that was taken back.
//! Tested in: `tests/it/knowledge.rs`.

use std::collections::BTreeMap;

use crate::exam::fold::Exam;
use crate::exam::place::WholeView;
use crate::knowledge::belongs::shows;
use crate::knowledge::progress::Progress;
use crate::knowledge::record::{CoverageRow, FrameRow};
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
                    let view = WholeView {
                        limb: limb.code.clone(),
                        zone: zone.code.clone(),
                        plane: plane.as_str().into(),
                    };
                    rows.push(row(progress, frames, &scheme.name, view));
                }
            }
        }
    }
    rows
}

fn row(progress: &Progress, frames: &[FrameRow], scheme: &str, view: WholeView) -> CoverageRow {
    let seen = progress.view(&view);
    CoverageRow {
        scheme: scheme.to_owned(),
        frames: frames.iter().filter(|frame| shows(&view, frame)).count(),
        called: seen.called,
        saves: seen.saves,
        not_done: progress.is_left_out(&view),
        limb: view.limb,
        zone: view.zone,
        plane: view.plane,
    }
}
