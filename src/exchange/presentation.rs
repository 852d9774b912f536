//! How a still is to be shown: its label next to the picture, its outlines over it.
//!
//! Takes: a labelled still and what was traced on it.
//! Gives: a softcopy presentation state, for grey or for colour as the still is; the still itself stays as it is.
//! Never: text over the picture: the shown area is made larger, and the label is below.
//! Tested in: `tests/it/exchange/objects.rs`.

use dicom_core::value::PrimitiveValue;
use dicom_core::{Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::mem::InMemElement;
use moxcms::{ColorProfile, ProfileClass};
use sha2::{Digest, Sha256};

use super::content::{closed, person_name};
use super::dataset::{DataSet, EncodeError, reference};
use super::group::corners;
use super::input::ExportInput;
use super::report::settled_at;
use super::still::Still;
use super::subject::SrSubject;
use super::uid::uid;
use crate::exam::event::Entered;
use crate::exam::seq::Seq;
use crate::frames::element::text_of;
use crate::hex;
use crate::knowledge::record::FrameRow;

/// Part of the height that is added below the picture for the label.
const STRIP_PART: u32 = 8;
const LAYER: &str = "LABEL";
/// Greatest size of a colour profile that is put into an object, in bytes.
const PROFILE_BYTES_MAX: usize = 65_536;

/// The presentation state of a still; its number is that of the still in scan order.
///
/// # Errors
/// When it cannot be encoded.
pub(super) fn state(
    input: &ExportInput,
    subject: &SrSubject,
    still: &Still,
    frame: &FrameRow,
    number: usize,
) -> Result<(String, Vec<u8>), EncodeError> {
    let class = if still.is_grey {
        uids::GRAYSCALE_SOFTCOPY_PRESENTATION_STATE_STORAGE
    } else {
        uids::COLOR_SOFTCOPY_PRESENTATION_STATE_STORAGE
    };
    let exam = &input.record.exam;
    let at = settled_at(input);
    // An attribute of the series: each side has a series of its own, and so has what is not sure.
    let side = input.site(&frame.place).side_letter.filter(|_| frame.doubt.is_empty()).unwrap_or_default();
    let of_still = || reference(&still.class, &still.instance);
    let series = DataSet::new()
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &still.series)
        .items(tags::REFERENCED_IMAGE_SEQUENCE, vec![of_still()]);
    let mut body = DataSet::new()
        .text(tags::MODALITY, VR::CS, "PR")
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &uid(&["series", "presentation", &exam.id, &side]))
        .text(tags::SERIES_NUMBER, VR::IS, "9002")
        .text(tags::SERIES_DESCRIPTION, VR::LO, "Labels and outlines")
        .text(tags::LATERALITY, VR::CS, &side)
        .text(tags::INSTANCE_NUMBER, VR::IS, &number.to_string())
        .text(tags::CONTENT_LABEL, VR::CS, LAYER)
        .text(tags::CONTENT_DESCRIPTION, VR::LO, &frame.place.codes())
        .moment(tags::PRESENTATION_CREATION_DATE, tags::PRESENTATION_CREATION_TIME, at, subject.utc_offset_s)
        .text(
            tags::CONTENT_CREATOR_NAME,
            VR::PN,
            &exam.person.as_deref().map(person_name).unwrap_or_default(),
        )
        .items(tags::REFERENCED_SERIES_SEQUENCE, vec![series])
        .items(tags::DISPLAYED_AREA_SELECTION_SEQUENCE, vec![shown_area(still, of_still())])
        .items(tags::GRAPHIC_ANNOTATION_SEQUENCE, annotations(input, still, frame))
        .items(tags::GRAPHIC_LAYER_SEQUENCE, vec![layer()]);
    body = if still.is_grey { grey(body, still) } else { body.value(tags::ICC_PROFILE, VR::OB, profile()) };
    let start = |instance: &str| subject.start(class, instance, at).all(body.clone());
    let content = hex(&Sha256::digest(start("2.25.0").file()?));
    let instance = uid(&["presentation", &exam.id, &content]);
    let bytes = start(&instance).file()?;
    Ok((instance, bytes))
}

