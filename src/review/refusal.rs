//! Why the desk does not do what a browser asks for.
//!
//! Takes: nothing; this is the type between what judges a wish and what answers it.
//! Gives: `Refusal`.
//! Never: a refusal without a way out.
//! Tested in: `tests/it/review.rs`.

use crate::exam::call::Problem;
use crate::exam_folder::FolderError;

/// Why a change was not made.
#[derive(Debug)]
pub(super) enum Refusal {
    /// It makes no sense.
    Wrong(Problem),
    /// It is unlikely, or contradicts what was said; a person may confirm it all the same.
    Doubtful(Problem),
    /// The record is signed; a person may make it a draft again.
    Signed(Problem),
    /// Somebody else changed the same thing meanwhile.
    Overtaken(Problem),
    /// The journal could not be read or written.
    Desk(FolderError),
}

impl From<FolderError> for Refusal {
    fn from(error: FolderError) -> Refusal {
        Refusal::Desk(error)
    }
}

pub(super) fn wrong<T>(message: impl Into<String>, help: &str) -> Result<T, Refusal> {
    Err(Refusal::Wrong(Problem { message: message.into(), help: help.to_owned() }))
}
