//! Reads stills that are plain pictures.
//!
//! Takes: a PNG, JPEG, BMP or TIFF file.
//! Gives: when it was taken by its EXIF data, and its size.
//! Never: decodes pixels, or makes up a time: where EXIF has none, that is said and the caller decides.
//! Tested in: `tests/it/frames.rs`.

use std::fs::File;
use std::io::{BufRead as _, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use exif::{Exif, In, Tag, Value};

use crate::exam::call::Problem;
use crate::frames::dicom::StillHeader;
use crate::frames::made_here;
use crate::frames::scanner_name::scanner_name;
use crate::frames::time_value::{self, problem};
use crate::plain_file;

/// More JPEG segments than this before the image's size are not walked.
pub const SEGMENTS_MAX: usize = 1000;

/// Kinds of picture that are read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ImageKind {
    /// Portable Network Graphics.
    Png,
    /// JPEG, with JFIF or EXIF.
    Jpeg,
    /// Windows bitmap.
    Bmp,
    /// Tagged Image File Format, either byte order.
    Tiff,
}

/// The kind of picture that begins with these bytes.
#[must_use]
pub fn kind(head: &[u8]) -> Option<ImageKind> {
    match head {
        [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, ..] => Some(ImageKind::Png),
        [0xff, 0xd8, 0xff, ..] => Some(ImageKind::Jpeg),
        [b'B', b'M', _, _, _, _, 0, 0, 0, 0, ..] => Some(ImageKind::Bmp),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => Some(ImageKind::Tiff),
        _ => None,
    }
}

/// Reads what the picture at `path` says of itself; `utc_offset_s` is taken where it names no time zone.
///
/// # Errors
/// A problem, where the file is cut short, or is a copy that was made here.
pub fn read(path: &Path, kind: ImageKind, utc_offset_s: i32) -> Result<StillHeader, Problem> {
    let broken =
        |error: std::io::Error| problem(format!("cannot be read: {error}"), "export the still again");
    let mut file = BufReader::new(plain_file::open(path).map_err(broken)?);
    let start = file.fill_buf().map_err(broken)?;
    if kind == ImageKind::Png && made_here::is_marked(start) {
        return Err(made_here::refused());
    }
    let mut header = StillHeader::default();
    let data = if kind == ImageKind::Bmp { Ok(None) } else { exif_of(&mut file) };
    let data = data.unwrap_or_else(|fault| {
        header.problems.push(fault);
        None
    });
    if let Some(data) = &data {
        date(data, utc_offset_s, &mut header);
        let text = |tag| filled(data, tag);
        header.scanner = scanner_name(text(Tag::Make), text(Tag::Model), text(Tag::BodySerialNumber));
    }
    file.seek(SeekFrom::Start(0)).map_err(broken)?;
    header.size_px = match kind {
        ImageKind::Tiff => data.as_ref().and_then(|data| {
            let side = |tag| data.get_field(tag, In::PRIMARY).and_then(|field| field.value.get_uint(0));
            Some((side(Tag::ImageWidth)?, side(Tag::ImageLength)?))
        }),
        _ => size_of(&mut file, kind).ok().flatten(),
    };
    if header.size_px.is_none() {
        return Err(problem(
            "a picture without a readable size",
            "it is cut short or damaged; export it again",
        ));
    }
    Ok(header)
}

fn exif_of(file: &mut BufReader<File>) -> Result<Option<Exif>, Problem> {
    match exif::Reader::new().read_from_container(file) {
        Ok(data) => Ok(Some(data)),
        Err(exif::Error::NotFound(_)) => Ok(None),
        Err(error) => Err(problem(
            format!("its EXIF data cannot be read: {error}"),
            "the file's modification time is used; check its label by eye",
        )),
    }
}

fn filled(data: &Exif, tag: Tag) -> Option<String> {
    let Value::Ascii(lines) = &data.get_field(tag, In::PRIMARY)?.value else { return None };
    let line = String::from_utf8_lossy(lines.first()?);
    let text = line.trim_matches(|sign| sign == ' ' || sign == '\0');
    (!text.is_empty()).then(|| text.to_owned())
}

