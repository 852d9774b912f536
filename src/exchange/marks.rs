//! Marks in a copy of the kept sound: each call a region with its words.
//!
//! Takes: the bytes of a WAV file, and what was said where.
//! Gives: the same sound, with `cue ` and `LIST`/`adtl` chunks after it, as players and editors read them.
//! Never: changes a sample, or the file that it was made from.
//! Tested in: `tests/it/exchange/marks.rs`, by readers that are not ours.

use crate::clock::Sample;
use crate::exam::closed_sets::CallKind;
use crate::knowledge::record::{CallRow, Record};
use crate::report::words::meaning;

/// Longest label, in bytes: some editors cut longer ones themselves.
const LABEL_BYTES_MAX: usize = 200;
/// Most marks in one file.
pub const MARKS_MAX: usize = 100_000;

/// A stretch of the sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// First sample, counted from the start of the file.
    pub from: u32,
    /// Samples.
    pub length: u32,
    /// What was said.
    pub label: String,
    /// What it means.
    pub note: String,
}

/// Why a file gets no marks.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[non_exhaustive]
pub enum MarkError {
    /// It is none.
    #[error("this is no WAV file; only the sound that zonecall kept itself gets marks")]
    NotWave,
    /// Its sizes have 32 bits.
    #[error("with marks the file would be longer than a WAV file can be")]
    TooLong,
}

/// The marks of a file that begins `first_sample` samples after the start of the exam and has `n_samples`.
#[must_use]
pub fn marks(record: &Record, first_sample: Sample, n_samples: u64) -> Vec<Mark> {
    let of_file = record.calls.iter().filter_map(|call| mark(call, first_sample, n_samples));
    let mut found: Vec<Mark> = of_file.take(MARKS_MAX).collect();
    found.sort_by_key(|mark| mark.from);
    found
}

fn mark(call: &CallRow, first_sample: Sample, n_samples: u64) -> Option<Mark> {
    if call.added {
        return None;
    }
    let (began, ended) = (Sample::at_second(call.span_s.0), Sample::at_second(call.span_s.1));
    let from = began.0.checked_sub(first_sample.0).filter(|from| *from < n_samples)?;
    let to = ended.since(first_sample).clamp(from, n_samples);
    let state = match (call.kind, call.withdrawn, call.corrected_by.is_empty(), call.doubt.is_empty()) {
        (CallKind::Unknown, ..) => "not understood: ",
        (_, true, ..) => "taken back: ",
        (_, _, false, _) => "corrected later: ",
        (_, _, _, false) => "in doubt: ",
        _ => "",
    };
    let words = if call.words.trim().is_empty() { "(no words)" } else { call.words.trim() };
    let note = match call.kind {
        CallKind::Unknown => String::new(),
        _ => format!("{}: {}", call.place.codes(), meaning(call)).trim_start_matches(": ").to_owned(),
    };
    let doubt =
        if call.doubt.is_empty() { String::new() } else { format!("; in doubt: {}", call.doubt.join("; ")) };
    Some(Mark {
        from: u32::try_from(from).ok()?,
        length: u32::try_from(to - from).ok()?,
        label: format!("{state}{words}"),
        note: note + &doubt,
    })
}

/// Samples of 16-bit mono sound in a WAV file.
///
/// # Errors
/// When it is no WAV file.
pub fn n_samples(wav: &[u8]) -> Result<u64, MarkError> {
    let (_, sound) = chunks(wav)?;
    Ok((sound.len() / 2) as u64)
}

/// The file with its marks.
///
/// # Errors
/// When it is no WAV file, or would be too long.
pub fn marked(wav: &[u8], marks: &[Mark]) -> Result<Vec<u8>, MarkError> {
    let (head, sound) = chunks(wav)?;
    let mut out = wav[..head].to_vec();
    put_chunk(&mut out, b"data", sound)?;
    put_chunk(&mut out, b"cue ", &cues(marks)?)?;
    put_chunk(&mut out, b"LIST", &labels(marks)?)?;
    let size = u32::try_from(out.len() - 8).map_err(|_| MarkError::TooLong)?;
    out[4..8].copy_from_slice(&size.to_le_bytes());
    Ok(out)
}

/// Bytes before the `data` chunk, and the sound in it; a file that was cut short by a crash has as much as is there.
fn chunks(wav: &[u8]) -> Result<(usize, &[u8]), MarkError> {
    if wav.len() < 12 || &wav[..4] != b"RIFF" || &wav[8..12] != b"WAVE" {
        return Err(MarkError::NotWave);
    }
    let mut at = 12;
    while let Some(name) = wav.get(at..at + 4) {
        let size = wav.get(at + 4..at + 8).and_then(|bytes| bytes.try_into().ok()).map(u32::from_le_bytes);
        let size = usize::try_from(size.ok_or(MarkError::NotWave)?).map_err(|_| MarkError::NotWave)?;
        let body = at + 8;
        if name == b"data" {
            let end = body.saturating_add(size).min(wav.len());
            return Ok((at, &wav[body..end]));
        }
        at = body.saturating_add(size).saturating_add(size % 2);
    }
    Err(MarkError::NotWave)
}

fn put_chunk(out: &mut Vec<u8>, name: &[u8; 4], body: &[u8]) -> Result<(), MarkError> {
    out.extend(name);
    out.extend(u32::try_from(body.len()).map_err(|_| MarkError::TooLong)?.to_le_bytes());
    out.extend(body);
    if body.len() % 2 == 1 {
        out.push(0);
    }
    Ok(())
}

/// The names of the marks: 1, 2, 3 and so on.
fn numbered(marks: &[Mark]) -> impl Iterator<Item = (u32, &Mark)> {
    (1..).zip(marks)
}

/// Body of `cue `: for each mark name, position, chunk, chunk start, block start, sample (RIFF 1991, Microsoft and IBM).
fn cues(marks: &[Mark]) -> Result<Vec<u8>, MarkError> {
    let count = u32::try_from(marks.len()).map_err(|_| MarkError::TooLong)?;
    let mut out = count.to_le_bytes().to_vec();
    for (name, mark) in numbered(marks) {
        out.extend(name.to_le_bytes());
        out.extend(mark.from.to_le_bytes());
        out.extend(b"data");
        out.extend([0; 8]);
        out.extend(mark.from.to_le_bytes());
    }
    Ok(out)
}

/// Body of `LIST`: for each mark its label, its note and its length.
fn labels(marks: &[Mark]) -> Result<Vec<u8>, MarkError> {
    let mut out = b"adtl".to_vec();
    for (name, mark) in numbered(marks) {
        put_chunk(&mut out, b"labl", &text(name, &mark.label))?;
        if !mark.note.is_empty() {
            put_chunk(&mut out, b"note", &text(name, &mark.note))?;
        }
        let mut region = name.to_le_bytes().to_vec();
        region.extend(mark.length.to_le_bytes());
        region.extend(b"rgn ");
        // Country, language, dialect: none; code page: UTF-8.
        region.extend([0; 6]);
        region.extend(65001_u16.to_le_bytes());
        put_chunk(&mut out, b"ltxt", &region)?;
    }
    Ok(out)
}

/// A text that ends with a zero, cut between two letters.
fn text(name: u32, text: &str) -> Vec<u8> {
    let mut plain: String = text.chars().filter(|c| !c.is_control()).collect();
    while plain.len() > LABEL_BYTES_MAX {
        plain.pop();
    }
    let mut out = name.to_le_bytes().to_vec();
    out.extend(plain.as_bytes());
    out.push(0);
    out
}
