//! Decodes a still.
//!
//! Takes: a file of a usual kind.
//! Gives: its pixels, eight bits each.
//! Never: is called in a program that must go on: a bad file may cost any memory and time, or panic in a decoder.
//! Tested in: `tests/it/picture.rs`.

use std::fs::File;
use std::io::{Cursor, Read};
use std::path::Path;

use dicom_object::{DefaultDicomObject, OpenFileOptions};
use dicom_pixeldata::{ConvertOptions, ModalityLutOption, PixelDecoder, VoiLutOption};
use image::{DynamicImage, ImageReader, Limits, RgbImage};

use crate::frames::part10::{START_BYTES, is_dicom, whole};
use crate::report::colour::{from_ybr, interleaved, is_palette, is_ybr, through_palette, unshared};
use crate::report::overlay_planes::draw_planes;
use crate::report::picture_error::{MAX_FILE_BYTES, MAX_SIDE_PX, PictureError};
use crate::report::unpacked::unpack;

/// Most memory that one decoder may ask for, in bytes.
const MAX_DECODER_BYTES: u64 = 512 * 1024 * 1024;

/// What becomes of the brightness of a DICOM picture.
#[derive(Debug, Clone, Copy)]
pub(super) enum Show {
    /// Stretched as the file says, for the eye.
    Windowed,
    /// The values as they are stored, for measuring.
    AsStored,
    /// As stored where a screen can show that and the file asks for nothing else; for copies.
    Exact,
    /// The same without what the scanner drew beside the pixels, which may be a name.
    Bare,
}

/// Decodes the file, of a loop the frame of this number, the first being 0; grey pictures as grey, all others as red, green and blue.
pub(super) fn decode_here(path: &Path, show: Show, frame: u32) -> Result<DynamicImage, PictureError> {
    let about = std::fs::metadata(path)?;
    if !about.is_file() {
        return Err(PictureError::NoFile);
    }
    if about.len() > MAX_FILE_BYTES {
        return Err(PictureError::TooLarge { got: about.len() });
    }
    let full = decode(path, show, frame)?;
    Ok(if full.color().has_color() {
        DynamicImage::ImageRgb8(full.to_rgb8())
    } else {
        DynamicImage::ImageLuma8(full.to_luma8())
    })
}

/// The kind of file is recognised by its content, as scanners name files as they like.
fn decode(path: &Path, show: Show, frame: u32) -> Result<DynamicImage, PictureError> {
    let mut bytes = Vec::new();
    File::open(path)?.take(MAX_FILE_BYTES).read_to_end(&mut bytes)?;
    // Asked first: the 128 bytes before its head may make the file a TIFF as well, of other pixels or none.
    if is_dicom(&bytes[..bytes.len().min(START_BYTES)]) {
        return dicom(&whole(bytes)?, show, frame);
    }
    let mut reader = ImageReader::new(Cursor::new(&bytes)).with_guessed_format()?;
    if reader.format().is_none() {
        return dicom(&bytes, show, frame);
    }
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE_PX);
    limits.max_image_height = Some(MAX_SIDE_PX);
    limits.max_alloc = Some(MAX_DECODER_BYTES);
    reader.limits(limits);
    Ok(reader.decode()?)
}

fn dicom(bytes: &[u8], show: Show, frame: u32) -> Result<DynamicImage, PictureError> {
    let mut object: DefaultDicomObject = OpenFileOptions::new().from_reader(bytes)?;
    let mut picture = pixels(&mut object, show, frame)?;
    if matches!(show, Show::Windowed | Show::Exact) {
        // In eight bits, so that white is white.
        if picture.color().has_color() {
            picture = DynamicImage::ImageRgb8(picture.into_rgb8());
        } else {
            picture = DynamicImage::ImageLuma8(picture.into_luma8());
        }
        draw_planes(&object, frame, &mut picture);
    }
    Ok(picture)
}

fn pixels(object: &mut DefaultDicomObject, show: Show, frame: u32) -> Result<DynamicImage, PictureError> {
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
    let frames = object.get(dicom_dictionary_std::tags::NUMBER_OF_FRAMES);
    let is_loop = frames.and_then(|element| element.to_int::<u32>().ok()).is_some_and(|frames| frames > 1);
    let frame = unpack(object, Some(frame))?;
    if let Some(pixels) = unshared(object, Some(frame)) {
        let picture = RgbImage::from_raw(columns, rows, pixels).ok_or(PictureError::NoSize)?;
        return Ok(DynamicImage::ImageRgb8(picture));
    }
    let decoded = object.decode_pixel_data_frame(frame)?;
    if is_ybr(object) && decoded.bits_allocated() == 8 {
        let mut pixels = interleaved(&decoded);
        from_ybr(&mut pixels);
        let picture = RgbImage::from_raw(columns, rows, pixels).ok_or(PictureError::NoSize)?;
        return Ok(DynamicImage::ImageRgb8(picture));
    }
    if is_palette(object) {
        let stored = decoded.to_vec_with_options::<u16>(&as_stored())?;
        let picture = through_palette(object, &stored, (columns, rows)).ok_or(PictureError::Palette)?;
        return Ok(DynamicImage::ImageRgb8(picture));
    }
    // An attribute may be there without a value.
    let window = object.get(dicom_dictionary_std::tags::WINDOW_CENTER);
    let has_window = window.is_some_and(|element| element.to_float64().is_ok());
    let show = match show {
        // Each frame stretched by itself, a loop would flicker.
        Show::Windowed if is_loop && decoded.bits_stored() == 8 && !has_window => Show::AsStored,
        Show::Exact | Show::Bare if decoded.bits_stored() == 8 && !has_window => Show::AsStored,
        other => other,
    };
    Ok(match show {
        Show::Windowed | Show::Exact | Show::Bare => decoded.to_dynamic_image(0)?,
        Show::AsStored => decoded.to_dynamic_image_with_options(0, &as_stored())?,
    })
}

fn as_stored() -> ConvertOptions {
    ConvertOptions::new().with_modality_lut(ModalityLutOption::None).with_voi_lut(VoiLutOption::Identity)
}
