//! Checks that the lengths a DICOM file states can be true.
//!
//! Takes: a file.
//! Gives: nothing where all is well to the end of the pixels, else the element that claims more than there is.
//! Never: reads a value; the DICOM reader sets aside as much memory as an element claims to hold, up to 4 GiB each.
//! Tested in: `tests/it/frames.rs`.

use std::io::{Error, Read, Seek, SeekFrom};
use std::path::Path;

use crate::exam::call::Problem;
use crate::frames::part10::{self, HeadedFile};
use crate::frames::time_value::problem;
use crate::frames::vr::{LONG, SHORT};

/// Elements looked at, those inside sequences included.
pub const ELEMENTS_MAX: usize = 200_000;
/// Sequences and items inside each other.
pub const NESTED_MAX: usize = 64;

/// Length that says "until the delimiter".
const UNDEFINED: u32 = u32::MAX;
const PIXEL_DATA: (u16, u16) = (0x7fe0, 0x0010);
const ITEM: (u16, u16) = (0xfffe, 0xe000);
const SEQUENCE_END: (u16, u16) = (0xfffe, 0xe0dd);
/// How the elements are written.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Encoding {
    explicit: bool,
    big_endian: bool,
}

struct Element {
    tag: (u16, u16),
    vr: Option<[u8; 2]>,
    length: u32,
}

struct Walk {
    file: HeadedFile,
    at: u64,
    end: u64,
    /// Ends of the sequences and items that are open; none where only a delimiter ends it.
    open: Vec<Option<u64>>,
}

/// Walks the elements of the file at `path` to the end of its pixels.
///
/// # Errors
/// A problem, where an element claims more bytes than the file has, or they are nested deeper than any still needs.
pub fn lengths(path: &Path) -> Result<(), Problem> {
    let broken =
        |error: Error| problem(format!("cannot be read as DICOM: {error}"), "export the still again");
    let mut file = part10::open(path).map_err(broken)?;
    let end = file.seek(SeekFrom::End(0)).map_err(broken)?;
    let mut walk = Walk { file, at: 0, end, open: Vec::new() };
    let at = if walk.peek(128).map_err(broken)? == Some(*b"DICM") { 132 } else { 0 };
    walk.go(at).map_err(broken)?;
    let mut encoding = Encoding { explicit: true, big_endian: false };
    let mut syntax = Vec::new();
    for _ in 0..ELEMENTS_MAX {
        let before = walk.at;
        let plain = Encoding { explicit: true, big_endian: false };
        let meta = walk.peek(before).map_err(broken)?.is_some_and(|head| head[..2] == [2, 0]);
        if !meta && !syntax.is_empty() {
            encoding = encoding_of(&syntax);
        }
        walk.close();
        let Some(element) = walk.element(if meta { plain } else { encoding }).map_err(broken)? else {
            return Ok(());
        };
        if element.tag == PIXEL_DATA && walk.open.is_empty() {
            return walk.pixels(element.length);
        }
        if element.tag == (2, 0x10) && u64::from(element.length) <= (walk.end - walk.at).min(64) {
            syntax = vec![0; usize::try_from(element.length).unwrap_or(0)];
            walk.file.read_exact(&mut syntax).map_err(broken)?;
            walk.go(walk.at).map_err(broken)?;
        }
        walk.step(&element)?;
        walk.go(walk.at).map_err(broken)?;
    }
    Err(problem(format!("more than {ELEMENTS_MAX} elements before the picture"), "export the still again"))
}

/// DICOM PS3.5 annex A: everything but these two is explicit and little endian.
fn encoding_of(syntax: &[u8]) -> Encoding {
    let name = syntax.trim_ascii_end();
    let name = name.strip_suffix(b"\0").unwrap_or(name);
    Encoding { explicit: name != b"1.2.840.10008.1.2", big_endian: name == b"1.2.840.10008.1.2.2" }
}

impl Walk {
    fn go(&mut self, at: u64) -> Result<(), Error> {
        self.at = at;
        self.file.seek(SeekFrom::Start(at)).map(|_| ())
    }

    /// Four bytes at this place, without moving.
    fn peek(&mut self, at: u64) -> Result<Option<[u8; 4]>, Error> {
        if at + 4 > self.end {
            return Ok(None);
        }
        let mut bytes = [0; 4];
        self.file.seek(SeekFrom::Start(at))?;
        self.file.read_exact(&mut bytes)?;
        self.file.seek(SeekFrom::Start(self.at))?;
        Ok(Some(bytes))
    }

