//! DICOM pictures in JPEG-LS, laid out plainly, so that everything else reads them as it reads any other.
//!
//! Takes: a DICOM object.
//! Gives: the same object with its pixels as they are, in explicit little endian.
//! Never: changes an object of another transfer syntax.
//! Tested in: `tests/it/picture.rs`.

use dicom_core::value::{PrimitiveValue, Value};
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::DefaultDicomObject;

use crate::report::jpeg_ls::{Samples, decode};
use crate::report::picture_error::{MAX_SIDE_PX, PictureError};

/// Tag and length before each piece (PS3.5 A.4).
const ITEM_HEAD_BYTES: u32 = 8;
/// Start of image, and the marker after it (ISO/IEC 10918-1, B.1.1.3).
const PICTURE_BEGINS: [u8; 3] = [0xFF, 0xD8, 0xFF];

/// Unpacks the frame of this number, the first being 0, or all; gives the number under which it is found afterwards.
///
/// # Errors
/// When the pixels are in JPEG-LS and cannot be decoded.
pub(crate) fn unpack(object: &mut DefaultDicomObject, frame: Option<u32>) -> Result<u32, PictureError> {
    let asked = frame.unwrap_or(0);
    let syntax = object.meta().transfer_syntax().trim_end_matches('\0');
    if ![uids::JPEGLS_LOSSLESS, uids::JPEGLS_NEAR_LOSSLESS].contains(&syntax) {
        return Ok(asked);
    }
    let pictures = pictures(object)?;
    let wanted = match frame {
        Some(frame) => {
            let one = usize::try_from(frame).ok().and_then(|frame| pictures.get(frame));
            std::slice::from_ref(one.ok_or(PictureError::JpegLs("there is no such frame"))?)
        }
        None => pictures.as_slice(),
    };
    let is_wide = number(object, tags::BITS_ALLOCATED) == Some(16);
    let mut bytes = Vec::new();
    for picture in wanted {
        let side_max = usize::try_from(MAX_SIDE_PX).unwrap_or(usize::MAX);
        let samples = decode(picture, side_max).map_err(PictureError::JpegLs)?;
        if !is_as_stated(object, &samples) {
            return Err(PictureError::JpegLs("its size is not the one that the object states"));
        }
        for value in samples.values {
            match u8::try_from(value) {
                _ if is_wide => bytes.extend(value.to_le_bytes()),
                Ok(value) => bytes.push(value),
                Err(_) => {
                    return Err(PictureError::JpegLs("its samples have more bits than the object states"));
                }
            }
        }
    }
    let frames = wanted.len().to_string();
    if bytes.len() % 2 == 1 {
        bytes.push(0);
    }
    let vr = if is_wide { VR::OW } else { VR::OB };
    object.put(DataElement::new(tags::PIXEL_DATA, vr, PrimitiveValue::U8(bytes.into())));
    object.put(DataElement::new(tags::NUMBER_OF_FRAMES, VR::IS, PrimitiveValue::from(frames)));
    if number(object, tags::SAMPLES_PER_PIXEL) != Some(1) {
        object.put(DataElement::new(tags::PLANAR_CONFIGURATION, VR::US, PrimitiveValue::from(0_u16)));
    }
    uids::EXPLICIT_VR_LITTLE_ENDIAN.clone_into(&mut object.meta_mut().transfer_syntax);
    Ok(0)
}

/// The bytes of each frame (PS3.5 A.4): in one piece or in several, which the offset table or their beginnings tell apart.
fn pictures(object: &DefaultDicomObject) -> Result<Vec<Vec<u8>>, PictureError> {
    let pixels = object.element_opt(tags::PIXEL_DATA).ok().flatten();
    let Some(Value::PixelSequence(pixels)) = pixels.map(|pixels| pixels.value()) else {
        return Ok(Vec::new());
    };
    let pieces = pixels.fragments();
    match number(object, tags::NUMBER_OF_FRAMES).unwrap_or(1) {
        0 | 1 => Ok(vec![pieces.concat()]),
        frames if frames == pieces.len() => Ok(pieces.to_vec()),
        frames => {
            let table = pixels.offset_table();
            let mut at = 0;
            let by_table = together(pieces, |piece| {
                let is_first = table.contains(&at);
                at += ITEM_HEAD_BYTES + u32::try_from(piece.len()).unwrap_or(u32::MAX - at);
                is_first
            });
            let by_beginning = together(pieces, |piece| piece.starts_with(&PICTURE_BEGINS));
            let found = [by_table, by_beginning].into_iter().find(|found| found.len() == frames);
            found.ok_or(PictureError::JpegLs("its pieces cannot be assigned to frames"))
        }
    }
}

/// Pieces put together, each frame beginning with one that `is_first`.
fn together(pieces: &[Vec<u8>], mut is_first: impl FnMut(&[u8]) -> bool) -> Vec<Vec<u8>> {
    let mut frames: Vec<Vec<u8>> = Vec::new();
    for piece in pieces {
        let begins = is_first(piece);
        match frames.last_mut().filter(|_| !begins) {
            Some(frame) => frame.extend(piece),
            None => frames.push(piece.clone()),
        }
    }
    frames
}

fn is_as_stated(object: &DefaultDicomObject, samples: &Samples) -> bool {
    let stated = [tags::COLUMNS, tags::ROWS, tags::SAMPLES_PER_PIXEL].map(|tag| number(object, tag));
    stated == [Some(samples.columns), Some(samples.rows), Some(samples.components)]
}

fn number(object: &DefaultDicomObject, tag: Tag) -> Option<usize> {
    object.element_opt(tag).ok().flatten()?.to_int().ok()
}
