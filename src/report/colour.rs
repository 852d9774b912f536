//! Colours that the decoder leaves as they are stored: palettes, and colours shared by two pixels.
//!
//! Takes: a DICOM object, and for a palette the stored values of a picture.
//! Gives: red, green and blue, eight bits each, by rows.
//! Never: guesses; a palette that is cut short, or is written in a way that is not read here, is an error.
//! Tested in: `tests/it/picture.rs`.

use dicom_core::Tag;
use dicom_dictionary_std::{tags, uids};
use dicom_object::{DefaultDicomObject, InMemDicomObject};
use dicom_pixeldata::{DecodedPixelData, PlanarConfiguration};
use image::RgbImage;

use super::segments::unfolded;

/// Transfer syntaxes in which pixels lie as they are.
const PLAIN: [&str; 3] =
    [uids::EXPLICIT_VR_LITTLE_ENDIAN, uids::IMPLICIT_VR_LITTLE_ENDIAN, "1.2.840.10008.1.2.2"];

/// Descriptor, data and data in segments of the three palettes (PS3.3 C.7.6.3.1.5, C.7.6.3.1.6 and C.7.9.2).
const PALETTES: [[Tag; 3]; 3] = [
    [
        tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
        tags::RED_PALETTE_COLOR_LOOKUP_TABLE_DATA,
        tags::SEGMENTED_RED_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    ],
    [
        tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
        tags::GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA,
        tags::SEGMENTED_GREEN_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    ],
    [
        tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DESCRIPTOR,
        tags::BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA,
        tags::SEGMENTED_BLUE_PALETTE_COLOR_LOOKUP_TABLE_DATA,
    ],
];

/// What the pixels of an object are, in the words of Photometric Interpretation.
fn kind(object: &InMemDicomObject) -> String {
    let stated = object.element_opt(tags::PHOTOMETRIC_INTERPRETATION).ok().flatten();
    stated.and_then(|element| element.to_str().ok()).unwrap_or_default().trim().to_owned()
}

fn number(object: &InMemDicomObject, tag: Tag) -> Option<usize> {
    object.element_opt(tag).ok().flatten()?.to_int().ok()
}

/// Whether its values are places in a palette.
pub(crate) fn is_palette(object: &InMemDicomObject) -> bool {
    kind(object) == "PALETTE COLOR"
}

/// The picture of these stored values, each looked up in the object's palettes; none where a palette is missing or cut short.
pub(crate) fn through_palette(
    object: &InMemDicomObject,
    stored: &[u16],
    (columns, rows): (u32, u32),
) -> Option<RgbImage> {
    let [red, green, blue] = palettes(object)?;
    let pixels = stored.iter().flat_map(|value| [&red, &green, &blue].map(|palette| palette.at(*value)));
    RgbImage::from_raw(columns, rows, pixels.collect())
}

/// One colour of a palette, eight bits each.
struct Palette {
    first: u16,
    values: Vec<u8>,
}

impl Palette {
    /// Values before the first take that, values behind the last the last.
    fn at(&self, stored: u16) -> u8 {
        let idx = usize::from(stored.saturating_sub(self.first));
        self.values[idx.min(self.values.len() - 1)]
    }
}

fn palettes(object: &InMemDicomObject) -> Option<[Palette; 3]> {
    let [Some(red), Some(green), Some(blue)] = PALETTES.map(|tags| palette(object, tags)) else {
        return None;
    };
    Some([red, green, blue])
}

/// The stored value whose colour in the object's palettes is the darkest; none where a palette is missing or cut short.
pub(crate) fn darkest(object: &InMemDicomObject) -> Option<u16> {
    let palettes = palettes(object)?;
    let first = palettes[0].first;
    let count = u16::try_from(palettes[0].values.len() - 1).unwrap_or(u16::MAX);
    let stored = (0..=count).map(|idx| first.saturating_add(idx));
    stored.min_by_key(|value| palettes.iter().map(|palette| u32::from(palette.at(*value))).sum::<u32>())
}

/// Whether its pixels are greys and colour differences that no decoder turns into colours: plain or run-length coded.
///
/// Asked after `unshared`: a colour that is shared only by its name is there for each pixel.
pub(crate) fn is_ybr(object: &DefaultDicomObject) -> bool {
    let syntax = object.meta().transfer_syntax().trim_end_matches('\0');
    (PLAIN.contains(&syntax) || syntax == uids::RLE_LOSSLESS) && kind(object).starts_with("YBR_FULL")
}

/// The samples of each pixel side by side, of all decoded frames.
pub(crate) fn interleaved(decoded: &DecodedPixelData<'_>) -> Vec<u8> {
    let (samples, bytes) = (usize::from(decoded.samples_per_pixel()), decoded.data());
    let a_sample = usize::from(decoded.bits_allocated().div_ceil(8));
    if samples == 1 || decoded.planar_configuration() == PlanarConfiguration::Standard {
        return bytes.to_vec();
    }
    let side = |side: u32| usize::try_from(side).unwrap_or(usize::MAX);
    let a_plane = side(decoded.columns()) * side(decoded.rows()) * a_sample;
    let mut out = Vec::with_capacity(bytes.len());
    for frame in bytes.chunks_exact((a_plane * samples).max(1)) {
        for at in (0..a_plane).step_by(a_sample.max(1)) {
            for plane in frame.chunks_exact(a_plane) {
                out.extend(&plane[at..at + a_sample]);
            }
        }
    }
    out
}

