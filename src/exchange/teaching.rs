//! Stills for teaching, without whom they are of.
//!
//! Takes: labelled stills, and the rectangles in which scanners write names.
//! Gives: pictures and DICOM objects after the Basic Application Confidentiality Profile (PS3.15 annex E), with a table.
//! Never: an attribute that is not on the list of those that say nothing of anybody; sound; a day or a name.
//! Tested in: `tests/it/exchange/teaching.rs`.
//!
//! The profile lists what has to go. Here only what is listed below stays, so that an attribute which a scanner or a
//! later edition of the standard adds goes, too.

use std::path::Path;

use dicom_core::{Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{FileDicomObject, InMemDicomObject, OpenFileOptions};

use super::black_out::{BlackOut, BlackOutError, Rectangle, blacken_object, blacken_picture};
use super::code::Code;
use super::concept::{BASIC_PROFILE, CLEAN_PIXELS};
use super::dataset::{DataSet, EncodeError, coded, file_bytes};
use super::derived::{image_type, place};
use super::input::{ExportInput, is_labelled};
use super::labelled::{Copies, Labelled, no_copy, no_picture, own_stills, stem};
use super::still::Still;
use super::strip::{as_png, below};
use super::subject::MAY_BE_EMPTY;
use super::uid::uid;
use crate::frames::dicom::{has_plane_in_pixels, open, scanner};
use crate::frames::element::text_of;
use crate::frames::made_here::NOBODYS;
use crate::frames::part10;
use crate::frames::texts::set_right;
use crate::knowledge::record::FrameRow;
use crate::report::picture::paired_bare;
use crate::report::spreadsheet::{said_in_view, said_with_structure, text};

/// Attributes that stay: what is shown, how it was taken, and the pixels.
const KEPT: [Tag; 53] = [
    tags::IMAGE_TYPE,
    tags::SOP_CLASS_UID,
    tags::MODALITY,
    tags::PATIENT_SPECIES_CODE_SEQUENCE,
    tags::ANATOMICAL_ORIENTATION_TYPE,
    tags::TRANSDUCER_TYPE,
    tags::TRANSDUCER_FREQUENCY,
    tags::DEPTH_OF_SCAN_FIELD,
    tags::MECHANICAL_INDEX,
    tags::BONE_THERMAL_INDEX,
    tags::CRANIAL_THERMAL_INDEX,
    tags::SOFT_TISSUE_THERMAL_INDEX,
    tags::CINE_RATE,
    tags::FRAME_TIME,
    tags::FRAME_DELAY,
    tags::FRAME_INCREMENT_POINTER,
    tags::RECOMMENDED_DISPLAY_FRAME_RATE,
    tags::SEQUENCE_OF_ULTRASOUND_REGIONS,
    tags::INSTANCE_NUMBER,
    tags::PATIENT_ORIENTATION,
    tags::SAMPLES_PER_PIXEL,
    tags::PHOTOMETRIC_INTERPRETATION,
    tags::PLANAR_CONFIGURATION,
    tags::NUMBER_OF_FRAMES,
    tags::ROWS,
    tags::COLUMNS,
    tags::ULTRASOUND_COLOR_DATA_PRESENT,
    tags::PIXEL_SPACING,
    tags::PIXEL_ASPECT_RATIO,
    tags::BITS_ALLOCATED,
    tags::BITS_STORED,
    tags::HIGH_BIT,
    tags::PIXEL_REPRESENTATION,
    tags::SMALLEST_IMAGE_PIXEL_VALUE,
    tags::LARGEST_IMAGE_PIXEL_VALUE,
    tags::WINDOW_CENTER,
    tags::WINDOW_WIDTH,
    tags::RESCALE_INTERCEPT,
    tags::RESCALE_SLOPE,
    tags::RESCALE_TYPE,
    tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
    tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
    tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
    tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    tags::SEGMENTED_RED_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    tags::SEGMENTED_GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    tags::SEGMENTED_BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    tags::LOSSY_IMAGE_COMPRESSION,
    tags::LOSSY_IMAGE_COMPRESSION_RATIO,
    tags::LOSSY_IMAGE_COMPRESSION_METHOD,
    tags::PIXEL_DATA,
];

/// Type 2 of the modules of equipment and series: they must be there and say nothing, like those of patient and study.
const EMPTY: [(Tag, VR); 2] = [(tags::MANUFACTURER, VR::LO), (tags::SERIES_NUMBER, VR::IS)];

/// Makes the copies: labelled stills only, each with what was found in its view.
#[must_use]
pub fn copies(
    input: &ExportInput,
    stills: &[Still],
    exam_folder: &Path,
    black_out: &BlackOut,
    salt: &str,
) -> Copies {
    let mut made = Copies::default();
    let mut rows = Vec::new();
    for (number, frame) in own_stills(input).filter(|(_, frame)| is_labelled(frame)) {
        let stem = stem(frame, number);
        let mut row = [
            format!("{stem}.png"),
            String::new(),
            frame.place.codes(),
            frame.doubt.join("; "),
            said(input, frame),
        ];
        let still = stills.iter().find(|still| still.id == frame.id);
        // One that cannot be exported as an object may still have a head.
        let read = || open(&frame.paired_file(exam_folder).ok()?).ok().map(FileDicomObject::into_inner);
        let head = still.map(|still| still.head.clone()).or_else(read);
        let black = black_out.of(head.as_ref());
        if black.is_empty() {
            made.bare.insert(head.as_ref().and_then(scanner).unwrap_or_default());
        }
        match picture(input, frame, exam_folder, &black) {
            Ok(bytes) => made.files.push(Labelled { name: row[0].clone(), bytes }),
            Err(why) => made.problems.push((stem.clone(), no_picture(&why))),
        }
        if let Some(still) = still {
            match object(input, still, frame, &black, salt) {
                Ok(bytes) => {
                    row[1] = format!("{stem}.dcm");
                    made.files.push(Labelled { name: row[1].clone(), bytes });
                }
                Err(error) => made.problems.push((stem, no_copy(&error))),
            }
        }
        rows.push(row);
    }
    made.files.push(Labelled { name: "index.csv".to_owned(), bytes: table(rows).into_bytes() });
    made
}

fn said(input: &ExportInput, frame: &FrameRow) -> String {
    let said: Vec<String> = said_in_view(frame, input.record).map(said_with_structure).collect();
    said.join("; ")
}

fn picture(
    input: &ExportInput,
    frame: &FrameRow,
    exam_folder: &Path,
    black: &[Rectangle],
) -> Result<Vec<u8>, String> {
    let mut picture = paired_bare(frame, exam_folder).map_err(|error| error.to_string())?;
    if !black.is_empty() {
        picture = blacken_picture(black, &picture);
    }
    let mut lines = vec![frame.place.in_words(input.protocols), said(input, frame)];
    if !frame.doubt.is_empty() {
        lines.push(format!("label in doubt: {}", frame.doubt.join("; ")));
    }
    lines.retain(|line| !line.is_empty());
    let labelled = below(&picture, &lines).map_err(|error| error.to_string())?;
    as_png(&labelled).map_err(|error| error.to_string())
}

fn table(rows: Vec<[String; 5]>) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let header = ["picture", "dicom", "label", "doubt", "said_in_view"].map(str::to_owned);
    for row in std::iter::once(header).chain(rows) {
        let cells = row.map(|cell| text(Some(&cell)));
        if let Err(error) = writer.write_record(cells) {
            unreachable!("every row has a cell a column: {error}");
        }
    }
    match writer.into_inner().map(String::from_utf8) {
        Ok(Ok(text)) => text,
        _ => unreachable!("text written to memory stays text"),
    }
}

