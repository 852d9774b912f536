//! A DICOM file as the reader wants it: with a head (PS3.10, 7.1), and not deflated as a whole.
//!
//! Takes: a file.
//! Gives: the same file; where the preamble, parts of the head or all of it are missing, or the data set is deflated (PS3.5,
//! A.5), the same elements with a head, inflated, in memory.
//! Never: changes the file, or inflates without a bound.
//! Tested in: `tests/it/other_stills/files.rs`.

use std::fs::File;
use std::io::{BufReader, Cursor, Error, ErrorKind, Read, Result, Seek, SeekFrom};
use std::path::Path;

use dicom_dictionary_std::uids;
use flate2::read::DeflateDecoder;

use super::vr::{LONG, SHORT};

use crate::plain_file;

/// So many of its first bytes tell what a file is; heads are shorter.
pub(crate) const START_BYTES: usize = 2048;
/// Largest file that is put together in memory, and largest one that a deflated file may grow to.
const WHOLE_BYTES_MAX: u64 = 256 << 20;
/// Comes before the head, after 128 bytes that say nothing.
const MAGIC: &[u8] = b"DICM";
const PREAMBLE_BYTES: usize = 128;
/// Explicit VR Big Endian, retired and still met (PS3.5, A.3 of 2016).
const BIG_ENDIAN: &str = "1.2.840.10008.1.2.2";
/// Elements of the group with which a data set begins: character set, type, dates and names of the object (PS3.6).
const FIRST_ELEMENTS: [u8; 10] = [0x00, 0x01, 0x05, 0x06, 0x08, 0x12, 0x13, 0x14, 0x16, 0x18];
/// A value of such an element is never longer, in bytes.
const FIRST_VALUE_BYTES_MAX: u32 = 256;

/// A file to read from.
pub(crate) enum HeadedFile {
    /// As it lies on the disk.
    File(BufReader<File>),
    /// Put together.
    Whole(Cursor<Vec<u8>>),
}

/// The file at `path`, from its beginning.
///
/// # Errors
/// When it cannot be read, or is deflated and damaged or too large.
pub(crate) fn open(path: &Path) -> Result<HeadedFile> {
    let mut file = plain_file::open(path)?;
    let mut start = Vec::new();
    file.by_ref().take(START_BYTES as u64).read_to_end(&mut start)?;
    file.seek(SeekFrom::Start(0))?;
    let Some(Shape::Apart(head)) = shape(&start) else { return Ok(HeadedFile::File(BufReader::new(file))) };
    let mut bytes = Vec::new();
    file.take(WHOLE_BYTES_MAX + 1).read_to_end(&mut bytes)?;
    Ok(HeadedFile::Whole(Cursor::new(put_together(&bytes, &head)?)))
}

/// All of a file, given its bytes.
///
/// # Errors
/// When it is deflated and damaged or too large.
pub(crate) fn whole(bytes: Vec<u8>) -> Result<Vec<u8>> {
    match shape(&bytes[..bytes.len().min(START_BYTES)]) {
        Some(Shape::Apart(head)) => put_together(&bytes, &head),
        _ => Ok(bytes),
    }
}

/// Whether a file that begins so is a DICOM file, with or without what comes before its data set.
pub(crate) fn is_dicom(start: &[u8]) -> bool {
    shape(start).is_some()
}

/// How a file begins.
enum Shape {
    /// As the standard wants it, and as the reader takes it.
    Plain,
    /// Otherwise.
    Apart(Head),
}

/// What there is of a head.
struct Head {
    /// Its elements, without their length as a whole and the transfer syntax.
    elements: Vec<u8>,
    /// Transfer syntax of the data set, as stated or as it looks.
    syntax: String,
    /// Where the data set begins.
    data_at: usize,
}

fn shape(start: &[u8]) -> Option<Shape> {
    let at = if start.get(PREAMBLE_BYTES..).is_some_and(|rest| rest.starts_with(MAGIC)) {
        PREAMBLE_BYTES + MAGIC.len()
    } else if start.starts_with(MAGIC) {
        MAGIC.len()
    } else {
        0
    };
    let (mut elements, mut syntax, mut has_length, mut next) = (Vec::new(), None, false, at);
    while let Some((tag, bytes, value)) = head_element(start, next) {
        match tag {
            0x00 => has_length = true,
            0x10 => syntax = std::str::from_utf8(value).ok().map(|text| text.trim_end_matches(['\0', ' '])),
            _ => elements.extend(bytes),
        }
        next += bytes.len();
    }
    let is_deflated = syntax == Some(uids::DEFLATED_EXPLICIT_VR_LITTLE_ENDIAN);
    if at > MAGIC.len() && has_length && syntax.is_some() && !is_deflated {
        return Some(Shape::Plain);
    }
    let syntax = syntax.or_else(|| looks_like(start.get(next..)?));
    match syntax {
        Some(syntax) => Some(Shape::Apart(Head { elements, syntax: syntax.to_owned(), data_at: next })),
        // The reader says what is wrong with it.
        None => (at > 0).then_some(Shape::Plain),
    }
}

