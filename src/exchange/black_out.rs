//! What is blackened in pictures that are handed on without names.
//!
//! Takes: rectangles, set for this export or once for each scanner, and a picture or a DICOM object.
//! Gives: the same with the rectangles black, whatever its pixels mean; pixels of a DICOM object lie plainly afterwards.
//! Never: leaves a rectangle as it was where its black cannot be told: that is an error; decodes in the program itself.
//! Tested in: `tests/it/exchange/black_out.rs`.

use std::ffi::{OsStr, OsString};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use dicom_core::value::PrimitiveValue;
use dicom_core::{DataElement, Tag, VR};
use dicom_dictionary_std::{tags, uids};
use dicom_object::{DefaultDicomObject, InMemDicomObject, OpenFileOptions};
use dicom_pixeldata::{DecodedPixelData, PhotometricInterpretation, PixelDecoder, PixelRepresentation};
use dicom_transfer_syntax_registry::entries::EXPLICIT_VR_LITTLE_ENDIAN;
use image::DynamicImage;

use crate::frames::element::text_of;
use crate::frames::part10;
use crate::report::apart::{ChildLimits, apart, given};
use crate::report::colour::{darkest, from_ybr, interleaved, is_palette, is_ybr, unshared};
use crate::report::picture::PictureError;
use crate::report::unpacked::unpack;

/// The first argument of the program that blackens.
const BLACKEN: &str = "--blacken-still";
/// What that program may have: all frames of a loop are in its memory, some of them twice.
const LIMITS: ChildLimits = ChildLimits { mib: 4096, seconds: 60, bytes: 1 << 30 };
/// The attributes that blackening changes.
const CHANGED: [Tag; 6] = [
    tags::SAMPLES_PER_PIXEL,
    tags::PHOTOMETRIC_INTERPRETATION,
    tags::PLANAR_CONFIGURATION,
    tags::NUMBER_OF_FRAMES,
    tags::BITS_ALLOCATED,
    tags::PIXEL_DATA,
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

/// The rectangles of one scanner; what it does not state fits every scanner.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ScannerBlackOut {
    /// Manufacturer, as its stills state it.
    pub manufacturer: Option<String>,
    /// Manufacturer's Model Name.
    pub model: Option<String>,
    /// Station Name.
    pub station: Option<String>,
    /// Device Serial Number.
    pub serial: Option<String>,
    /// What is blackened.
    pub rectangles: Vec<Rectangle>,
}

/// What is blackened in which still.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct BlackOut {
    /// In all of them; what is set for the scanners does not count then.
    pub everywhere: Option<Rectangle>,
    /// By scanner.
    pub scanners: Vec<ScannerBlackOut>,
}

