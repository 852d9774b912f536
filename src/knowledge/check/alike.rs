//! Rules about stills that are hardly told apart: by their time, their picture or their scanner.
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order of the stills.
//! Never: speaks of a label that a person gave, or of a file that shows the still of another one.
//! Tested in: `tests/it/rules/alike.rs`.

use std::collections::BTreeMap;

use crate::exam::event::Frame;
use crate::frames::save_times::saved_at;
use crate::frames::scanner_name::by_scanner;
use crate::knowledge::check::evidence::{Evidence, Hit};
use crate::knowledge::record::{FrameRow, Status};

/// A label that pairing trusts less than this is asked about; our own choice.
const CONFIDENCE_MIN: f64 = 0.5;
/// A time in coarser steps than this, in seconds, does not tell one still from the next; our own choice. Memory cards keep the
/// time of a file in steps of 2 s.
const STEP_S_MAX: f64 = 5.0;

/// A still whose label came from what was said.
struct Said<'a> {
    idx: usize,
    frame: &'a Frame,
    row: &'a FrameRow,
}

fn labelled<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = Said<'a>> {
    let all = evidence.exam.frames.iter().zip(evidence.frames).enumerate();
    all.map(|(idx, (frame, row))| Said { idx, frame, row }).filter(|still| {
        matches!(still.row.status, Status::Spoken | Status::Context)
            && still.row.refused.is_none()
            && still.row.copy_of.is_none()
    })
}

/// A label that hangs by little: a clock that few pairs speak for, or another label that is nearly as likely.
pub(super) fn unsure(evidence: &Evidence) -> Vec<Hit> {
    let remedy = evidence.by_ear("listen, and check its label");
    let unsure = labelled(evidence).filter(|still| still.row.confidence < CONFIDENCE_MIN);
    let hit = |still: Said| {
        let percent = 100.0 * still.row.confidence;
        let message =
            format!("still `{}` has its label with {percent:.0} % only; {remedy}", still.row.name());
        Hit::still(still.row, message)
    };
    unsure.map(hit).collect()
}

/// Stills of one scanner that state one time, which is then not that of each; and times that state no seconds.
pub(super) fn of_one_time(evidence: &Evidence) -> Vec<Hit> {
    let frames = &evidence.exam.frames;
    let times = saved_at(frames, evidence.exam.header.utc_offset_s);
    let mut scanner = vec![0; frames.len()];
    for (number, own) in by_scanner(frames).iter().enumerate() {
        own.iter().for_each(|idx| scanner[*idx] = number);
    }
    let mut sharing: BTreeMap<_, usize> = BTreeMap::new();
    for (idx, row) in evidence.frames.iter().enumerate() {
        if row.is_own() {
            *sharing.entry((scanner[idx], times[idx])).or_default() += 1;
        }
    }
    let remedy = evidence.by_ear("listen, and check its label by eye");
    let hit = |still: Said| {
        let (name, step_s) = (still.row.name(), still.frame.resolution_s);
        let others = sharing.get(&(scanner[still.idx], times[still.idx])).map_or(0, |all| all - 1);
        let message = match others {
            0 if step_s <= STEP_S_MAX => return None,
            0 => format!("still `{name}` states its time in steps of {step_s:.0} s; {remedy}"),
            1 => format!("still `{name}` states the same time as another one; {remedy}"),
            others => format!("still `{name}` states the same time as {others} others; {remedy}"),
        };
        Some(Hit::still(still.row, message))
    };
    labelled(evidence).filter_map(hit).collect()
}

/// Stills of two scanners that were paired with one save call; and stills of a second scanner by a clock that a person set.
pub(super) fn of_two_scanners(evidence: &Evidence) -> Vec<Hit> {
    let frames = &evidence.exam.frames;
    let groups = by_scanner(frames);
    if groups.len() < 2 {
        return Vec::new();
    }
    let remedy = evidence.by_ear("listen, and check its label");
    let by_hand = evidence.exam.clock_by_hand().is_some();
    let of_first = |still: &Said| groups[0].contains(&still.idx);
    let of_other = |still: &Said| {
        labelled(evidence).any(|other| {
            let is_save = other.row.status == Status::Spoken && still.row.status == Status::Spoken;
            is_save && other.row.call_seq == still.row.call_seq && other.frame.scanner != still.frame.scanner
        })
    };
    let hit = |still: Said| {
        let name = still.row.name();
        let message = if of_other(&still) {
            format!("still `{name}` and one of another scanner fit the same save call; {remedy}")
        } else if by_hand && !of_first(&still) {
            format!(
                "still `{name}` is of another scanner than most, and the clock that was set by hand is used for both; {remedy}"
            )
        } else {
            return None;
        };
        Some(Hit::still(still.row, message))
    };
    labelled(evidence).filter_map(hit).collect()
}

/// Stills with the very same pixels and labels of different views: a frozen picture that was saved again.
pub(super) fn of_one_picture(evidence: &Evidence) -> Vec<Hit> {
    let mut showing: BTreeMap<&str, Vec<&FrameRow>> = BTreeMap::new();
    for still in labelled(evidence) {
        if let Some(pixels) = &still.frame.pixels_sha256 {
            showing.entry(pixels).or_default().push(still.row);
        }
    }
    let hit = |still: Said| {
        let same = showing.get(still.frame.pixels_sha256.as_deref()?)?;
        let other = same.iter().find(|other| !other.place.same_view(&still.row.place))?;
        let message = format!(
            "still `{}` shows the very same picture as `{}`, which has the label of another view; look at both",
            still.row.name(),
            other.name()
        );
        Some(Hit::still(still.row, message))
    };
    labelled(evidence).filter_map(hit).collect()
}