/// Red, green and blue of each three bytes that are a grey and colour differences.
pub(crate) fn from_ybr(pixels: &mut [u8]) {
    for pixel in pixels.chunks_exact_mut(3) {
        pixel.copy_from_slice(&rgb(pixel[0], pixel[1], pixel[2]));
    }
}

fn palette(object: &InMemDicomObject, [descriptor, data, segments]: [Tag; 3]) -> Option<Palette> {
    let about: Vec<u16> = object.element_opt(descriptor).ok()??.to_multi_int().ok()?;
    let [entries, first, bits] = about[..] else { return None };
    // 0 stands for 65,536, which 16 bits cannot hold.
    let entries = if entries == 0 { 1 << 16 } else { usize::from(entries) };
    let bytes_of = |tag| object.element_opt(tag).ok().flatten()?.to_bytes().ok();
    let Some(bytes) = bytes_of(data) else {
        let values = unfolded(&bytes_of(segments)?, bits)?;
        return (values.len() >= entries).then(|| Palette { first, values: values[..entries].to_vec() });
    };
    let values: Vec<u8> = match bits {
        // Some write eight bits into a word each.
        8 if bytes.len() >= 2 * entries => bytes.chunks_exact(2).map(|word| word[0]).collect(),
        8 => bytes.to_vec(),
        // The upper half of a word is what a screen can show.
        16 => bytes.chunks_exact(2).map(|word| word[1]).collect(),
        _ => return None,
    };
    (values.len() >= entries).then(|| Palette { first, values: values[..entries].to_vec() })
}

/// Red, green and blue where two pixels share their colour and nothing is compressed; none of other objects.
///
/// Of all frames, or of the one of this number, the first being 0. Stored are two greys, then the blue and the red
/// difference of both (PS3.3 C.7.6.3.1.2).
pub(crate) fn unshared(object: &DefaultDicomObject, frame: Option<u32>) -> Option<Vec<u8>> {
    let syntax = object.meta().transfer_syntax().trim_end_matches('\0');
    let rgb = match kind(object).as_str() {
        "YBR_FULL_422" => rgb,
        "YBR_PARTIAL_422" => rgb_of_partial,
        _ => return None,
    };
    if !PLAIN.contains(&syntax) {
        return None;
    }
    let a_frame = number(object, tags::COLUMNS)?.checked_mul(number(object, tags::ROWS)?)?.checked_mul(2)?;
    let size = a_frame.checked_mul(number(object, tags::NUMBER_OF_FRAMES).unwrap_or(1).max(1))?;
    let bytes = object.element_opt(tags::PIXEL_DATA).ok()??.to_bytes().ok()?;
    // Longer than that, no colour is shared, whatever the name says; a byte may be added to make the length even.
    if bytes.len() < size || bytes.len() > size + 1 {
        return None;
    }
    let shared = match frame {
        Some(frame) => {
            let from = a_frame.checked_mul(usize::try_from(frame).ok()?)?;
            bytes.get(from..from.checked_add(a_frame)?)?
        }
        None => &bytes[..size],
    };
    let pairs = shared.chunks_exact(4).map(|two| [rgb(two[0], two[2], two[3]), rgb(two[1], two[2], two[3])]);
    Some(pairs.flatten().flatten().collect())
}

/// From grey, blue and red difference (PS3.3 C.7.6.3.1.2, after ITU-R BT.601).
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // kept within a byte
fn rgb(grey: u8, blue: u8, red: u8) -> [u8; 3] {
    let (grey, blue, red) = (f64::from(grey), f64::from(blue) - 128.0, f64::from(red) - 128.0);
    let colours = [grey + 1.402 * red, grey - 0.344_136 * blue - 0.714_136 * red, grey + 1.772 * blue];
    colours.map(|colour| colour.round().clamp(0.0, 255.0) as u8)
}

/// The same where black is 16 and white 235, as until the edition of 2013 (PS3.3-2011 C.7.6.3.1.2, after ITU-R BT.601).
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // kept within a byte
fn rgb_of_partial(grey: u8, blue: u8, red: u8) -> [u8; 3] {
    let grey = 255.0 / 219.0 * (f64::from(grey) - 16.0);
    let (blue, red) = (255.0 / 224.0 * (f64::from(blue) - 128.0), 255.0 / 224.0 * (f64::from(red) - 128.0));
    let colours = [grey + 1.402 * red, grey - 0.344_136 * blue - 0.714_136 * red, grey + 1.772 * blue];
    colours.map(|colour| colour.round().clamp(0.0, 255.0) as u8)
}
