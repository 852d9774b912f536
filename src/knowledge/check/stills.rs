//! Rules about stills: their labels, their files and their clock.
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order of the stills.
//! Never: settles a label.
//! Tested in: `tests/it/rules/stills.rs`.

use crate::clock::WallQuality;
use crate::knowledge::check::evidence::{Evidence, Hit, in_words};
use crate::knowledge::record::{FrameRow, Status};

pub(super) fn clock_unknown(evidence: &Evidence) -> Vec<Hit> {
    if evidence.frames.is_empty() || evidence.pairing.clock.is_some() {
        return Vec::new();
    }
    // A recording's file time is when it ended or was copied; then the stills lie nowhere near what was said.
    let remedy = match evidence.exam.header.wall {
        WallQuality::FileTime => {
            "the recording does not say when it began, so its file time was taken; hear it again into a new folder with \
             its true beginning, as in `zonecall hear scan.wav --into exams/again --started-at 2026-05-04T10:00:00+02:00`"
        }
        _ => {
            "too few save calls agree with stills; pair with a folder that holds this exam's stills only, \
             as in `zonecall pair EXAM --frames /media/scanner`, and next time say `clock mark` while saving one"
        }
    };
    vec![Hit::new(format!("the scanner's clock could not be tied to the exam: {remedy}"))]
}

pub(super) fn ambiguous(evidence: &Evidence) -> Vec<Hit> {
    of_status(evidence, Status::Ambiguous, "has two readings; listen and choose")
}

/// One line for all of them where no label could be given at all: the reason is the clock, not the single still.
pub(super) fn unlabelled(evidence: &Evidence) -> Vec<Hit> {
    let all = evidence.frames.iter().all(|frame| frame.status == Status::Unlabelled);
    if all && evidence.frames.len() > 1 {
        return vec![Hit::new(format!("none of the {} stills has a label", evidence.frames.len()))];
    }
    of_status(evidence, Status::Unlabelled, "belongs to nothing that was said; label it by hand")
}

pub(super) fn from_context(evidence: &Evidence) -> Vec<Hit> {
    of_status(evidence, Status::Context, "has no save call; its label is what was in force")
}

fn of_status(evidence: &Evidence, status: Status, message: &str) -> Vec<Hit> {
    let stills = evidence.frames.iter().filter(|frame| frame.status == status);
    stills.map(|frame| Hit::still(frame, format!("still `{}` {message}", frame.name()))).collect()
}

/// A label from what was in force, while limb, zone or plane was not; for spoken ones the save call is asked about.
pub(super) fn incomplete(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for frame in evidence.frames.iter().filter(|frame| frame.status == Status::Context) {
        let lacking = lacking(frame);
        if !lacking.is_empty() {
            let message = format!("still `{}` has a label without {lacking}; add it by hand", frame.name());
            hits.push(Hit::still(frame, message));
        }
    }
    hits
}

fn lacking(frame: &FrameRow) -> String {
    let parts = [("limb", &frame.place.limb), ("zone", &frame.place.zone), ("plane", &frame.place.plane)];
    let lacking: Vec<&str> = parts.iter().filter(|part| part.1.is_none()).map(|part| part.0).collect();
    lacking.join(" and ")
}

pub(super) fn file(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for (frame, row) in evidence.exam.frames.iter().zip(evidence.frames) {
        for problem in &frame.problems {
            hits.push(Hit::still(row, format!("still `{}`: {}", row.name(), in_words(problem))));
        }
    }
    hits
}