/// Why nothing can be blackened.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BlackOutError {
    /// The still cannot be read.
    #[error("the still cannot be read: {0}")]
    Read(#[from] dicom_object::ReadError),
    /// Its file cannot be read.
    #[error("the still cannot be read: {0}")]
    File(#[from] std::io::Error),
    /// What was blackened cannot be written.
    #[error("the blackened picture cannot be written: {0}")]
    Write(#[from] dicom_object::WriteError),
    /// Its pixels cannot be unpacked.
    #[error(transparent)]
    Packed(#[from] PictureError),
    /// Its pixels cannot be decoded.
    #[error("the picture cannot be decoded: {0}")]
    Pixels(#[from] dicom_pixeldata::Error),
    /// A pixel has another number of samples, or of bits, than can be blackened for sure.
    #[error("a pixel of {samples} samples of {bits} bits cannot be blackened; leave this still out")]
    Layout {
        /// Samples in a pixel.
        samples: u16,
        /// Bits of a sample as stored.
        bits: u16,
    },
}

impl Rectangle {
    /// As an argument of a program.
    fn word(self) -> String {
        [self.left, self.top, self.width, self.height].map(|number| number.to_string()).join(",")
    }

    /// The rectangle of such an argument.
    fn of_word(word: &str) -> Option<Rectangle> {
        let numbers: Vec<u32> = word.split(',').map(str::parse).collect::<Result<_, _>>().ok()?;
        let [left, top, width, height] = numbers[..] else { return None };
        Some(Rectangle { left, top, width, height })
    }

    const fn holds(self, x: u32, y: u32) -> bool {
        x >= self.left && y >= self.top && x - self.left < self.width && y - self.top < self.height
    }
}

impl ScannerBlackOut {
    /// Whether a still with this head is of the scanner; one without a head is where nothing is stated.
    fn fits(&self, head: Option<&InMemDicomObject>) -> bool {
        let stated = [
            (&self.manufacturer, tags::MANUFACTURER),
            (&self.model, tags::MANUFACTURER_MODEL_NAME),
            (&self.station, tags::STATION_NAME),
            (&self.serial, tags::DEVICE_SERIAL_NUMBER),
        ];
        stated.iter().all(|(wanted, tag)| {
            let own = || head.and_then(|head| text_of(head, *tag)).unwrap_or_default();
            wanted.as_ref().is_none_or(|wanted| wanted.trim().eq_ignore_ascii_case(&own()))
        })
    }
}

impl BlackOut {
    /// What is blackened in a still with this head; a picture that is no DICOM file has none.
    pub(super) fn of(&self, head: Option<&InMemDicomObject>) -> Vec<Rectangle> {
        match self.everywhere {
            Some(everywhere) => vec![everywhere],
            None => {
                let of_scanner = self.scanners.iter().filter(|scanner| scanner.fits(head));
                of_scanner.flat_map(|scanner| scanner.rectangles.iter().copied()).collect()
            }
        }
    }
}

/// Blackens rectangles of a picture.
pub(super) fn blacken_picture(black: &[Rectangle], picture: &DynamicImage) -> DynamicImage {
    let mut out = picture.to_rgb8();
    for (x, y, pixel) in out.enumerate_pixels_mut() {
        if black.iter().any(|black| black.holds(x, y)) {
            *pixel = image::Rgb([0; 3]);
        }
    }
    if picture.color().has_color() {
        DynamicImage::ImageRgb8(out)
    } else {
        DynamicImage::ImageLuma8(DynamicImage::ImageRgb8(out).to_luma8())
    }
}

/// Blackens a still if that is what this program was started for; gives the code to end with.
#[must_use]
pub fn blackening(args: impl IntoIterator<Item = OsString>) -> Option<ExitCode> {
    let mut args = args.into_iter().skip(1);
    if args.next()? != BLACKEN {
        return None;
    }
    let black = args.next()?;
    let words = black.to_str()?.split(';').filter(|word| !word.is_empty());
    let black: Vec<Rectangle> = words.map(Rectangle::of_word).collect::<Option<_>>()?;
    let path = PathBuf::from(args.next()?);
    let made = blackened_here(&black, &path).and_then(|changed| {
        let mut bytes = Vec::new();
        changed.write_dataset_with_ts(&mut bytes, &EXPLICIT_VR_LITTLE_ENDIAN.erased())?;
        Ok(bytes)
    });
    Some(given(made))
}

/// Puts blackened pixels into the object of the still at `path`.
///
/// # Errors
/// When they cannot be decoded, or a palette has no colours.
pub(super) fn blacken_object(
    black: &[Rectangle],
    path: &Path,
    full: &mut DefaultDicomObject,
) -> Result<(), BlackOutError> {
    for element in blackened(black, path)? {
        full.put(element);
    }
    uids::EXPLICIT_VR_LITTLE_ENDIAN.clone_into(&mut full.meta_mut().transfer_syntax);
    Ok(())
}

/// The attributes of a still's pixels with rectangles of every frame black, decoded in a program of its own.
///
/// # Errors
/// When they cannot be decoded, or a palette has no colours.
pub fn blackened(black: &[Rectangle], path: &Path) -> Result<InMemDicomObject, BlackOutError> {
    let words: Vec<String> = black.iter().map(|black| black.word()).collect();
    let words = words.join(";");
    match apart(&[OsStr::new(BLACKEN), OsStr::new(&words), path.as_os_str()], LIMITS)? {
        Some(bytes) => {
            Ok(InMemDicomObject::read_dataset_with_ts(&bytes[..], &EXPLICIT_VR_LITTLE_ENDIAN.erased())?)
        }
        None => blackened_here(black, path),
    }
}

fn blackened_here(black: &[Rectangle], path: &Path) -> Result<InMemDicomObject, BlackOutError> {
    let mut full = OpenFileOptions::new().from_reader(part10::open(path)?)?;
    blacken_pixels(black, &mut full)?;
    let changed = CHANGED.iter().filter_map(|tag| full.element_opt(*tag).ok().flatten().cloned());
    Ok(InMemDicomObject::from_element_iter(changed))
}

/// Decodes the pixels of every frame and blackens rectangles of each.
fn blacken_pixels(black: &[Rectangle], full: &mut DefaultDicomObject) -> Result<(), BlackOutError> {
    unpack(full, None)?;
    if let Some(pixels) = unshared(full, None) {
        full.put(DataElement::new(tags::PHOTOMETRIC_INTERPRETATION, VR::CS, PrimitiveValue::from("RGB")));
        full.put(DataElement::new(tags::PIXEL_DATA, VR::OB, PrimitiveValue::U8(pixels.into())));
    }
    let decoded = full.decode_pixel_data()?;
    let mut pixels = interleaved(&decoded);
    let photometric = if is_ybr(full) && decoded.bits_allocated() == 8 {
        from_ybr(&mut pixels);
        PhotometricInterpretation::Rgb
    } else {
        decoded.photometric_interpretation().clone()
    };
    let ink = if is_palette(full) {
        vec![darkest(full).ok_or(PictureError::Palette)?]
    } else {
        ink(&decoded, &photometric)
    };
    let (samples, bits) = (decoded.samples_per_pixel(), decoded.bits_allocated());
    if !matches!((samples, bits), (1 | 3, 8 | 16)) {
        return Err(BlackOutError::Layout { samples, bits });
    }
    let a_sample = usize::from(bits.div_ceil(8));
    let ink: Vec<u8> = ink.iter().flat_map(|value| value.to_le_bytes().into_iter().take(a_sample)).collect();
    let side = |side: u32| usize::try_from(side).unwrap_or(usize::MAX);
    let a_line = side(decoded.columns()) * ink.len();
    for frame in pixels.chunks_exact_mut((a_line * side(decoded.rows())).max(1)) {
        for (line, y) in frame.chunks_exact_mut(a_line).zip(0_u32..) {
            for (pixel, x) in line.chunks_exact_mut(ink.len()).zip(0_u32..) {
                if black.iter().any(|black| black.holds(x, y)) {
                    pixel.copy_from_slice(&ink);
                }
            }
        }
    }
    let stored = full.element(tags::BITS_STORED).ok().and_then(|element| element.to_int::<usize>().ok());
    clear_spare_bits(&mut pixels, a_sample, stored.unwrap_or(8 * a_sample));
    if pixels.len() % 2 == 1 {
        pixels.push(0);
    }
    put(full, &pixels, &photometric, samples, bits);
    Ok(())
}

/// Takes away what lies in bits above the `stored` ones of a sample of `bytes`: there older scanners put letters
/// (PS3.5-2004, 8.1.2).
fn clear_spare_bits(pixels: &mut [u8], bytes: usize, stored: usize) {
    let masks: Vec<u8> = (0..bytes)
        .map(|byte| match stored.saturating_sub(8 * byte) {
            0 => 0,
            kept @ 1..=7 => (1 << kept) - 1,
            _ => u8::MAX,
        })
        .collect();
    for sample in pixels.chunks_exact_mut(bytes) {
        sample.iter_mut().zip(&masks).for_each(|(byte, mask)| *byte &= mask);
    }
}

/// The object with these pixels, as they lie.
fn put(
    full: &mut DefaultDicomObject,
    pixels: &[u8],
    photometric: &PhotometricInterpretation,
    samples: u16,
    bits: u16,
) {
    let number = |tag: Tag, number: u16| DataElement::new(tag, VR::US, PrimitiveValue::from(number));
    full.put(number(tags::SAMPLES_PER_PIXEL, samples));
    full.put(number(tags::BITS_ALLOCATED, bits));
    full.put(DataElement::new(
        tags::PHOTOMETRIC_INTERPRETATION,
        VR::CS,
        PrimitiveValue::from(photometric.as_str()),
    ));
    if samples > 1 {
        full.put(number(tags::PLANAR_CONFIGURATION, 0));
    }
    let vr = if bits > 8 { VR::OW } else { VR::OB };
    full.put(DataElement::new(tags::PIXEL_DATA, vr, PrimitiveValue::U8(pixels.to_vec().into())));
    uids::EXPLICIT_VR_LITTLE_ENDIAN.clone_into(&mut full.meta_mut().transfer_syntax);
}

/// Black in the samples of one pixel (PS3.3 C.7.6.3.1.2).
fn ink(decoded: &DecodedPixelData<'_>, photometric: &PhotometricInterpretation) -> Vec<u16> {
    let bits = u32::from(decoded.bits_stored()).clamp(1, 16);
    let is_signed = decoded.pixel_representation() == PixelRepresentation::Signed;
    // Values below nothing have all bits from the sign on.
    let lowest = if is_signed { u16::MAX << (bits - 1) } else { 0 };
    let highest = u16::MAX >> (16 - bits + u32::from(is_signed));
    match photometric {
        PhotometricInterpretation::Monochrome1 => vec![highest],
        PhotometricInterpretation::Monochrome2 => vec![lowest],
        other => match other.as_str() {
            // Of more than eight bits; no colour is in the middle.
            name if name.starts_with("YBR_FULL") => vec![0, 1 << (bits - 1), 1 << (bits - 1)],
            _ => vec![0; usize::from(decoded.samples_per_pixel())],
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten of sixteen bits hold the grey value, as PS3.5-2004 8.1.2 draws it: the others were planes of letters.
    #[test]
    fn bits_above_the_stored_ones_go() {
        let mut pixels = [0xFF, 0xFF, 0x34, 0xF2];
        clear_spare_bits(&mut pixels, 2, 10);
        assert_eq!(pixels, [0xFF, 0x03, 0x34, 0x02]);
        let mut whole = [0xAB, 0xCD];
        clear_spare_bits(&mut whole, 1, 8);
        assert_eq!(whole, [0xAB, 0xCD]);
        let mut byte_of_word = [0xAB, 0xCD];
        clear_spare_bits(&mut byte_of_word, 2, 8);
        assert_eq!(byte_of_word, [0xAB, 0]);
    }
}