/// The whole picture and a strip below it; its corners count from 1 (PS3.3 C.10.4).
fn shown_area(still: &Still, of_still: DataSet) -> DataSet {
    let (width, height) = still.size_px;
    let signed = |side: u32| i32::try_from(side).unwrap_or(i32::MAX);
    let corner = |x: u32, y: u32| PrimitiveValue::I32([signed(x), signed(y)].as_slice().into());
    DataSet::new()
        .items(tags::REFERENCED_IMAGE_SEQUENCE, vec![of_still])
        .value(tags::DISPLAYED_AREA_TOP_LEFT_HAND_CORNER, VR::SL, corner(1, 1))
        .value(
            tags::DISPLAYED_AREA_BOTTOM_RIGHT_HAND_CORNER,
            VR::SL,
            corner(width, height + height / STRIP_PART),
        )
        .text(tags::PRESENTATION_SIZE_MODE, VR::CS, "SCALE TO FIT")
        .texts(tags::PRESENTATION_PIXEL_ASPECT_RATIO, VR::IS, &["1", "1"])
}

/// The label, and the outlines: those of a loop belong to the frame that they were traced on.
fn annotations(input: &ExportInput, still: &Still, frame: &FrameRow) -> Vec<DataSet> {
    let floats = |numbers: &[f32]| PrimitiveValue::F32(numbers.into());
    // In parts of the shown area: the strip is its last ninth.
    let label = DataSet::new()
        .text(tags::BOUNDING_BOX_ANNOTATION_UNITS, VR::CS, "DISPLAY")
        .text(tags::UNFORMATTED_TEXT_VALUE, VR::ST, &label(input, frame))
        .value(tags::BOUNDING_BOX_TOP_LEFT_HAND_CORNER, VR::FL, floats(&[0.01, 0.9]))
        .value(tags::BOUNDING_BOX_BOTTOM_RIGHT_HAND_CORNER, VR::FL, floats(&[0.99, 0.99]))
        .text(tags::BOUNDING_BOX_TEXT_HORIZONTAL_JUSTIFICATION, VR::CS, "LEFT");
    let labelled = annotation(still, None).items(tags::TEXT_OBJECT_SEQUENCE, vec![label]);
    let mut traced = traced(input, still);
    if still.n_frames == 1 {
        let outlines: Vec<DataSet> = traced.iter().map(|(_, corners)| outline(corners)).collect();
        if outlines.is_empty() {
            return vec![labelled];
        }
        return vec![labelled.items(tags::GRAPHIC_OBJECT_SEQUENCE, outlines)];
    }
    traced.sort_by_key(|(number, _)| *number);
    let by_frame = traced.chunk_by(|one, other| one.0 == other.0).map(|of_frame| {
        let outlines = of_frame.iter().map(|(_, corners)| outline(corners)).collect();
        annotation(still, of_frame.first().map(|(number, _)| *number))
            .items(tags::GRAPHIC_OBJECT_SEQUENCE, outlines)
    });
    std::iter::once(labelled).chain(by_frame).collect()
}

/// What an annotation says of itself: the image it lies on, or one frame of it, and its layer.
fn annotation(still: &Still, frame_number: Option<u32>) -> DataSet {
    let of_still = reference(&still.class, &still.instance);
    let of_still = match frame_number {
        Some(number) => of_still.text(tags::REFERENCED_FRAME_NUMBER, VR::IS, &number.to_string()),
        None => of_still,
    };
    DataSet::new().items(tags::REFERENCED_IMAGE_SEQUENCE, vec![of_still]).text(
        tags::GRAPHIC_LAYER,
        VR::CS,
        LAYER,
    )
}

/// The outlines of a still that count, each with the number of its frame.
fn traced(input: &ExportInput, still: &Still) -> Vec<(u32, Vec<(f64, f64)>)> {
    let counts =
        |seq: Seq| input.record.entries.iter().any(|entry| entry.seq == seq && entry.replaced_by.is_none());
    let of_still = input
        .exam
        .entries
        .iter()
        .filter(|logged| counts(logged.seq) && logged.entered.still.as_ref() == Some(&still.id));
    let numbered = |entered: &Entered| Some((entered.frame_number.unwrap_or(1), corners(entered)?));
    of_still.filter_map(|logged| numbered(&logged.entered)).collect()
}

