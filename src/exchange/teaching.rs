//! Stills for teaching, without whom they are of.
//!
//! Takes: labelled stills, and the rectangle in which the scanner writes names.
//! Gives: pictures and DICOM objects after the Basic Application Confidentiality Profile (PS3.15 annex E), with a table.
//! Never: an attribute that is not on the list of those that say nothing of anybody; sound; a day or a name.
//! Tested in: `tests/it/exchange/teaching.rs`.
//!
//! The profile lists what has to go. Here only what is listed below stays, so that an attribute which a scanner or a
//! later edition of the standard adds goes, too.

use std::io::Cursor;
use std::path::Path;

use dicom_core::value::PrimitiveValue;
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{InMemDicomObject, OpenFileOptions};
use dicom_pixeldata::PixelDecoder;
use image::{DynamicImage, ImageFormat};

use super::code::Code;
use super::dataset::{DataSet, EncodeError, coded, file_bytes};
use super::input::{ExportInput, is_labelled};
use super::labelled::{Copies, Labelled, own_stills, stem};
use super::still::{Still, text_of};
use super::strip::below;
use super::uid::uid;
use crate::file_name::kept_file;
use crate::frames::part10;
use crate::knowledge::record::FrameRow;
use crate::report::colour::unshared;
use crate::report::picture::{PictureError, full};
use crate::report::spreadsheet::{said_in_view, said_with_structure, text};
use crate::report::unpacked::unpack;

/// Attributes that stay: what is shown, how it was taken, and the pixels.
const KEPT: [Tag; 50] = [
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
    tags::LOSSY_IMAGE_COMPRESSION,
    tags::LOSSY_IMAGE_COMPRESSION_RATIO,
    tags::LOSSY_IMAGE_COMPRESSION_METHOD,
    tags::PIXEL_DATA,
];

/// Types 2 of the modules: they must be there and say nothing.
const EMPTY: [(Tag, VR); 15] = [
    (tags::STUDY_DATE, VR::DA),
    (tags::STUDY_TIME, VR::TM),
    (tags::ACCESSION_NUMBER, VR::SH),
    (tags::REFERRING_PHYSICIAN_NAME, VR::PN),
    (tags::MANUFACTURER, VR::LO),
    (tags::PATIENT_BIRTH_DATE, VR::DA),
    (tags::PATIENT_SEX, VR::CS),
    (tags::PATIENT_BREED_DESCRIPTION, VR::LO),
    (tags::PATIENT_BREED_CODE_SEQUENCE, VR::SQ),
    (tags::BREED_REGISTRATION_SEQUENCE, VR::SQ),
    (tags::RESPONSIBLE_PERSON, VR::PN),
    (tags::RESPONSIBLE_ORGANIZATION, VR::LO),
    (tags::PATIENT_SEX_NEUTERED, VR::CS),
    (tags::STUDY_ID, VR::SH),
    (tags::SERIES_NUMBER, VR::IS),
];

/// Left, top, width and height of what is blackened, in pixels.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rectangle {
    /// First column.
    pub left: u32,
    /// First row.
    pub top: u32,
    /// Columns.
    pub width: u32,
    /// Rows.
    pub height: u32,
}

impl Rectangle {
    const fn holds(self, x: u32, y: u32) -> bool {
        x >= self.left && y >= self.top && x - self.left < self.width && y - self.top < self.height
    }

    /// Blackens it in a picture.
    pub(super) fn blacken(self, picture: &DynamicImage) -> DynamicImage {
        let mut out = picture.to_rgb8();
        for (x, y, pixel) in out.enumerate_pixels_mut() {
            if self.holds(x, y) {
                *pixel = image::Rgb([0; 3]);
            }
        }
        if picture.color().has_color() {
            DynamicImage::ImageRgb8(out)
        } else {
            DynamicImage::ImageLuma8(DynamicImage::ImageRgb8(out).to_luma8())
        }
    }
}

