//! A picture with its label in a strip below it.
//!
//! Takes: a picture and lines of text.
//! Gives: a picture that is higher by the strip; every pixel of the old one is as it was.
//! Never: a letter over the picture.
//! Tested in: `tests/it/exchange/labelled.rs`.

use std::io::Cursor;

use ab_glyph::{Font, FontRef, Glyph, PxScale, ScaleFont, point};
use image::{DynamicImage, GenericImage, GenericImageView, GrayImage, ImageFormat, Luma, Rgb, RgbImage};

use crate::frames::made_here::marked;

/// The typeface of the reports.
const FACE: &[u8] = include_bytes!("../report/print/fonts/OpenSans-Regular.ttf");
/// Height of a line for each pixel of the picture's width, and its least.
const LINE_PART: u32 = 36;
const LINE_PX_MIN: u32 = 14;
/// Stands for a letter that the typeface lacks.
const LACKING: char = '?';

/// Why there is no strip.
#[derive(Debug, thiserror::Error)]
pub(super) enum StripError {
    /// The typeface is ours, so this is a fault of the program.
    #[error("the typeface cannot be read; please report this")]
    Face,
    /// The picture could not be copied.
    #[error("the picture cannot be copied: {0}")]
    Copy(#[from] image::ImageError),
}

/// The picture as PNG, marked as a copy.
pub(super) fn as_png(picture: &DynamicImage) -> image::ImageResult<Vec<u8>> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png)?;
    Ok(marked(&bytes.into_inner()))
}

/// The picture with these lines below it; a line that is too long goes on in the next one.
///
/// # Errors
/// When the picture cannot be copied.
pub(super) fn below(picture: &DynamicImage, lines: &[String]) -> Result<DynamicImage, StripError> {
    let font = FontRef::try_from_slice(FACE).map_err(|_| StripError::Face)?;
    let (width, height) = picture.dimensions();
    let line_px = (width / LINE_PART).max(LINE_PX_MIN);
    let lines: Vec<String> = lines.iter().flat_map(|line| wrapped(line, &font, line_px, width)).collect();
    let n_lines = u32::try_from(lines.len()).unwrap_or(u32::MAX);
    let strip_px = line_px * n_lines + line_px / 2;
    if picture.color().has_color() {
        let mut out = RgbImage::new(width, height + strip_px);
        out.copy_from(&picture.to_rgb8(), 0, 0)?;
        write(&font, &lines, line_px, height, |x, y, value| put(&mut out, x, y, Rgb([value; 3])));
        Ok(DynamicImage::ImageRgb8(out))
    } else {
        let mut out = GrayImage::new(width, height + strip_px);
        out.copy_from(&picture.to_luma8(), 0, 0)?;
        write(&font, &lines, line_px, height, |x, y, value| put(&mut out, x, y, Luma([value])));
        Ok(DynamicImage::ImageLuma8(out))
    }
}

fn put<I: GenericImage>(out: &mut I, x: u32, y: u32, value: I::Pixel) {
    if out.in_bounds(x, y) {
        out.put_pixel(x, y, value);
    }
}

fn glyph(font: &FontRef, letter: char) -> ab_glyph::GlyphId {
    let id = font.glyph_id(letter);
    if id.0 == 0 && !letter.is_whitespace() { font.glyph_id(LACKING) } else { id }
}

fn width_of(text: &str, font: &FontRef, line_px: u32) -> f32 {
    let scaled = font.as_scaled(scale(line_px));
    text.chars().map(|letter| scaled.h_advance(glyph(font, letter))).sum()
}

#[allow(clippy::cast_precision_loss)] // sides of pictures
fn scale(line_px: u32) -> PxScale {
    PxScale::from(line_px as f32 * 0.9)
}

#[allow(clippy::cast_precision_loss)] // sides of pictures
fn wrapped(line: &str, font: &FontRef, line_px: u32, width: u32) -> Vec<String> {
    let room = width as f32 - line_px as f32;
    let mut lines = vec![String::new()];
    for word in line.split_whitespace() {
        let Some(last) = lines.last_mut() else { continue };
        let longer = if last.is_empty() { word.to_owned() } else { format!("{last} {word}") };
        if last.is_empty() || width_of(&longer, font, line_px) <= room {
            *last = longer;
        } else {
            lines.push(word.to_owned());
        }
    }
    lines
}

#[allow(clippy::cast_precision_loss, clippy::cast_possible_truncation, clippy::cast_sign_loss)] // inside the picture
fn write(font: &FontRef, lines: &[String], line_px: u32, top: u32, mut put: impl FnMut(u32, u32, u8)) {
    let scaled = font.as_scaled(scale(line_px));
    let mut base = top as f32 + line_px as f32 / 4.0 + scaled.ascent();
    for line in lines {
        let mut x = line_px as f32 / 2.0;
        for letter in line.chars() {
            let id = glyph(font, letter);
            let placed: Glyph = id.with_scale_and_position(scale(line_px), point(x, base));
            x += scaled.h_advance(id);
            let Some(outline) = font.outline_glyph(placed) else { continue };
            let bounds = outline.px_bounds();
            outline.draw(|dx, dy, cover| {
                let (x, y) = (bounds.min.x + dx as f32, bounds.min.y + dy as f32);
                if x >= 0.0 && y >= top as f32 {
                    put(x as u32, y as u32, (cover.clamp(0.0, 1.0) * 255.0) as u8);
                }
            });
        }
        base += line_px as f32;
    }
}