/// The element of a head at this place: the lower half of its tag, all of it and its value.
fn head_element(start: &[u8], at: usize) -> Option<(u8, &[u8], &[u8])> {
    let [2, 0, low, high, first, second, a, b] = *start.get(at..at + 8)? else { return None };
    let vr = &[first, second];
    let (value_at, length) = if LONG.contains(&vr) {
        let length = u32::from_le_bytes(start.get(at + 8..at + 12)?.try_into().ok()?);
        (at + 12, usize::try_from(length).ok()?)
    } else if SHORT.contains(&vr) {
        (at + 8, usize::from(u16::from_le_bytes([a, b])))
    } else {
        return None;
    };
    let end = value_at.checked_add(length)?;
    // Those of the private part have another number above.
    let tag = if high == 0 { low } else { u8::MAX };
    Some((tag, start.get(at..end)?, &start[value_at..end]))
}

/// The transfer syntax that a data set which begins so is written in (PS3.5, 7.1 and annex A).
fn looks_like(data: &[u8]) -> Option<&'static str> {
    let head: [u8; 8] = data.get(..8)?.try_into().ok()?;
    let vr = [head[4], head[5]];
    let has_vr = SHORT.contains(&&vr);
    match head {
        [8, 0, element, 0, ..] if FIRST_ELEMENTS.contains(&element) => {
            let length = u32::from_le_bytes([head[4], head[5], head[6], head[7]]);
            if has_vr {
                Some(uids::EXPLICIT_VR_LITTLE_ENDIAN)
            } else {
                (length <= FIRST_VALUE_BYTES_MAX && length.is_multiple_of(2))
                    .then_some(uids::IMPLICIT_VR_LITTLE_ENDIAN)
            }
        }
        [0, 8, 0, element, ..] if has_vr && FIRST_ELEMENTS.contains(&element) => Some(BIG_ENDIAN),
        _ => None,
    }
}

fn put_together(bytes: &[u8], head: &Head) -> Result<Vec<u8>> {
    let too_large = || Error::new(ErrorKind::InvalidData, format!("more than {WHOLE_BYTES_MAX} bytes"));
    if bytes.len() as u64 > WHOLE_BYTES_MAX {
        return Err(too_large());
    }
    let data = bytes.get(head.data_at..).unwrap_or_default();
    let is_deflated = head.syntax == uids::DEFLATED_EXPLICIT_VR_LITTLE_ENDIAN;
    let mut syntax = if is_deflated { uids::EXPLICIT_VR_LITTLE_ENDIAN } else { &head.syntax }.to_owned();
    if syntax.len() % 2 == 1 {
        syntax.push('\0');
    }
    let mut elements = vec![2, 0, 0x10, 0, b'U', b'I'];
    elements.extend(u16::try_from(syntax.len()).unwrap_or_default().to_le_bytes());
    elements.extend(syntax.as_bytes());
    elements.extend(&head.elements);
    let mut all = vec![0; PREAMBLE_BYTES];
    all.extend(MAGIC);
    all.extend([2, 0, 0, 0, b'U', b'L', 4, 0]);
    all.extend(u32::try_from(elements.len()).unwrap_or_default().to_le_bytes());
    all.extend(elements);
    if !is_deflated {
        all.extend(data);
        return Ok(all);
    }
    let room = WHOLE_BYTES_MAX - all.len() as u64;
    let inflated = DeflateDecoder::new(data).take(room + 1).read_to_end(&mut all);
    let inflated =
        inflated.map_err(|error| Error::new(error.kind(), format!("cannot be inflated: {error}")))?;
    if inflated as u64 > room { Err(too_large()) } else { Ok(all) }
}

impl Read for HeadedFile {
    fn read(&mut self, into: &mut [u8]) -> Result<usize> {
        match self {
            HeadedFile::File(file) => file.read(into),
            HeadedFile::Whole(bytes) => bytes.read(into),
        }
    }
}

impl Seek for HeadedFile {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        match self {
            HeadedFile::File(file) => file.seek(to),
            HeadedFile::Whole(bytes) => bytes.seek(to),
        }
    }
}