/// Makes the copies: labelled stills only, each with what was found in its view.
#[must_use]
pub fn copies(
    input: &ExportInput,
    stills: &[Still],
    exam_folder: &Path,
    black: Option<Rectangle>,
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
        match picture(input, frame, exam_folder, black) {
            Ok(bytes) => made.files.push(Labelled { name: row[0].clone(), bytes }),
            Err(why) => made.problems.push((stem.clone(), why)),
        }
        if let Some(still) = stills.iter().find(|still| still.id == frame.id) {
            match object(input, still, frame, black, salt) {
                Ok(bytes) => {
                    row[1] = format!("{stem}.dcm");
                    made.files.push(Labelled { name: row[1].clone(), bytes });
                }
                Err(error) => made.problems.push((stem, error.to_string())),
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
    black: Option<Rectangle>,
) -> Result<Vec<u8>, String> {
    let mut picture = full(&kept_file(exam_folder, &frame.file)).map_err(|error| error.to_string())?;
    if let Some(black) = black {
        picture = black.blacken(&picture);
    }
    let mut lines = vec![frame.place.in_words(input.protocols), said(input, frame)];
    if !frame.doubt.is_empty() {
        lines.push(format!("label in doubt: {}", frame.doubt.join("; ")));
    }
    lines.retain(|line| !line.is_empty());
    let labelled = below(&picture, &lines).map_err(|error| error.to_string())?;
    let mut bytes = Cursor::new(Vec::new());
    labelled.write_to(&mut bytes, ImageFormat::Png).map_err(|error| error.to_string())?;
    Ok(bytes.into_inner())
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
    /// Its pixels cannot be unpacked, so nothing can be blackened.
    #[error(transparent)]
    Packed(#[from] PictureError),
    /// Its pixels cannot be decoded, so nothing can be blackened.
    #[error("the picture cannot be decoded: {0}")]
    Pixels(#[from] dicom_pixeldata::Error),
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
    black: Option<Rectangle>,
    salt: &str,
) -> Result<Vec<u8>, TeachingError> {
    let mut full = OpenFileOptions::new().from_reader(part10::open(&still.path)?)?;
    let mut syntax = still.syntax.clone();
    if let Some(black) = black {
        blacken(&mut full, black)?;
        uids::EXPLICIT_VR_LITTLE_ENDIAN.clone_into(&mut syntax);
    }
    let all = full.into_inner();
    let mut data = DataSet::new().text(tags::SPECIFIC_CHARACTER_SET, VR::CS, "ISO_IR 192");
    for tag in KEPT {
        if let Some(element) = all.element_opt(tag).ok().flatten() {
            data.0.put(element.clone());
        }
    }
    keep_numbers_of_regions(&mut data);
    data = named(data, input, still, salt);
    if is_labelled(frame) && frame.doubt.is_empty() {
        data = super::derived::place(data, input, &input.site(&frame.place));
    }
    // One of the two must be there where the part of the body is one of a pair (PS3.3 C.7.3.1).
    if data.0.element_opt(tags::IMAGE_LATERALITY).ok().flatten().is_none() {
        data = data.empty(tags::LATERALITY, VR::CS);
    }
    Ok(file_bytes(data.0, &syntax)?)
}

fn named(data: DataSet, input: &ExportInput, still: &Still, salt: &str) -> DataSet {
    let method = |value: &str, meaning: &str| {
        coded(&Code { value: value.to_owned(), scheme: "DCM".to_owned(), meaning: meaning.to_owned() })
    };
    let mut data = data
        .text(tags::SOP_INSTANCE_UID, VR::UI, &uid(&["teaching", salt, &still.instance]))
        .text(tags::SERIES_INSTANCE_UID, VR::UI, &uid(&["teaching series", salt, &still.series]))
        .text(tags::STUDY_INSTANCE_UID, VR::UI, &uid(&["teaching study", salt, &still.study]))
        .text(tags::PATIENT_NAME, VR::PN, "^Teaching")
        .text(tags::PATIENT_ID, VR::LO, "TEACHING")
        .text(tags::PATIENT_IDENTITY_REMOVED, VR::CS, "YES")
        .text(tags::LONGITUDINAL_TEMPORAL_INFORMATION_MODIFIED, VR::CS, "REMOVED")
        .items(
            tags::DEIDENTIFICATION_METHOD_CODE_SEQUENCE,
            vec![method("113100", "Basic Application Confidentiality Profile")],
        );
    let empty = EMPTY.iter().filter(|(tag, _)| data.0.element_opt(*tag).ok().flatten().is_none());
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

/// Decodes the pixels of every frame and blackens a rectangle of each.
fn blacken(full: &mut dicom_object::DefaultDicomObject, black: Rectangle) -> Result<(), TeachingError> {
    unpack(full, None)?;
    if let Some(pixels) = unshared(full, None) {
        full.put(DataElement::new(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, PrimitiveValue::from("RGB")));
        full.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::U8(pixels.into())));
    }
    let decoded = full.decode_pixel_data()?;
    let (columns, rows) = (decoded.columns(), decoded.rows());
    let samples = decoded.samples_per_pixel();
    let bits = decoded.bits_allocated();
    let bytes_a_pixel = usize::from(samples) * usize::from(bits.div_ceil(8));
    let photometric = decoded.photometric_interpretation().as_str().to_owned();
    let mut pixels = decoded.data().to_vec();
    let width = usize::try_from(columns).unwrap_or(usize::MAX);
    let a_frame = width * usize::try_from(rows).unwrap_or(usize::MAX) * bytes_a_pixel;
    for frame in pixels.chunks_exact_mut(a_frame.max(1)) {
        for (line, y) in frame.chunks_exact_mut(width * bytes_a_pixel).zip(0_u32..) {
            for (pixel, x) in line.chunks_exact_mut(bytes_a_pixel).zip(0_u32..) {
                if black.holds(x, y) {
                    pixel.fill(0);
                }
            }
        }
    }
    if pixels.len() % 2 == 1 {
        pixels.push(0);
    }
    let number = |tag, number: u16| DataElement::new(tag, VR::US, PrimitiveValue::from(number));
    full.put(number(tags::SAMPLES_PER_PIXEL, samples));
    full.put(number(tags::BITS_ALLOCATED, bits));
    full.put(DataElement::new(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, PrimitiveValue::from(photometric)));
    if samples > 1 {
        full.put(number(tags::PLANAR_CONFIGURATION, 0));
    }
    let vr = if bits > 8 { VR::OW } else { VR::OB };
    full.put(DataElement::new(tags::PIXEL_DATA, vr, PrimitiveValue::U8(pixels.into())));
    Ok(())
}
