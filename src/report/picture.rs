//! Small pictures of the stills, for the report.
//!
//! Takes: the stills of a `Record` and the exam folder that their paths start from.
//! Gives: `Pictures`: for each still a JPEG, or why there is none.
//! Never: changes a still; a file that cannot be shown does not stop the others.
//! Tested in: `tests/it/picture.rs`.

use std::collections::BTreeMap;
use std::io::{Cursor, Read as _};
use std::path::Path;

use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageFormat};

use crate::exam::call::Problem;
use crate::exam::event::Frame;
use crate::exam::no_picture::no_picture;
use crate::frames::image::is_cut_jpeg;
use crate::knowledge::record::{FrameRow, Record};
use crate::report::apart::decode;
use crate::report::decode::Show;
use crate::trace::Grey;

pub use crate::report::picture_error::{MAX_FILE_BYTES, MAX_SIDE_PX, PictureError};

/// Pictures in one report; the stills after that are listed without.
pub const MAX_PICTURES: usize = 300;
/// All pictures of one report together, in bytes of JPEG: a page that a tablet still opens.
pub const MAX_TOTAL_BYTES: usize = 24 * 1024 * 1024;
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

/// A picture for each still; paths in the record that are not absolute start from `exam_folder`.
#[must_use]
pub fn pictures(record: &Record, exam_folder: &Path) -> Pictures {
    pictures_counted(record, exam_folder, |_| ())
}

/// The same; `progress` learns how many stills were looked at so far.
pub(crate) fn pictures_counted(record: &Record, exam_folder: &Path, progress: impl Fn(usize)) -> Pictures {
    let mut pictures = Pictures::new();
    let (mut shown, mut bytes) = (0, 0);
    for (number, frame) in record.frames.iter().enumerate() {
        progress(number);
        let picture = if shown >= MAX_PICTURES {
            Picture::NotShown { why: format!("a report shows at most {MAX_PICTURES} pictures") }
        } else if bytes >= MAX_TOTAL_BYTES {
            Picture::NotShown { why: "the report has no room for more pictures".to_owned() }
        } else {
            let file = frame.paired_file(exam_folder).map_err(PictureError::from);
            match file.and_then(|path| thumbnail(&path, frame_index(frame.frame_number))) {
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

/// Why `path`, the file of this still, holds no picture that can be shown; none where it holds one, is a video, or is larger
/// than what is decoded here.
pub(crate) fn lacking(still: &Frame, path: &Path) -> Option<Problem> {
    let is_too_wide = still.size_px.is_some_and(|(columns, rows)| columns.max(rows) > MAX_SIDE_PX);
    if is_too_wide || std::fs::metadata(path).map_or(true, |about| about.len() > MAX_FILE_BYTES) {
        return None;
    }
    match decode(path, Show::AsStored, 0) {
        Ok(_) if begins_as_jpeg(path) && std::fs::read(path).is_ok_and(|bytes| is_cut_jpeg(&bytes)) => {
            Some(no_picture("the file ends before its picture does"))
        }
        // That it took too long says nothing of the file: the machine may have been busy.
        Ok(_)
        | Err(
            PictureError::Video(_)
            | PictureError::TooMuch { .. }
            | PictureError::TooWide { .. }
            | PictureError::TooLarge { .. }
            | PictureError::File(_),
        ) => None,
        Err(why) => Some(no_picture(&why.to_string())),
    }
}

/// Most stills are none, and large: only a JPEG is read once more.
fn begins_as_jpeg(path: &Path) -> bool {
    let mut start = [0; 2];
    std::fs::File::open(path).and_then(|mut file| file.read_exact(&mut start)).is_ok()
        && start == [0xff, 0xd8]
}

/// A JPEG as an address inside a page.
pub(super) fn data_uri(jpeg: &[u8]) -> String {
    format!("data:image/jpeg;base64,{}", BASE64_STANDARD.encode(jpeg))
}

/// A small picture; `frame` counts from 0.
pub(crate) fn thumbnail(path: &Path, frame: u32) -> Result<(Vec<u8>, u32, u32), PictureError> {
    let full = decode(path, Show::Windowed, frame)?;
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

/// The index of a frame that people count from 1; none is the first.
pub(crate) fn frame_index(number: Option<u32>) -> u32 {
    number.unwrap_or(1).saturating_sub(1)
}

/// A still as PNG in its full size, lit as wanted, of a loop the frame of this index; the file itself stays as it is.
///
/// # Errors
/// When the file cannot be read or decoded.
pub fn png(path: &Path, frame: u32, light: Light) -> Result<Vec<u8>, PictureError> {
    let full = decode(path, Show::Windowed, frame)?;
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

/// A still in its full size, as it is shown, if its file is the one that was paired.
pub(crate) fn paired(frame: &FrameRow, exam_folder: &Path) -> Result<DynamicImage, PictureError> {
    decode(&frame.paired_file(exam_folder)?, Show::Exact, 0)
}

/// The same without what its scanner drew beside the pixels: for copies that must name nobody.
pub(crate) fn paired_bare(frame: &FrameRow, exam_folder: &Path) -> Result<DynamicImage, PictureError> {
    decode(&frame.paired_file(exam_folder)?, Show::Bare, 0)
}

/// The grey values of a still, of a loop those of the frame of this index, for tracing on it.
///
/// # Errors
/// When the file cannot be read or decoded.
pub fn grey(path: &Path, frame: u32) -> Result<Grey, PictureError> {
    let plain = decode(path, Show::AsStored, frame)?.to_luma8();
    let side = |side: u32| usize::try_from(side).unwrap_or(usize::MAX);
    let (width, height) = (side(plain.width()), side(plain.height()));
    Grey::new(width, height, plain.into_raw()).ok_or(PictureError::NoSize)
}
