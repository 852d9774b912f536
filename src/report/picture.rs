//! Small pictures of the stills, for the report.
//!
//! Takes: the stills of a `Record` and the exam folder that their paths start from.
//! Gives: `Pictures`: for each still a JPEG, or why there is none.
//! Never: changes a still; a file that cannot be shown does not stop the others.
//! Tested in: `tests/it/picture.rs`.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{Cursor, Read};
use std::path::Path;

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use dicom_object::{DefaultDicomObject, OpenFileOptions};
use dicom_pixeldata::{ConvertOptions, ModalityLutOption, PixelDecoder, VoiLutOption};
use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageFormat, ImageReader, Limits};

use crate::knowledge::record::Record;
use crate::trace::Grey;

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
        /// The file.
        jpeg: Vec<u8>,
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
pub enum PictureError {
    /// The disk refused.
    #[error("the file cannot be read: {0}")]
    File(#[from] std::io::Error),
    /// It is no file.
    #[error("this is no file")]
    NoFile,
    /// It is too large.
    #[error("the file has {got} bytes; more than {MAX_FILE_BYTES} are not read for a picture")]
    TooLarge {
        /// Its bytes.
        got: u64,
    },
    /// The picture is too wide or high.
    #[error("the picture has {columns} x {rows} pixels; at most {MAX_SIDE_PX} a side are shown")]
    TooWide {
        /// Its width.
        columns: u32,
        /// Its height.
        rows: u32,
    },
    /// The picture is damaged.
    #[error("the picture cannot be decoded: {0}")]
    Decode(#[from] image::ImageError),
    /// It is of no known kind.
    #[error("neither a picture nor a DICOM file: {0}")]
    Dicom(#[from] dicom_object::ReadError),
    /// It states no size.
    #[error("the DICOM file states no size of its picture")]
    NoSize,
    /// Its pixels cannot be decoded.
    #[error("the DICOM picture cannot be decoded: {0}")]
    Pixels(#[from] dicom_pixeldata::Error),
}

/// A picture for each still; paths in the record that are not absolute start from `exam_folder`.
#[must_use]
pub fn pictures(record: &Record, exam_folder: &Path) -> Pictures {
    pictures_told(record, exam_folder, |_| ())
}

/// The same; `told` learns how many stills were looked at so far.
pub(crate) fn pictures_told(record: &Record, exam_folder: &Path, told: impl Fn(usize)) -> Pictures {
    let mut pictures = Pictures::new();
    let (mut shown, mut bytes) = (0, 0);
    for (number, frame) in record.frames.iter().enumerate() {
        told(number);
        let picture = if shown >= MAX_PICTURES {
            Picture::NotShown { why: format!("a report shows at most {MAX_PICTURES} pictures") }
        } else if bytes >= MAX_TOTAL_BYTES {
            Picture::NotShown { why: "the pictures before it already fill the report".to_owned() }
        } else {
            match thumbnail(&exam_folder.join(&frame.file)) {
                Ok((jpeg, width_px, height_px)) => {
                    shown += 1;
                    bytes += jpeg.len();
                    Picture::Shown { jpeg, width_px, height_px }
                }
                Err(error) => Picture::NotShown { why: error.to_string() },
            }
        };
        pictures.insert(frame.id.clone(), picture);
    }
    pictures
}

/// A JPEG as an address inside a page.
pub(super) fn data_uri(jpeg: &[u8]) -> String {
    format!("data:image/jpeg;base64,{}", BASE64_STANDARD.encode(jpeg))
}

pub(crate) fn thumbnail(path: &Path) -> Result<(Vec<u8>, u32, u32), PictureError> {
    let about = std::fs::metadata(path)?;
    if !about.is_file() {
        return Err(PictureError::NoFile);
    }
    if about.len() > MAX_FILE_BYTES {
        return Err(PictureError::TooLarge { got: about.len() });
    }
    let full = decode(path, Show::Windowed)?;
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

/// What becomes of the brightness of a DICOM picture.
#[derive(Debug, Clone, Copy)]
enum Show {
    /// Stretched as the file says, for the eye.
    Windowed,
    /// The values as they are stored, for measuring.
    AsStored,
}

/// How a still is lit: what is shown as black and as white of 0 to 255, and a factor after that.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Light {
    /// Grey value shown as black.
    pub low: u8,
    /// Grey value shown as white; at least one more than `low`.
    pub high: u8,
    /// Factor on the brightness after that, 0.1 to 10.
    pub gain: f32,
}

impl Light {
    /// As the still is stored.
    pub const PLAIN: Light = Light { low: 0, high: u8::MAX, gain: 1.0 };

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 255 after clamping
    fn of(self, value: u8) -> u8 {
        let (low, span) = (f32::from(self.low), f32::from(self.high) - f32::from(self.low));
        let shown = (f32::from(value) - low) / span.max(1.0) * 255.0 * self.gain.clamp(0.1, 10.0);
        shown.round().clamp(0.0, 255.0) as u8
    }
}

/// A still as PNG in its full size, lit as wanted; the file itself stays as it is.
///
/// # Errors
/// When the file cannot be read or decoded.
pub fn png(path: &Path, light: Light) -> Result<Vec<u8>, PictureError> {
    let full = decode(path, Show::Windowed)?;
    let mut bytes = Cursor::new(Vec::new());
    if full.color().has_color() {
        let mut shown = full.to_rgb8();
        shown.iter_mut().for_each(|value| *value = light.of(*value));
        shown.write_to(&mut bytes, ImageFormat::Png)?;
    } else {
        let mut shown = full.to_luma8();
        shown.iter_mut().for_each(|value| *value = light.of(*value));
        shown.write_to(&mut bytes, ImageFormat::Png)?;
    }
    Ok(bytes.into_inner())
}

/// The grey values of a still, for tracing on it.
///
/// # Errors
/// When the file cannot be read or decoded.
pub fn grey(path: &Path) -> Result<Grey, PictureError> {
    let plain = decode(path, Show::AsStored)?.to_luma8();
    let side = |side: u32| usize::try_from(side).unwrap_or(usize::MAX);
    let (width, height) = (side(plain.width()), side(plain.height()));
    Grey::new(width, height, plain.into_raw()).ok_or(PictureError::NoSize)
}

/// The kind of file is told by its content, as scanners name files as they like.
fn decode(path: &Path, show: Show) -> Result<DynamicImage, PictureError> {
    let mut bytes = Vec::new();
    File::open(path)?.take(MAX_FILE_BYTES).read_to_end(&mut bytes)?;
    // Asked first: the 128 bytes before this may make the file a TIFF as well, of other pixels or none.
    if bytes.get(128..132) == Some(b"DICM") {
        return dicom(&bytes, show);
    }
    let mut reader = ImageReader::new(Cursor::new(&bytes)).with_guessed_format()?;
    if reader.format().is_none() {
        return dicom(&bytes, show);
    }
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE_PX);
    limits.max_image_height = Some(MAX_SIDE_PX);
    limits.max_alloc = Some(MAX_DECODER_BYTES);
    reader.limits(limits);
    Ok(reader.decode()?)
}

fn dicom(bytes: &[u8], show: Show) -> Result<DynamicImage, PictureError> {
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
    let decoded = object.decode_pixel_data_frame(0)?;
    Ok(match show {
        Show::Windowed => decoded.to_dynamic_image(0)?,
        Show::AsStored => {
            let stored = ConvertOptions::new()
                .with_modality_lut(ModalityLutOption::None)
                .with_voi_lut(VoiLutOption::Identity);
            decoded.to_dynamic_image_with_options(0, &stored)?
        }
    })
}
