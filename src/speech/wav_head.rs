//! Reads the head of a WAV file, whatever its recorder left of it.
//!
//! Takes: a file.
//! Gives: a plain head of the format and the true length, where the samples begin, and when the recording began.
//! Never: reads a sample, or trusts a length that the file contradicts.
//! Tested in: `tests/it/hear.rs`, `tests/it/hear_wav.rs`.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};

use chrono::NaiveDateTime;

/// Chunks of a WAV file that are looked at for its `bext` or its samples.
const CHUNKS_MAX: usize = 64;
/// Bytes of a chunk before its body: its name and its length.
const CHUNK_HEAD: u64 = 8;
/// A format is shorter than this, in bytes.
const FORMAT_MAX: u64 = 1 << 10;
/// A size from here on stands for one that was not known: some programs write the most that fits, some half of it.
const UNKNOWN_SIZE: u64 = 0x7FFF_0000;

/// Chunks that are written behind the samples, and may have been cut.
const BEHIND: [&[u8; 4]; 9] =
    [b"LIST", b"bext", b"iXML", b"cue ", b"fact", b"JUNK", b"junk", b"PAD ", b"_PMX"];

/// What the head says of the length of the samples.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum StatedLength {
    /// As it is, or more than there is: the file was cut.
    Right,
    /// It was never written or is an old one; the samples go on to the end of the file.
    Wrong,
    /// The samples go on behind what a head can name.
    TooMuch,
}

/// The head of a WAV file without what is not needed: some readers pass over no chunk of odd length.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct WavHead {
    /// `RIFF`, the format and the length of the samples; the samples follow it.
    pub(super) bytes: Vec<u8>,
    /// Where they begin in the file.
    pub(super) samples_at: u64,
    /// What the file said of their length.
    pub(super) length: StatedLength,
}

/// The beginning of a chunk.
struct Chunk {
    id: [u8; 4],
    size: u64,
    /// Where its body begins.
    at: u64,
}

impl WavHead {
    /// None where it is no WAV file, or has no format or no samples.
    pub(super) fn read(file: &mut File) -> std::io::Result<Option<WavHead>> {
        let file_len = file.metadata()?.len();
        let mut riff = [0; 12];
        file.rewind()?;
        if file.read_exact(&mut riff).is_err() || &riff[..4] != b"RIFF" || &riff[8..] != b"WAVE" {
            return Ok(None);
        }
        let whole = u64::from(u32::from_le_bytes([riff[4], riff[5], riff[6], riff[7]])) + 8;
        let mut format = None;
        let mut at = riff.len() as u64;
        for _ in 0..CHUNKS_MAX {
            let Some(chunk) = chunk_at(file, at)? else { return Ok(None) };
            match &chunk.id {
                b"fmt " if chunk.size < FORMAT_MAX => {
                    let mut body = Vec::new();
                    file.by_ref().take(chunk.size).read_to_end(&mut body)?;
                    format = Some(body);
                }
                b"data" => {
                    let Some(format) = format else { return Ok(None) };
                    return samples(file, &chunk, &format, whole == file_len).map(Some);
                }
                _ => {}
            }
            at = end_of(file, &chunk)?;
        }
        Ok(None)
    }
}

fn samples(file: &mut File, data: &Chunk, format: &[u8], whole_is_right: bool) -> std::io::Result<WavHead> {
    let after = file.metadata()?.len().saturating_sub(data.at);
    // Where the whole has its right size, an empty recording is just that.
    let is_empty = after == 0 || whole_is_right;
    let is_unknown = (data.size == 0 && !is_empty)
        || (data.size >= UNKNOWN_SIZE && (data.size > after || data.size == u64::from(u32::MAX)));
    let a_second = format
        .get(8..12)
        .map_or(1, |four| u64::from(u32::from_le_bytes([four[0], four[1], four[2], four[3]])));
    let is_wrong = is_unknown || is_sound_behind(file, data, a_second)?;
    let stated = if is_wrong { after } else { data.size };
    let align = format.get(12..14).map_or(1, |two| u64::from(u16::from_le_bytes([two[0], two[1]])).max(1));
    // A whole number of samples of all channels: half of one may have been written last.
    let (len, length) = match u32::try_from(stated / align * align) {
        Ok(len) if is_wrong => (len, StatedLength::Wrong),
        Ok(len) => (len, StatedLength::Right),
        Err(_) => (u32::MAX, StatedLength::TooMuch),
    };
    let mut bytes = Vec::new();
    bytes.extend(b"RIFF");
    bytes.extend(len.saturating_add(36).to_le_bytes());
    bytes.extend(b"WAVEfmt ");
    bytes.extend(u32::try_from(format.len()).unwrap_or_default().to_le_bytes());
    bytes.extend(format);
    bytes.extend(b"data");
    bytes.extend(len.to_le_bytes());
    Ok(WavHead { bytes, samples_at: data.at, length })
}