fn outline(corners: &[(f64, f64)]) -> DataSet {
    let numbers = closed(corners);
    let points = u16::try_from(numbers.len() / 2).unwrap_or(u16::MAX);
    DataSet::new()
        .text(tags::GRAPHIC_ANNOTATION_UNITS, VR::CS, "PIXEL")
        .value(tags::GRAPHIC_DIMENSIONS, VR::US, PrimitiveValue::from(2_u16))
        .value(tags::NUMBER_OF_GRAPHIC_POINTS, VR::US, PrimitiveValue::from(points))
        .value(tags::GRAPHIC_DATA, VR::FL, PrimitiveValue::F32(numbers.into()))
        .text(tags::GRAPHIC_TYPE, VR::CS, "POLYLINE")
        .text(tags::GRAPHIC_FILLED, VR::CS, "N")
}

/// The label below the picture, with what speaks against it.
fn label(input: &ExportInput, frame: &FrameRow) -> String {
    let words = frame.place.in_words(input.protocols);
    let doubt = if frame.doubt.is_empty() {
        String::new()
    } else {
        format!("\nin doubt: {}", frame.doubt.join("; "))
    };
    let draft = if input.record.exam.is_signed() { "" } else { " (draft)" };
    format!("{}{draft}: {words}{doubt}", frame.place.codes())
}

fn layer() -> DataSet {
    DataSet::new().text(tags::GRAPHIC_LAYER, VR::CS, LAYER).text(tags::GRAPHIC_LAYER_ORDER, VR::IS, "1").text(
        tags::GRAPHIC_LAYER_DESCRIPTION,
        VR::LO,
        "Label and outlines",
    )
}

/// What makes stored values into greys: as the still says, for without it a viewer would show them flat.
fn grey(mut body: DataSet, still: &Still) -> DataSet {
    let lut = [
        (tags::RESCALE_INTERCEPT, VR::DS),
        (tags::RESCALE_SLOPE, VR::DS),
        (tags::RESCALE_TYPE, VR::LO),
        (tags::MODALITY_LUT_SEQUENCE, VR::SQ),
    ];
    copy(&mut body, still, &lut);
    if body.0.element_opt(tags::RESCALE_SLOPE).ok().flatten().is_some() {
        // Type 1 here, and missing from most stills; `US` says that nothing is known (PS3.3 C.11.1).
        if body.0.element_opt(tags::RESCALE_TYPE).ok().flatten().is_none() {
            body.put_text(tags::RESCALE_TYPE, VR::LO, "US");
        }
    }
    let mut item = DataSet::new();
    copy(&mut item, still, &[(tags::VOILUT_SEQUENCE, VR::SQ)]);
    // One without the other is no window.
    if [tags::WINDOW_CENTER, tags::WINDOW_WIDTH].iter().all(|tag| stated(still, *tag).is_some()) {
        copy(&mut item, still, &[(tags::WINDOW_CENTER, VR::DS), (tags::WINDOW_WIDTH, VR::DS)]);
    }
    if item.0.iter().next().is_some() {
        body = body.items(tags::SOFTCOPY_VOILUT_SEQUENCE, vec![item]);
    }
    let inverse =
        text_of(&still.head, tags::PHOTOMETRIC_INTERPRETATION).is_some_and(|name| name == "MONOCHROME1");
    body.text(tags::PRESENTATION_LUT_SHAPE, VR::CS, if inverse { "INVERSE" } else { "IDENTITY" })
}

/// An attribute of the still that has a value; some write all they know of, and leave what they do not know empty.
fn stated(still: &Still, tag: Tag) -> Option<&InMemElement> {
    still.head.element_opt(tag).ok().flatten().filter(|element| element.value().multiplicity() > 0)
}

fn copy(into: &mut DataSet, still: &Still, which: &[(Tag, VR)]) {
    for (tag, _) in which {
        if let Some(element) = stated(still, *tag) {
            into.0.put(element.clone());
        }
    }
}

/// The usual colours of screens, as an input profile (PS3.3 C.11.15); what scanners save is made for such screens.
fn profile() -> PrimitiveValue {
    let mut srgb = ColorProfile::new_srgb();
    srgb.profile_class = ProfileClass::InputDevice;
    let mut bytes = srgb.encode().unwrap_or_default();
    bytes.truncate(PROFILE_BYTES_MAX);
    if bytes.len() % 2 == 1 {
        bytes.push(0);
    }
    PrimitiveValue::U8(bytes.into())
}