fn date(data: &Exif, utc_offset_s: i32, header: &mut StillHeader) {
    let filled = |tag| filled(data, tag);
    let Some(taken) = filled(Tag::DateTimeOriginal) else {
        return;
    };
    let (subsec, offset) = (filled(Tag::SubSecTimeOriginal), filled(Tag::OffsetTimeOriginal));
    // A broken part must not cost the whole time: without it, the time is only less exact.
    let stamp = time_value::exif(&taken, subsec.as_deref(), offset.as_deref()).or_else(|fault| {
        header.problems.push(fault);
        time_value::exif(&taken, None, None)
    });
    if let Ok(stamp) = stamp {
        header.saved_at = stamp.instant(utc_offset_s);
        header.resolution_s = stamp.resolution_s;
        header.time_source = "DateTimeOriginal".to_owned();
        header.zone_assumed = stamp.utc_offset_s.is_none();
    }
}

/// Whether a JPEG file ends before its picture does: no end of image comes after the beginning of the first scan, in whose data
/// that marker cannot lie (ITU-T T.81 B.1.1.5). A decoder may fill the rest with grey and say nothing.
pub(crate) fn is_cut_jpeg(bytes: &[u8]) -> bool {
    if kind(bytes) != Some(ImageKind::Jpeg) {
        return false;
    }
    let mut at = 2;
    while let Some([0xff, marker, rest @ ..]) = bytes.get(at..) {
        match (marker, rest) {
            (0xda, _) => return !rest.windows(2).any(|two| two == [0xff, 0xd9]),
            (0xff, _) => at += 1,
            (_, [high, low, ..]) => at += 2 + usize::from(u16::from_be_bytes([*high, *low])),
            _ => return true,
        }
    }
    // What is no segment is judged by the decoder.
    at >= bytes.len()
}

fn size_of(file: &mut BufReader<File>, kind: ImageKind) -> std::io::Result<Option<(u32, u32)>> {
    let mut head = [0_u8; 26];
    match kind {
        ImageKind::Png => {
            file.read_exact(&mut head[..24])?;
            let side = |from: usize| {
                u32::from_be_bytes([head[from], head[from + 1], head[from + 2], head[from + 3]])
            };
            Ok((&head[12..16] == b"IHDR").then(|| (side(16), side(20))))
        }
        ImageKind::Bmp => {
            file.read_exact(&mut head)?;
            // The height is negative where the rows run from the top.
            let side = |from: usize| {
                i32::from_le_bytes([head[from], head[from + 1], head[from + 2], head[from + 3]])
                    .unsigned_abs()
            };
            Ok(Some((side(18), side(22))))
        }
        ImageKind::Jpeg => jpeg_size(file),
        ImageKind::Tiff => Ok(None),
    }
}

/// Walks the JPEG segments to the frame header (ITU-T T.81 B.2.2).
fn jpeg_size(file: &mut BufReader<File>) -> std::io::Result<Option<(u32, u32)>> {
    file.seek(SeekFrom::Start(2))?;
    for _ in 0..SEGMENTS_MAX {
        let mut head = [0_u8; 4];
        file.read_exact(&mut head)?;
        let length = i64::from(u16::from_be_bytes([head[2], head[3]]));
        if head[0] != 0xff || length < 2 {
            return Ok(None);
        }
        // SOF0 to SOF15, without DHT, JPG and DAC, which lie among them.
        if matches!(head[1], 0xc0..=0xcf) && !matches!(head[1], 0xc4 | 0xc8 | 0xcc) {
            let mut frame = [0_u8; 5];
            file.read_exact(&mut frame)?;
            let side = |from: usize| u32::from(u16::from_be_bytes([frame[from], frame[from + 1]]));
            return Ok(Some((side(3), side(1))));
        }
        file.seek_relative(length - 2)?;
    }
    Ok(None)
}