/// Whether sound goes on where the samples should end by their own size: a recorder that renews the sizes now and then
/// leaves the last ones when its power fails. What follows whole samples is the end of the file, another chunk, a tag of a
/// player, or less than the bytes of `a_second`.
fn is_sound_behind(file: &mut File, data: &Chunk, a_second: u64) -> std::io::Result<bool> {
    let file_len = file.metadata()?.len();
    let end = end_of(file, data)?;
    if end + a_second.max(CHUNK_HEAD) > file_len {
        return Ok(false);
    }
    let next = chunk_at(file, end)?;
    let is_chunk = |next: &Chunk| {
        let is_tag = next.id.starts_with(b"ID3") || next.id.starts_with(b"TAG") || BEHIND.contains(&&next.id);
        let is_named = next.id.iter().all(|byte| (b' '..=b'~').contains(byte));
        is_tag || is_named && next.at + next.size <= file_len
    };
    Ok(!next.as_ref().is_some_and(is_chunk))
}

/// The chunk that begins at `at`; none where the file ends before its head does.
fn chunk_at(file: &mut File, at: u64) -> std::io::Result<Option<Chunk>> {
    let mut head = [0; 8];
    file.seek(SeekFrom::Start(at))?;
    Ok(match file.read_exact(&mut head) {
        Ok(()) => {
            let [a, b, c, d, size @ ..] = head;
            let size = u64::from(u32::from_le_bytes(size));
            Some(Chunk { id: [a, b, c, d], size, at: at + CHUNK_HEAD })
        }
        Err(error) if error.kind() == std::io::ErrorKind::UnexpectedEof => None,
        Err(error) => return Err(error),
    })
}

/// Where the chunk behind this one begins. One of odd length is followed by a byte that fills up; some recorders leave it out.
fn end_of(file: &mut File, chunk: &Chunk) -> std::io::Result<u64> {
    let end = chunk.at + chunk.size;
    if chunk.size.is_multiple_of(2) {
        return Ok(end);
    }
    let mut next = Vec::new();
    file.seek(SeekFrom::Start(end))?;
    file.take(1).read_to_end(&mut next)?;
    Ok(end + u64::from(!next.first().is_some_and(u8::is_ascii_alphanumeric)))
}

/// Origination date and time of a `bext` chunk (EBU Tech 3285): 10 and 8 characters, 320 bytes in.
///
/// A chunk that is missing or makes no sense is none: the recording can still be heard.
pub(super) fn bext_start(file: &mut File) -> Option<NaiveDateTime> {
    let mut at = 12;
    for _ in 0..CHUNKS_MAX {
        let chunk = chunk_at(file, at).ok()??;
        if &chunk.id == b"bext" {
            let mut text = [0; 18];
            file.seek(SeekFrom::Start(chunk.at + 320)).ok()?;
            file.read_exact(&mut text).ok()?;
            let (date, time) = text.split_at(10);
            let (date, time) = (std::str::from_utf8(date).ok()?, std::str::from_utf8(time).ok()?);
            // The standard lets the writer choose the separators.
            let digits: String = date.chars().chain(time.chars()).filter(char::is_ascii_digit).collect();
            return NaiveDateTime::parse_from_str(&digits, "%Y%m%d%H%M%S").ok();
        }
        at = end_of(file, &chunk).ok()?;
    }
    None
}
