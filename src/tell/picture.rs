//! Small pictures of the stills, for the report.
//!
//! Takes: the stills of a `Record` and the exam folder that their paths start from.
//! Gives: `Pictures`: for each still a JPEG as a data URI, or why there is none.
//! Never: changes a still; a file that cannot be shown does not stop the others.
//! Tested in: `tests/tell.rs`.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Cursor, Read};
use std::path::Path;

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use dicom_object::{DefaultDicomObject, OpenFileOptions};
use dicom_pixeldata::PixelDecoder;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageReader, Limits};

use crate::knowledge::record::Record;

/// Pictures in one report; the stills after that are listed without.
pub const MAX_PICTURES: usize = 300;
/// All pictures of one report together, in bytes of JPEG: a page that a tablet still opens.
pub const MAX_TOTAL_BYTES: usize = 24 * 1024 * 1024;
/// Largest file that is read for a picture, in bytes.
pub const MAX_FILE_BYTES: u64 = 256 * 1024 * 1024;
/// Widest and highest picture that is decoded, in pixels.
pub const MAX_SIDE_PX: u32 = 8192;
/// Most memory that one decoder may ask for, in bytes.
const MAX_DECODER_BYTES: u64 = 512 * 1024 * 1024;
/// Width and height that a picture is scaled to fit into, in pixels.
pub const FIT_PX: (u32, u32) = (480, 480);
/// JPEG quality of 100: edges and speckle stay readable at this size; chosen by eye.
const JPEG_QUALITY: u8 = 82;

/// One picture each still, by the still's `id`.
pub type Pictures = BTreeMap<String, Picture>;

/// The picture of one still.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Picture {
    /// A JPEG.
    Shown {
        /// `data:image/jpeg;base64,...`.
        data_uri: String,
        /// Width in pixels.
        width_px: u32,
        /// Height in pixels.
        height_px: u32,
    },
    /// There is none.
    NotShown {
        /// Why, in words.
        why: String,
    },
}

/// Why a still has no picture. It never stops the report, so it ends as text in `Picture::NotShown`.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
enum PictureError {
    #[error("the file cannot be read: {0}")]
    File(#[from] std::io::Error),
    #[error("this is no file")]
    NoFile,
    #[error("the file has {got} bytes; more than {MAX_FILE_BYTES} are not read for a picture")]
    TooLarge { got: u64 },
    #[error("the picture has {columns} x {rows} pixels; at most {MAX_SIDE_PX} a side are shown")]
    TooWide { columns: u32, rows: u32 },
    #[error("the picture cannot be decoded: {0}")]
    Decode(#[from] image::ImageError),
    #[error("neither a picture nor a DICOM file: {0}")]
    Dicom(#[from] dicom_object::ReadError),
    #[error("the DICOM file states no size of its picture")]
    NoSize,
    #[error("the DICOM picture cannot be decoded: {0}")]
    Pixels(#[from] dicom_pixeldata::Error),
}

/// A picture for each still; paths in the record that are not absolute start from `exam_folder`.
#[must_use]
pub fn pictures(record: &Record, exam_folder: &Path) -> Pictures {
    let mut pictures = Pictures::new();
    let (mut shown, mut bytes) = (0, 0);
    for frame in &record.frames {
        let picture = if shown >= MAX_PICTURES {
            Picture::NotShown { why: format!("a report shows at most {MAX_PICTURES} pictures") }
        } else if bytes >= MAX_TOTAL_BYTES {
            Picture::NotShown { why: "the pictures before it already fill the report".to_owned() }
        } else {
            match thumbnail(&exam_folder.join(&frame.file)) {
                Ok((jpeg, width_px, height_px)) => {
                    shown += 1;
                    bytes += jpeg.len();
                    let data_uri = format!("data:image/jpeg;base64,{}", BASE64_STANDARD.encode(jpeg));
                    Picture::Shown { data_uri, width_px, height_px }
                }
                Err(error) => Picture::NotShown { why: error.to_string() },
            }
        };
        pictures.insert(frame.id.clone(), picture);
    }
    pictures
}

fn thumbnail(path: &Path) -> Result<(Vec<u8>, u32, u32), PictureError> {
    let about = std::fs::metadata(path)?;
    if !about.is_file() {
        return Err(PictureError::NoFile);
    }
    if about.len() > MAX_FILE_BYTES {
        return Err(PictureError::TooLarge { got: about.len() });
    }
    let full = decode(path)?;
    let (width, height) = FIT_PX;
    let small = if full.width() > width || full.height() > height {
        full.resize(width, height, FilterType::Triangle)
    } else {
        full
    };
    let plain = if small.color().has_color() {
        DynamicImage::ImageRgb8(small.to_rgb8())
    } else {
        DynamicImage::ImageLuma8(small.to_luma8())
    };
    let mut jpeg = Vec::new();
    plain.write_with_encoder(JpegEncoder::new_with_quality(&mut jpeg, JPEG_QUALITY))?;
    Ok((jpeg, plain.width(), plain.height()))
}

/// The kind of file is told by its content, as scanners name files as they like.
fn decode(path: &Path) -> Result<DynamicImage, PictureError> {
    let mut bytes = Vec::new();
    File::open(path)?.take(MAX_FILE_BYTES).read_to_end(&mut bytes)?;
    let mut reader = ImageReader::new(Cursor::new(&bytes)).with_guessed_format()?;
    if reader.format().is_none() {
        return dicom(&bytes);
    }
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE_PX);
    limits.max_image_height = Some(MAX_SIDE_PX);
    limits.max_alloc = Some(MAX_DECODER_BYTES);
    reader.limits(limits);
    Ok(reader.decode()?)
}

fn dicom(bytes: &[u8]) -> Result<DynamicImage, PictureError> {
    let object: DefaultDicomObject = OpenFileOptions::new().from_reader(bytes)?;
    let side =
        |tag| object.get(tag).and_then(|element| element.to_int::<u32>().ok()).ok_or(PictureError::NoSize);
    let (rows, columns) =
        (side(dicom_dictionary_std::tags::ROWS)?, side(dicom_dictionary_std::tags::COLUMNS)?);
    if rows == 0 || columns == 0 {
        return Err(PictureError::NoSize);
    }
    if rows > MAX_SIDE_PX || columns > MAX_SIDE_PX {
        return Err(PictureError::TooWide { columns, rows });
    }
    // A cine loop is shown by its first frame.
    Ok(object.decode_pixel_data_frame(0)?.to_dynamic_image(0)?)
}