    fn take<const N: usize>(&mut self) -> Result<[u8; N], Error> {
        let mut bytes = [0; N];
        self.file.read_exact(&mut bytes)?;
        self.at += N as u64;
        Ok(bytes)
    }

    /// The next element's head; none at the end of the file, where the reader stops as well.
    fn element(&mut self, encoding: Encoding) -> Result<Option<Element>, Error> {
        if self.at + 8 > self.end {
            return Ok(None);
        }
        let two = |bytes: [u8; 2]| match encoding.big_endian {
            true => u16::from_be_bytes(bytes),
            false => u16::from_le_bytes(bytes),
        };
        let four = |bytes: [u8; 4]| match encoding.big_endian {
            true => u32::from_be_bytes(bytes),
            false => u32::from_le_bytes(bytes),
        };
        let tag = (two(self.take()?), two(self.take()?));
        if !encoding.explicit || tag.0 == ITEM.0 {
            let length = four(self.take()?);
            return Ok(Some(Element { tag, vr: None, length }));
        }
        let vr: [u8; 2] = self.take()?;
        // The reader takes an unknown one for UN, with a long length.
        let length = if SHORT.contains(&&vr) {
            u32::from(two(self.take()?))
        } else if self.at + 6 > self.end {
            return Ok(None);
        } else {
            self.take::<2>()?;
            four(self.take()?)
        };
        let vr = if LONG.contains(&&vr) || SHORT.contains(&&vr) { vr } else { *b"UN" };
        Ok(Some(Element { tag, vr: Some(vr), length }))
    }

    /// The pixels are whole: as long as they say, or fragments up to their delimiter (DICOM PS3.5 A.4).
    fn pixels(&mut self, length: u32) -> Result<(), Problem> {
        let cut =
            || problem("the picture is cut short: the file ends inside its pixels", "copy the still again");
        if length != UNDEFINED {
            // Some scanners leave out the byte that makes the length even.
            return if self.at + u64::from(length) <= self.end + 1 { Ok(()) } else { Err(cut()) };
        }
        let little = Encoding { explicit: true, big_endian: false };
        for n_items in 0..ELEMENTS_MAX {
            // The first item is the offset table. Some writers leave out the delimiter at the end of the file.
            let has_picture = n_items > 1;
            if self.at == self.end && has_picture {
                return Ok(());
            }
            let item = self.element(little).map_err(|_| cut())?.ok_or_else(cut)?;
            if item.tag == SEQUENCE_END && has_picture {
                return Ok(());
            }
            if item.tag != ITEM {
                return Err(cut());
            }
            if self.at + u64::from(item.length) > self.end {
                return Err(cut());
            }
            self.go(self.at + u64::from(item.length)).map_err(|_| cut())?;
        }
        Err(problem(format!("more than {ELEMENTS_MAX} fragments in the picture"), "export the still again"))
    }

    /// Leaves the sequences and items that end here.
    fn close(&mut self) {
        while self.open.last().is_some_and(|end| end.is_some_and(|end| self.at >= end)) {
            self.open.pop();
        }
    }

    /// Goes into a sequence or an item, or past a value.
    fn step(&mut self, element: &Element) -> Result<(), Problem> {
        let Element { tag, vr, length } = *element;
        if tag.0 == ITEM.0 && tag != ITEM {
            // A delimiter closes what has no end of its own.
            self.open.pop();
            return Ok(());
        }
        let left = self.end - self.at;
        if length != UNDEFINED && u64::from(length) > left {
            return Err(problem(
                format!(
                    "element ({:04x},{:04x}) claims {length} bytes, but only {left} are left",
                    tag.0, tag.1
                ),
                "the file is cut short or damaged; export the still again",
            ));
        }
        let items =
            vr.is_none() && matches!(self.peek(self.at), Ok(Some([0xfe, 0xff, 0x00, 0xe0]))) && length >= 8;
        if length == UNDEFINED || tag == ITEM || vr == Some(*b"SQ") || items {
            self.open.push((length != UNDEFINED).then(|| self.at + u64::from(length)));
            if self.open.len() > NESTED_MAX {
                return Err(problem(
                    format!("sequences nested deeper than {NESTED_MAX}"),
                    "the file is damaged; export the still again",
                ));
            }
        } else {
            self.at += u64::from(length);
        }
        Ok(())
    }
}