/// Why there is no copy.
#[derive(Debug, thiserror::Error)]
enum TeachingError {
    /// The still cannot be read.
    #[error("the still cannot be read: {0}")]
    Read(#[from] dicom_object::ReadError),
    /// Its file cannot be read.
    #[error("the still cannot be read: {0}")]
    File(#[from] std::io::Error),
    /// Nothing can be blackened.
    #[error(transparent)]
    Black(#[from] BlackOutError),
    /// The copy cannot be written.
    #[error(transparent)]
    Encode(#[from] EncodeError),
}

/// The object of a still; `salt` keeps its names from being traced back to those of the original.
///
/// # Errors
/// When the still cannot be read, or its pixels not be decoded where something is to be blackened.
fn object(
    input: &ExportInput,
    still: &Still,
    frame: &FrameRow,
    black: &[Rectangle],
    salt: &str,
) -> Result<Vec<u8>, TeachingError> {
    let mut full = OpenFileOptions::new().from_reader(part10::open(&still.path)?)?;
    let mut syntax = still.syntax.clone();
    if !black.is_empty() || has_plane_in_pixels(&full) {
        blacken_object(black, &still.path, &mut full)?;
        uids::EXPLICIT_VR_LITTLE_ENDIAN.clone_into(&mut syntax);
    }
    let mut all = full.into_inner();
    set_right(&mut all);
    let mut data = DataSet::new().text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192");
    for tag in KEPT {
        if let Some(element) = all.element_opt(tag).ok().flatten() {
            data.0.put(element.clone());
        }
    }
    keep_numbers_of_regions(&mut data);
    data = named(data, input, still, salt);
    data = de_identified(data, !black.is_empty());
    if is_labelled(frame) && frame.doubt.is_empty() {
        data = place(data, input, &input.site(&frame.place));
    }
    // One of the two must be there where the part of the body is one of a pair (PS3.3 C.7.3.1).
    if data.0.element_opt(tags::IMAGE_LATERALITY).ok().flatten().is_none() {
        data = data.empty(tags::LATERALITY, VR::CS);
    }
    Ok(file_bytes(data.0, &syntax)?)
}

fn named(data: DataSet, input: &ExportInput, still: &Still, salt: &str) -> DataSet {
    let mut data = data
        .text(tags::SOP_INSTANCE_UID, VR::UI, &uid(&["teaching", salt, &still.instance]))
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &uid(&["teaching series", salt, &still.series]))
        .text(tags::STUDY_INSTANCE_UID, VR::UI, &uid(&["teaching study", salt, &still.study]))
        .text(tags::PATIENT_NAME, VR::PN, "^Teaching")
        .text(tags::PATIENT_ID, VR::LO, NOBODYS);
    let empty = EMPTY
        .iter()
        .chain(&MAY_BE_EMPTY)
        .filter(|(tag, _)| data.0.element_opt(*tag).ok().flatten().is_none());
    for (tag, vr) in empty.copied().collect::<Vec<_>>() {
        data = data.empty(tag, vr);
    }
    if text_of(&data.0, tags::PATIENT_SPECIES_DESCRIPTION).is_none()
        && data.0.element_opt(tags::PATIENT_SPECIES_CODE_SEQUENCE).ok().flatten().is_none()
    {
        data = data.items(tags::PATIENT_SPECIES_CODE_SEQUENCE, vec![coded(&input.codes.common.species)]);
    }
    data
}

/// What was done so that nobody is named (PS3.15 annex E). A copy that was blackened is no original picture any more, and its
/// pixels are clean as far as a person said where names are (E.3.1).
fn de_identified(data: DataSet, is_blackened: bool) -> DataSet {
    let mut methods = vec![coded(&Code::from(BASIC_PROFILE))];
    let mut data = data.text(tags::PATIENT_IDENTITY_REMOVED, VR::CS, "YES").text(
        tags::LONGITUDINAL_TEMPORAL_INFORMATION_MODIFIED,
        VR::CS,
        "REMOVED",
    );
    if is_blackened {
        methods.push(coded(&Code::from(CLEAN_PIXELS)));
        let kind = image_type(&data.0);
        let kind: Vec<&str> = kind.iter().map(String::as_str).collect();
        data = data
            .texts(tags::IMAGE_TYPE, VR::CS, &kind)
            .text(tags::DERIVATION_DESCRIPTION, VR::ST, "rectangles with text of the scanner were made black")
            .text(tags::BURNED_IN_ANNOTATION, VR::CS, "NO");
    }
    data.items(tags::DEIDENTIFICATION_METHOD_CODE_SEQUENCE, methods)
}

/// Of the regions only their numbers stay: a text in them could say anything.
fn keep_numbers_of_regions(data: &mut DataSet) {
    let Some(items) =
        data.0.element_opt(tags::SEQUENCE_OF_ULTRASOUND_REGIONS).ok().flatten().and_then(|all| all.items())
    else {
        return;
    };
    let numbers = [VR::US, VR::UL, VR::SS, VR::SL, VR::FL, VR::FD, VR::IS, VR::DS];
    let kept = items.iter().map(|item| {
        let of_numbers = item.iter().filter(|element| numbers.contains(&element.header().vr()));
        DataSet(InMemDicomObject::from_element_iter(of_numbers.cloned()))
    });
    let kept = kept.collect();
    *data = data.clone().items(tags::SEQUENCE_OF_ULTRASOUND_REGIONS, kept);
}
