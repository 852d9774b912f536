//! A still as a derived DICOM image: the same pixels, with what they show in its attributes.
//!
//! Takes: the file of a still and its label.
//! Gives: a new object with a new name that names the one it was made from (PS3.3 C.7.6.1 and C.12.1.1.5).
//! Never: a label in doubt as a code: that is text, with its doubt; nothing else of the still changes.
//! Tested in: `tests/it/exchange/labelled.rs`.

use dicom_core::VR;
use dicom_dictionary_std::tags;
use dicom_object::{InMemDicomObject, OpenFileOptions};

use super::code::{Code, Site};
use super::concept::{MODIFYING_EQUIPMENT, SOURCE_IMAGE};
use super::dataset::{DataSet, EncodeError, coded, date_time, file_bytes, reference};
use super::input::{ExportInput, is_labelled};
use super::report::{local_scheme, settled_at};
use super::still::Still;
use super::uid::uid;
use crate::frames::element::text_of;
use crate::frames::made_here::MAKER;
use crate::frames::part10;
use crate::frames::texts::set_right;
use crate::knowledge::record::FrameRow;

/// Why there is no copy.
#[derive(Debug, thiserror::Error)]
pub(super) enum DerivedError {
    /// The still cannot be read.
    #[error("the still cannot be read: {0}")]
    Read(#[from] dicom_object::ReadError),
    /// Its file cannot be read.
    #[error("the still cannot be read: {0}")]
    File(#[from] std::io::Error),
    /// The copy cannot be written.
    #[error(transparent)]
    Encode(#[from] EncodeError),
}

/// The copy.
///
/// # Errors
/// When the still cannot be read or the copy not be written.
pub(super) fn derived(
    input: &ExportInput,
    still: &Still,
    frame: &FrameRow,
) -> Result<(String, Vec<u8>), DerivedError> {
    let file = OpenFileOptions::new().from_reader(part10::open(&still.path)?)?;
    let mut data = DataSet(file.into_inner());
    let exam = &input.record.exam;
    let label = label(input, frame);
    // The label is part of the name: another label makes another object.
    let instance = uid(&["labelled", &exam.id, &still.instance, &label]);
    if !label.is_ascii() {
        set_right(&mut data.0);
        data.0.convert_to_utf8();
    }
    let kind = image_type(&data.0);
    let kind: Vec<&str> = kind.iter().map(String::as_str).collect();
    let equipment = equipment(input, &data.0);
    let mut source = reference(&still.class, &still.instance);
    source = source.code(tags::PURPOSE_OF_REFERENCE_CODE_SEQUENCE, &SOURCE_IMAGE.into());
    data = data
        .text(tags::SOP_INSTANCE_UID, VR::UI, &instance)
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &uid(&["labelled series", &exam.id, &still.series]))
        .texts(tags::IMAGE_TYPE, VR::CS, &kind)
        .text(
            tags::DERIVATION_DESCRIPTION,
            VR::ST,
            "copied with its label; the pixels are those of the source image",
        )
        .items(tags::SOURCE_IMAGE_SEQUENCE, vec![source])
        .text(tags::IMAGE_COMMENTS, VR::LT, &label)
        .items(tags::CONTRIBUTING_EQUIPMENT_SEQUENCE, equipment);
    if is_labelled(frame) && frame.doubt.is_empty() {
        data = place(data, input, &input.site(&frame.place));
    }
    let bytes = file_bytes(data.0, &still.syntax)?;
    Ok((instance, bytes))
}

/// The values of Image Type, of which the first now says that this is no original.
pub(super) fn image_type(data: &InMemDicomObject) -> Vec<String> {
    let stated = data.element_opt(tags::IMAGE_TYPE).ok().flatten();
    let stated = stated.and_then(|element| element.to_multi_str().ok().map(|all| all.to_vec()));
    let mut kind: Vec<String> =
        stated.unwrap_or_default().iter().map(|value| value.trim().to_owned()).collect();
    while kind.len() < 2 {
        kind.push("PRIMARY".to_owned());
    }
    kind[0] = "DERIVED".to_owned();
    kind
}

/// What the still says already, and this program as the one that changed it last.
fn equipment(input: &ExportInput, data: &InMemDicomObject) -> Vec<DataSet> {
    let known = data.element_opt(tags::CONTRIBUTING_EQUIPMENT_SEQUENCE).ok().flatten();
    let mut all: Vec<DataSet> =
        known.and_then(|element| element.items()).unwrap_or(&[]).iter().cloned().map(DataSet).collect();
    let offset_s = input.record.exam.utc_offset_s;
    all.push(
        DataSet::new()
            .items(tags::PURPOSE_OF_REFERENCE_CODE_SEQUENCE, vec![coded(&MODIFYING_EQUIPMENT.into())])
            .text(tags::MANUFACTURER, VR::LO, MAKER)
            .text(tags::SOFTWARE_VERSIONS, VR::LO, env!("CARGO_PKG_VERSION"))
            .text(tags::CONTRIBUTION_DATE_TIME, VR::DT, &date_time(settled_at(input), offset_s))
            .text(tags::CONTRIBUTION_DESCRIPTION, VR::ST, "label from what was spoken during the scan"),
    );
    all
}

fn label(input: &ExportInput, frame: &FrameRow) -> String {
    let draft = if input.record.exam.is_signed() { "" } else { " (draft, not signed by a vet)" };
    let words = frame.place.in_words(input.protocols);
    let words =
        if words.is_empty() { "no label".to_owned() } else { format!("{}: {words}", frame.place.codes()) };
    let doubt = if frame.doubt.is_empty() {
        String::new()
    } else {
        format!("; in doubt: {}", frame.doubt.join("; "))
    };
    let rivals = frame.rivals.iter().map(|rival| format!("; or {} ({})", rival.place.codes(), rival.reason));
    format!("{words}{draft}{doubt}{}", rivals.collect::<String>())
}

/// Region, side, view and structure.
pub(super) fn place(mut data: DataSet, input: &ExportInput, site: &Site) -> DataSet {
    if let Some(region) = &site.region {
        let mut item = coded(region);
        if let Some(zone) = &site.zone {
            item = item.code(tags::ANATOMIC_REGION_MODIFIER_SEQUENCE, zone);
        }
        data = data.items(tags::ANATOMIC_REGION_SEQUENCE, vec![item]);
    }
    if let Some(part) = &site.body_part {
        data.put_text(tags::BODY_PART_EXAMINED, VR::CS, part);
    }
    if let Some(side) = &site.side_letter {
        // Only one of the two may be there (PS3.3 C.7.3.1.1).
        data.0.remove_element(tags::LATERALITY);
        data.put_text(tags::IMAGE_LATERALITY, VR::CS, side);
    }
    if let Some(view) = &site.view {
        data = data.code(tags::VIEW_CODE_SEQUENCE, view);
    }
    if let Some(kind) = site.kind.as_ref().or(site.structure.as_ref()) {
        let mut item = coded(kind);
        if let Some(structure) = site.structure.as_ref().filter(|structure| *structure != kind) {
            item = item.code(tags::PRIMARY_ANATOMIC_STRUCTURE_MODIFIER_SEQUENCE, structure);
        }
        data = data.items(tags::PRIMARY_ANATOMIC_STRUCTURE_SEQUENCE, vec![item]);
    }
    if [&site.zone, &site.structure].into_iter().flatten().any(|code| is_local(code, input)) {
        let mut schemes: Vec<DataSet> = data
            .0
            .element_opt(tags::CODING_SCHEME_IDENTIFICATION_SEQUENCE)
            .ok()
            .flatten()
            .and_then(|element| element.items())
            .unwrap_or(&[])
            .iter()
            .filter(|item| {
                text_of(item, tags::CODING_SCHEME_DESIGNATOR).as_ref() != Some(&input.codes.local.designator)
            })
            .cloned()
            .map(DataSet)
            .collect();
        schemes.push(local_scheme(input));
        data = data.items(tags::CODING_SCHEME_IDENTIFICATION_SEQUENCE, schemes);
    }
    data
}

fn is_local(code: &Code, input: &ExportInput) -> bool {
    code.scheme == input.codes.local.designator
}
