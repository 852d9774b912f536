//! DICOM data sets, written element by element.
//!
//! Takes: tags, value representations and values.
//! Gives: data sets and whole files in explicit little endian, text as UTF-8.
//! Never: a value longer than its representation may be.
//! Tested in: `tests/it/exchange/`.

use chrono::{DateTime, FixedOffset, Offset, Utc};
use dicom_core::value::DataSetSequence;
use dicom_core::{DataElement, PrimitiveValue, Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileMetaTableBuilder, InMemDicomObject, WithMetaError, WriteError};

use super::code::Code;
use super::uid::{IMPLEMENTATION_NAME, IMPLEMENTATION_UID};

/// Why a DICOM object could not be written into memory.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EncodeError {
    /// Its head could not be made.
    #[error("a DICOM object cannot be written: {0}; please report this")]
    Head(#[from] WithMetaError),
    /// Its data could not be written.
    #[error("a DICOM object cannot be written: {0}; please report this")]
    Data(#[from] WriteError),
}

/// A data set being written.
#[derive(Debug, Clone)]
pub(super) struct DataSet(pub(super) InMemDicomObject);

impl DataSet {
    pub(super) fn new() -> DataSet {
        DataSet(InMemDicomObject::new_empty())
    }

    /// Text, cut to what its representation holds.
    pub(super) fn text(mut self, tag: Tag, vr: VR, text: &str) -> DataSet {
        self.put_text(tag, vr, text);
        self
    }

    pub(super) fn put_text(&mut self, tag: Tag, vr: VR, text: &str) {
        let plain = one_value(vr, text);
        self.0.put(DataElement::new(tag, vr, PrimitiveValue::from(plain)));
    }

    /// Text with several values.
    pub(super) fn texts(mut self, tag: Tag, vr: VR, texts: &[&str]) -> DataSet {
        let values: Vec<String> = texts.iter().map(|text| one_value(vr, text)).collect();
        self.0.put(DataElement::new(tag, vr, PrimitiveValue::Strs(values.into())));
        self
    }

    /// A value that must be there and may be empty.
    pub(super) fn empty(mut self, tag: Tag, vr: VR) -> DataSet {
        let element = match vr {
            VR::SQ => DataElement::new(tag, vr, DataSetSequence::<InMemDicomObject>::empty()),
            _ => DataElement::new(tag, vr, PrimitiveValue::Empty),
        };
        self.0.put(element);
        self
    }

    pub(super) fn value(mut self, tag: Tag, vr: VR, value: impl Into<PrimitiveValue>) -> DataSet {
        self.0.put(DataElement::new(tag, vr, value.into()));
        self
    }

    pub(super) fn items(mut self, tag: Tag, items: Vec<DataSet>) -> DataSet {
        let items: Vec<InMemDicomObject> = items.into_iter().map(|item| item.0).collect();
        self.0.put(DataElement::new(tag, VR::SQ, DataSetSequence::from(items)));
        self
    }

    pub(super) fn code(self, tag: Tag, code: &Code) -> DataSet {
        self.items(tag, vec![coded(code)])
    }

    /// Everything of another data set, over what is there.
    pub(super) fn all(mut self, other: DataSet) -> DataSet {
        for element in other.0 {
            self.0.put(element);
        }
        self
    }

    /// Day and time of day at the place of the exam.
    pub(super) fn moment(self, day: Tag, time: Tag, at: DateTime<Utc>, utc_offset_s: i32) -> DataSet {
        let here = at.with_timezone(&zone(utc_offset_s));
        self.text(day, VR::DA, &here.format("%Y%m%d").to_string()).text(
            time,
            VR::TM,
            &here.format("%H%M%S%.3f").to_string(),
        )
    }

    /// The whole file, with its head.
    pub(super) fn file(self) -> Result<Vec<u8>, EncodeError> {
        file_bytes(self.0, uids::EXPLICIT_VR_LITTLE_ENDIAN)
    }
}

/// The whole file of a data set whose pixels are in this transfer syntax.
pub(super) fn file_bytes(data: InMemDicomObject, syntax: &str) -> Result<Vec<u8>, EncodeError> {
    let meta = FileMetaTableBuilder::new()
        .transfer_syntax(syntax)
        .implementation_class_uid(IMPLEMENTATION_UID)
        .implementation_version_name(IMPLEMENTATION_NAME);
    let mut bytes = Vec::new();
    data.with_meta(meta)?.write_all(&mut bytes)?;
    Ok(bytes)
}

/// A code as an item of a sequence (PS3.3 8.8).
pub(super) fn coded(code: &Code) -> DataSet {
    DataSet::new()
        .text(tags::CODE_VALUE, VR::SH, &code.value)
        .text(tags::CODING_SCHEME_DESIGNATOR, VR::SH, &code.scheme)
        .text(tags::CODE_MEANING, VR::LO, &code.meaning)
}

/// Names an object by class and instance.
pub(super) fn reference(class: &str, instance: &str) -> DataSet {
    DataSet::new().text(tags::REFERENCED_SOP_CLASS_UID, VR::UI, class).text(
        tags::REFERENCED_SOP_INSTANCE_UID,
        VR::UI,
        instance,
    )
}

/// An instant as VR DT, at the place of the exam.
pub(super) fn date_time(at: DateTime<Utc>, utc_offset_s: i32) -> String {
    at.with_timezone(&zone(utc_offset_s)).format("%Y%m%d%H%M%S%.3f%z").to_string()
}

/// The lead on UTC as the attribute Timezone Offset From UTC writes it.
pub(super) fn offset(utc_offset_s: i32) -> String {
    let minutes = utc_offset_s / 60;
    let sign = if minutes < 0 { '-' } else { '+' };
    format!("{sign}{:02}{:02}", minutes.abs() / 60, minutes.abs() % 60)
}

pub(super) fn zone(utc_offset_s: i32) -> FixedOffset {
    FixedOffset::east_opt(utc_offset_s).unwrap_or_else(|| Utc.fix())
}

/// A number as VR DS: at most 16 characters, as exact as they allow.
pub(super) fn decimal(number: f64) -> String {
    let plain = number.to_string();
    if plain.len() <= 16 {
        return plain;
    }
    // A sign, a digit, a point and an exponent leave room for this many digits.
    (0..=9)
        .rev()
        .map(|digits| format!("{number:.digits$e}"))
        .find(|text| text.len() <= 16)
        .unwrap_or_else(|| "0".to_owned())
}

/// One value of a text: no backslash, which separates values, no control characters, not too long (PS3.5 6.2).
fn one_value(vr: VR, text: &str) -> String {
    let chars_max = match vr {
        VR::SH | VR::CS | VR::AE | VR::DS => 16,
        VR::LO | VR::UI => 64,
        VR::PN => 64,
        VR::ST => 1024,
        VR::LT => 10_240,
        _ => usize::MAX,
    };
    let many_lines = matches!(vr, VR::ST | VR::LT | VR::UT);
    let kept = |c: &char| !c.is_control() || (many_lines && *c == '\n');
    let plain: String = text.chars().filter(kept).take(chars_max).collect();
    if many_lines { plain } else { plain.replace('\\', "/") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_string_has_at_most_sixteen_characters_and_keeps_its_number() {
        for number in [0.1 + 0.2, 1.0 / 3.0, -123_456.789_012_345, 1e-20, 550.359_441_773_366_8, 0.0, -0.5] {
            let text = decimal(number);
            let read: f64 = text.parse().unwrap();
            assert!(text.len() <= 16, "{text}");
            assert!((read - number).abs() <= 1e-8 * number.abs(), "{number} {text}");
        }
    }

    #[test]
    fn an_offset_is_written_as_the_standard_wants_it() {
        assert_eq!(
            (offset(7200).as_str(), offset(-12_600).as_str(), offset(0).as_str()),
            ("+0200", "-0330", "+0000")
        );
    }
}
