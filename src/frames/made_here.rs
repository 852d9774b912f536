//! How a copy of a still that this program made is told from a still.
//!
//! Takes: an object, or the bytes of a picture.
//! Gives: whether it is such a copy; a picture with the mark of one.
//! Never: takes a picture for a copy because of its name or its folder.
//! Tested in: `tests/it/other_stills/copies.rs`.

use dicom_dictionary_std::tags;
use dicom_object::InMemDicomObject;

use super::element::{items_of, text_of};
use crate::exam::call::Problem;
use crate::frames::time_value::problem;

/// This program, as the maker of objects.
pub(crate) const MAKER: &str = "zonecall";
/// Patient ID of copies that say nothing of anybody.
pub(crate) const NOBODYS: &str = "TEACHING";
/// Kind and content of the chunk that marks a picture (PNG, 3rd ed., 11.3.3.2): a keyword and a text.
const MARK: &[u8] = b"tEXtSoftware\0zonecall: copy of a still";
/// Signature and header of a picture, which come before all other chunks (PNG, 3rd ed., 5.6).
const PNG_HEAD_BYTES: usize = 33;

/// Whether an object is a copy that was made here: a derived image to which this program contributed, or one of nobody.
pub(super) fn is_copy(file: &InMemDicomObject) -> bool {
    let is = |tag, wanted: &str| text_of(file, tag).as_deref() == Some(wanted);
    // Several values are parted by a backslash; the first says whether it is an original (PS3.3 C.7.6.1.1.2).
    let is_derived = text_of(file, tags::IMAGE_TYPE).is_some_and(|kind| kind.starts_with("DERIVED"));
    let of_maker = |item: &InMemDicomObject| text_of(item, tags::MANUFACTURER).as_deref() == Some(MAKER);
    let is_ours = || items_of(file, tags::CONTRIBUTING_EQUIPMENT_SEQUENCE).iter().any(of_maker);
    is_derived && is_ours() || is(tags::PATIENT_IDENTITY_REMOVED, "YES") && is(tags::PATIENT_ID, NOBODYS)
}

/// Why a copy is not taken.
pub(super) fn refused() -> Problem {
    problem(
        "a copy that zonecall made of a still",
        "take the still itself: name the folder that the scanner exports into",
    )
}

/// A PNG with the mark of a copy; its pixels are as they were.
pub(crate) fn marked(png: &[u8]) -> Vec<u8> {
    let Some((head, rest)) = png.split_at_checked(PNG_HEAD_BYTES) else { return png.to_vec() };
    let mut sum = flate2::Crc::new();
    sum.update(MARK);
    let length = u32::try_from(MARK.len() - 4).unwrap_or_default().to_be_bytes();
    [head, &length, MARK, &sum.sum().to_be_bytes(), rest].concat()
}

/// Whether a picture that begins with these bytes has the mark.
pub(super) fn is_marked(start: &[u8]) -> bool {
    start.windows(MARK.len()).any(|bytes| bytes == MARK)
}
