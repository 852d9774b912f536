//! Single values of a DICOM object.
//!
//! Takes: an object and a tag.
//! Gives: the element, its text without padding, or its number; none where it is missing or empty.
//! Never: an error: what cannot be read is as if it were not there.
//! Tested in: `tests/it/frames.rs`.

use dicom_object::mem::InMemElement;
use dicom_object::{InMemDicomObject, Tag};

pub(crate) fn element(data: &InMemDicomObject, tag: Tag) -> Option<&InMemElement> {
    data.element_opt(tag).ok().flatten()
}

pub(crate) fn text_of(data: &InMemDicomObject, tag: Tag) -> Option<String> {
    let text = element(data, tag)?.to_str().ok()?;
    let text = text.trim_matches(|sign: char| sign.is_whitespace() || sign == '\0');
    (!text.is_empty()).then(|| text.to_owned())
}

pub(crate) fn int_of(data: &InMemDicomObject, tag: Tag) -> Option<i64> {
    element(data, tag)?.to_int().ok()
}

/// The items of a sequence; none where it is missing.
pub(super) fn items_of(data: &InMemDicomObject, tag: Tag) -> &[InMemDicomObject] {
    element(data, tag).and_then(|all| all.items()).unwrap_or(&[])
}
