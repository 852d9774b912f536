//! Overlay planes of a DICOM picture: letters, rulers and outlines that a scanner keeps beside its pixels (PS3.3 C.9.2).
//!
//! Takes: an object, the number of a frame, and its picture.
//! Gives: the picture with the planes drawn in white; of a region of interest its edge, for the inside is what it is about.
//! Never: draws where values are measured or names must not appear; a plane that does not fit is left out.
//! Tested in: `tests/it/overlay_planes.rs`, against pydicom.

use dicom_core::Tag;
use dicom_dictionary_std::tags;
use dicom_object::DefaultDicomObject;
use image::{DynamicImage, GenericImage as _, Rgba};

use crate::frames::dicom::{has_plain_words, overlay_groups};
use crate::frames::element::{element, int_of};

const WHITE: Rgba<u8> = Rgba([u8::MAX; 4]);

/// One plane, as far as it is of one frame.
struct Plane {
    columns: usize,
    rows: usize,
    /// Column and row of its first corner in the picture, counted from 0; it may lie outside.
    left: i64,
    top: i64,
    /// Only its edge is drawn.
    is_region: bool,
    /// One for each pixel, by rows.
    bits: Vec<bool>,
}

/// Draws the planes of a frame, the first being 0.
pub(super) fn draw_planes(object: &DefaultDicomObject, frame: u32, picture: &mut DynamicImage) {
    for plane in overlay_groups().filter_map(|group| plane(object, group, frame)) {
        let side = |side: u32| i64::from(side);
        let (width, height) = (side(picture.width()), side(picture.height()));
        for (idx, _) in plane.bits.iter().enumerate().filter(|(_, is_set)| **is_set) {
            let (column, row) = (idx % plane.columns, idx / plane.columns);
            if plane.is_region && !plane.is_edge(column, row) {
                continue;
            }
            let at = |first: i64, step: usize| i64::try_from(step).map_or(-1, |step| first + step);
            let (x, y) = (at(plane.left, column), at(plane.top, row));
            if (0..width).contains(&x) && (0..height).contains(&y) {
                let place = |at: i64| u32::try_from(at).unwrap_or_default();
                picture.put_pixel(place(x), place(y), WHITE);
            }
        }
    }
}

impl Plane {
    /// Whether a pixel beside it does not belong to the plane.
    fn is_edge(&self, column: usize, row: usize) -> bool {
        let is_set = |column: usize, row: usize| {
            column < self.columns && row < self.rows && self.bits[row * self.columns + column]
        };
        let beside = [
            column.checked_sub(1).is_some_and(|left| is_set(left, row)),
            is_set(column + 1, row),
            row.checked_sub(1).is_some_and(|above| is_set(column, above)),
            is_set(column, row + 1),
        ];
        beside.contains(&false)
    }
}

fn plane(object: &DefaultDicomObject, group: u16, frame: u32) -> Option<Plane> {
    let element = |number: u16| element(object, Tag(group, number));
    let number = |tag: u16| element(tag)?.to_int::<i64>().ok();
    let (rows, columns) = (usize::try_from(number(0x0010)?).ok()?, usize::try_from(number(0x0011)?).ok()?);
    let size = rows.checked_mul(columns).filter(|size| *size > 0)?;
    let skipped = skipped_frames(number(0x0015), number(0x0051), frame)?.checked_mul(size)?;
    let bits = match element(0x3000) {
        Some(data) => {
            let bytes = data.to_bytes().ok()?;
            let bit = |idx: usize| Some(bytes.get(idx / 8)? >> (idx % 8) & 1 == 1);
            (skipped..skipped.checked_add(size)?).map(bit).collect::<Option<Vec<bool>>>()?
        }
        None => embedded(object, number(0x0102)?, size, frame)?,
    };
    // Row and column of the first pixel, counted from 1; a plane that does not say it begins where the picture does.
    let origin: Vec<i64> = element(0x0050).and_then(|origin| origin.to_multi_int().ok()).unwrap_or_default();
    let (top, left) = match origin[..] {
        [row, column, ..] => (row - 1, column - 1),
        _ => (0, 0),
    };
    let kind = element(0x0040).and_then(|kind| kind.to_str().ok());
    let is_region = kind.is_some_and(|kind| kind.trim() == "R");
    Some(Plane { columns, rows, left, top, is_region, bits })
}

/// How many frames of the plane come before the one for this frame of the picture; none where it has none for it.
///
/// A plane that names neither a number of frames nor a first one is of every frame (PS3.3 C.9.2.1).
fn skipped_frames(frames: Option<i64>, first: Option<i64>, frame: u32) -> Option<usize> {
    let (frames, first) = match (frames, first) {
        (None, None) => return Some(0),
        (frames, first) => (frames.unwrap_or(1), first.unwrap_or(1)),
    };
    let place = i64::from(frame) + 1 - first;
    (0..frames).contains(&place).then(|| usize::try_from(place).ok())?
}

/// A plane in bits of the pixels that no grey value needs, as until the edition of 2004 (PS3.5-2004, 8.1.2).
fn embedded(object: &DefaultDicomObject, bit: i64, size: usize, frame: u32) -> Option<Vec<bool>> {
    let number = |tag| usize::try_from(int_of(object, tag)?).ok();
    let high = number(tags::HIGH_BIT)?;
    let bit = usize::try_from(bit).ok()?;
    let pixels = number(tags::ROWS)?.checked_mul(number(tags::COLUMNS)?)?;
    if !has_plain_words(object) || bit <= high || bit >= 16 || pixels != size {
        return None;
    }
    let bytes = element(object, tags::PIXEL_DATA)?.to_bytes().ok()?;
    let first = usize::try_from(frame).ok()?.checked_mul(size)?.checked_mul(2)?;
    let words = bytes.get(first..first.checked_add(size.checked_mul(2)?)?)?;
    Some(words.chunks_exact(2).map(|word| u16::from_le_bytes([word[0], word[1]]) >> bit & 1 == 1).collect())
}
