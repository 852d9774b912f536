//! Files of stills that hold no pixels.
//!
//! Takes: a DICOM file.
//! Gives: whether it has pixels.
//! Never: decodes anything.
//! Tested in: `tests/it/no_picture.rs`.

use std::path::Path;

use dicom_dictionary_std::tags;
use dicom_object::OpenFileOptions;

use crate::frames::element::element;
use crate::frames::part10;

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
