//! What each still is labelled as.
//!
//! Takes: `Exam` and `Pairing`.
//! Gives: a `StillLabel` for each still of the exam, in its order.
//! Never: chooses between two readings.
//! Tested in: `tests/it/knowledge.rs`.

use std::collections::BTreeMap;

use crate::exam::call::View;
use crate::exam::fold::{Exam, LoggedChange, LoggedUtterance};
use crate::exam::place::Place;
use crate::exam::review::Change;
use crate::exam::seq::Seq;
use crate::frames::pairing::{PairedFrame, Pairing, Tie};
use crate::knowledge::doubt::{DOUBTFUL, doubtful};
use crate::knowledge::record::Status;

/// The label of one still.
#[derive(Debug, Clone, PartialEq)]
pub struct StillLabel {
    /// Limb, zone, plane and structure.
    pub place: Place,
    /// How the label came about.
    pub status: Status,
    /// How sure it is, 0 to 1.
    pub confidence: f64,
    /// The save call it is paired with, or the call whose context labels it.
    pub call_seq: Option<Seq>,
}

/// The label of every still; one that pairing says nothing of has none.
#[must_use]
pub fn labels(exam: &Exam, pairing: &Pairing) -> Vec<StillLabel> {
    let doubtful = doubtful(exam);
    let paired = pairing.frames.iter().map(Some).chain(std::iter::repeat(None));
    // Whatever a refused still was paired with, it is none of this horse.
    let refused = exam.refused(&exam.frames);
    let taken = paired.zip(refused).map(|(paired, refused)| paired.filter(|_| refused.is_none()));
    exam.frames.iter().zip(taken).map(|(_, paired)| label(exam, paired, &doubtful)).collect()
}

fn label(
    exam: &Exam,
    paired: Option<&PairedFrame>,
    doubtful: &BTreeMap<Seq, &LoggedUtterance>,
) -> StillLabel {
    let tie = paired.map_or(Tie::Nothing, |paired| paired.tie);
    let (status, call) = match tie {
        Tie::Save(index) => (Status::Spoken, exam.calls.get(index)),
        Tie::Context(index) => (Status::Context, exam.calls.get(index)),
        Tie::Hand(index) => (Status::Hand, exam.calls.get(index)),
        Tie::Label(_) => (Status::Hand, None),
        Tie::LeftOut => (Status::LeftOut, None),
        Tie::Open => (Status::Ambiguous, None),
        Tie::Nothing => (Status::Unlabelled, None),
    };
    let place = match tie {
        Tie::Label(index) => exam.changes.get(index).and_then(labelled_as).unwrap_or_default(),
        _ => call.map(|call| call.context.place.clone()).unwrap_or_default(),
    };
    let in_doubt = status != Status::Hand && call.is_some_and(|call| doubtful.contains_key(&call.seq));
    let most = if in_doubt { DOUBTFUL } else { 1.0 };
    StillLabel {
        place,
        status,
        confidence: paired.map_or(0.0, |paired| paired.confidence).min(most),
        call_seq: call.map(|call| call.seq),
    }
}

/// The place in a change that labels a still.
fn labelled_as(logged: &LoggedChange) -> Option<Place> {
    let Change::Label { place, .. } = &logged.review.change else {
        return None;
    };
    let View { limb, zone, plane, structure, .. } = place.clone();
    Some(Place { limb, zone, plane, structure })
}
