//! What the journal notes on a still whose picture is missing or cannot be decoded.
//!
//! Takes: why it has none.
//! Gives: the note, and whether that was noted on a still.
//! Never: looks at a file.
//! Tested in: `tests/it/no_picture.rs`.

use crate::exam::call::Problem;
use crate::exam::event::Frame;

/// How the note begins; journals hold it.
const NO_PICTURE: &str = "it holds no picture that can be shown";

/// The note.
pub(crate) fn no_picture(why: &str) -> Problem {
    Problem::new(
        format!("{NO_PICTURE}: {why}"),
        "it does not count as a still of its view; export it from the scanner again before you reuse the card",
    )
}

/// Whether that is what is noted.
pub(crate) fn is_no_picture(problem: &Problem) -> bool {
    problem.message.starts_with(NO_PICTURE)
}

/// Whether that was noted on a still.
pub(crate) fn lacks_picture(frame: &Frame) -> bool {
    frame.problems.iter().any(is_no_picture)
}
