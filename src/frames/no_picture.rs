//! Files of stills that hold no picture, or one that cannot be decoded.
//!
//! Takes: a DICOM file; or why a still has no picture.
//! Gives: whether the file has pixels; what the journal notes on such a still, and whether that was noted.
//! Never: decodes anything.
//! Tested in: `tests/it/no_picture.rs`.

use std::path::Path;

use dicom_dictionary_std::tags;
use dicom_object::OpenFileOptions;

use crate::exam::call::Problem;
use crate::exam::event::Frame;
use crate::frames::element::element;
use crate::frames::part10;
use crate::frames::time_value::problem;

/// How the note begins; journals hold it.
const NO_PICTURE: &str = "it holds no picture that can be shown";

/// The note on a still whose picture is missing or cannot be decoded.
pub(crate) fn no_picture(why: &str) -> Problem {
    problem(
        format!("{NO_PICTURE}: {why}"),
        "it does not count as a still of its view; export it from the scanner again before you reuse the card",
    )
}

/// A larger file is a loop, and holds pictures.
const STILL_BYTES_MAX: u64 = 64 << 20;

/// Whether a DICOM file has no Pixel Data of any kind.
pub(crate) fn is_without_pixels(path: &Path) -> bool {
    if std::fs::metadata(path).map_or(true, |about| about.len() > STILL_BYTES_MAX) {
        return false;
    }
    let Ok(Ok(file)) = part10::open(path).map(|file| OpenFileOptions::new().from_reader(file)) else {
        return false;
    };
    let of_pixels = [tags::PIXEL_DATA, tags::FLOAT_PIXEL_DATA, tags::DOUBLE_FLOAT_PIXEL_DATA];
    of_pixels.into_iter().all(|tag| element(&file, tag).is_none())
}

/// Whether that was noted on a still.
pub(crate) fn lacks_picture(frame: &Frame) -> bool {
    frame.problems.iter().any(|problem| problem.message.starts_with(NO_PICTURE))
}
