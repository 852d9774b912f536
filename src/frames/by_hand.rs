//! What a person said of a still: where it belongs, or that it is left out.
//!
//! Takes: `Exam`, its stills, and which of these are copies of others.
//! Gives: what a person paired or labelled by hand; the copies that still count as such.
//! Never: guesses; where nobody said anything the pairing decides.
//! Tested in: `tests/it/pair.rs` and `tests/it/identity.rs`.

use crate::exam::event::Frame;
use crate::exam::fold::{Exam, LoggedCall};
use crate::exam::review::Change;
use crate::frames::pairing::Tie;
use crate::frames::save_times::is_picture;

/// What a person said of a still; a call that is not there or was withdrawn pairs with nothing.
pub(super) fn by_hand(exam: &Exam, frame: &Frame) -> Option<Tie> {
    let logged = exam.said_of_still(&frame.id)?;
    match &logged.review.change {
        Change::Pair { seq, .. } => {
            let counts = |call: &LoggedCall| call.seq == *seq && call.withdrawn_by.is_none();
            exam.calls.iter().position(counts).map(Tie::Hand)
        }
        Change::Label { .. } => {
            exam.changes.iter().position(|change| change.seq == logged.seq).map(Tie::Label)
        }
        Change::LeaveOut { .. } => Some(Tie::LeftOut),
        _ => None,
    }
}

/// Where the file that counted is left out or refused, one with the same picture counts in its place.
pub(super) fn standing_copies(
    exam: &Exam,
    frames: &[Frame],
    mut copies: Vec<Option<usize>>,
) -> Vec<Option<usize>> {
    let refused = exam.refused(frames);
    let is_gone = |of: usize| by_hand(exam, &frames[of]) == Some(Tie::LeftOut) || refused[of].is_some();
    for (frame, copy) in frames.iter().zip(&mut copies).filter(|(frame, _)| !is_picture(frame)) {
        *copy = copy.filter(|of| !is_gone(*of) || by_hand(exam, frame) == Some(Tie::LeftOut));
    }
    copies
}
