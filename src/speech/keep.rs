//! Keeps what was heard, as Broadcast Wave.
//!
//! Takes: samples at 16 kHz mono, and the instant of the first one.
//! Gives: a file that says when it began, and that any player opens, even after a crash; on the disk each second.
//! Never: writes over a file that is there, or leaves the last write to a destructor.
//! Tested in: `tests/it/hear.rs`.

use std::fs::File;
use std::io::{Read as _, Seek as _, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, FixedOffset, Offset, Timelike, Utc};

use crate::clock::SAMPLE_RATE_HZ;
use crate::machine::{self, Machine};
use crate::private;
use crate::terminal::ShownText as _;

/// Bytes of one sample, 16 bit mono.
const SAMPLE_BYTES: u32 = 2;
/// Samples between two rewritings of the sizes in the header: one second. A crash or a power cut loses no more.
const FLUSH_SAMPLES: usize = SAMPLE_RATE_HZ as usize;
/// Fixed part of a `bext` chunk in bytes, before the coding history (EBU Tech 3285).
const BEXT_BYTES: usize = 602;
/// How the sound was coded (EBU Tech 3285): PCM, 16 kHz, 16 bit, mono. An even number of bytes, so no padding.
const CODING_HISTORY: &[u8; 40] = b"A=PCM,F=16000,W=16,M=mono,T=zonecall  \r\n";
/// Version of the `bext` chunk: 1 has no loudness values, which we do not measure.
const BEXT_VERSION: u16 = 1;
/// Bytes before the first sample: RIFF and WAVE 12, `bext` 8 and its content, `fmt ` 24, `data` 8.
const HEADER_BYTES: u32 = 12 + 8 + 602 + 40 + 24 + 8;
/// Where the size of the whole file is, less 8.
const RIFF_SIZE_AT: u64 = 4;
/// Where the size of the `data` chunk is.
const DATA_SIZE_AT: u64 = HEADER_BYTES as u64 - 4;
/// Bytes of a file that are copied at once.
const COPY_BYTES: usize = 1 << 20;
/// Most bytes of sound, for sizes have 32 bits: about 37 hours.
const DATA_BYTES_MAX: u32 = u32::MAX - HEADER_BYTES - 1;

/// The kept audio of an exam, being written.
#[derive(Debug)]
pub struct Keeper {
    machine: Arc<dyn Machine>,
    path: PathBuf,
    file: File,
    data_bytes: u32,
    unflushed_samples: usize,
}

/// The audio cannot be kept.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum KeepError {
    /// The disk refused.
    #[error("cannot write the audio `{path}`: {source}; check that the disk is connected and has space", path = path.shown())]
    Write {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// It was removed, moved or replaced while it was being written.
    #[error(
        "the audio `{path}` was removed, moved or replaced while it was being written; put it back, or begin a new exam",
        path = path.shown()
    )]
    Removed {
        /// Where it was.
        path: PathBuf,
    },
    /// A WAV file cannot be longer.
    #[error("the audio `{path}` is full after about 37 hours; start a new exam", path = path.shown())]
    Full {
        /// The file.
        path: PathBuf,
    },
}

impl Keeper {
    /// Begins a new file; `started_at` is the instant of the first sample, `utc_offset_s` the local time's lead on UTC.
    ///
    /// # Errors
    /// When the file exists already or cannot be written.
    pub fn create(path: &Path, started_at: DateTime<Utc>, utc_offset_s: i32) -> Result<Self, KeepError> {
        Self::create_on(machine::this(), path, started_at, utc_offset_s)
    }

    /// The same on a machine of the caller's choice.
    ///
    /// # Errors
    /// As `create`.
    pub fn create_on(
        machine: Arc<dyn Machine>,
        path: &Path,
        started_at: DateTime<Utc>,
        utc_offset_s: i32,
    ) -> Result<Self, KeepError> {
        let offset = FixedOffset::east_opt(utc_offset_s).unwrap_or_else(|| Utc.fix());
        let header = header(&started_at.with_timezone(&offset));
        let begun = new_file(machine.as_ref(), path).and_then(|file| {
            machine.write(&file, path, 0, &header)?;
            machine.sync(&file, path)?;
            Ok(file)
        });
        let file = begun.map_err(|source| KeepError::Write { path: path.to_owned(), source })?;
        Ok(Self { machine, path: path.to_owned(), file, data_bytes: 0, unflushed_samples: 0 })
    }

    /// Goes on in another file, with all that was kept so far: the open file still has it, whatever became of its name.
    ///
    /// # Errors
    /// When that file exists already, or a disk refuses; nothing is changed then.
    pub fn go_on_in(&mut self, path: &Path) -> Result<(), KeepError> {
        let copied = new_file(self.machine.as_ref(), path).and_then(|file| {
            let (mut piece, mut at) = (vec![0; COPY_BYTES], 0);
            self.file.seek(SeekFrom::Start(0))?;
            loop {
                let length = self.file.read(&mut piece)?;
                if length == 0 {
                    break;
                }
                self.machine.write(&file, path, at, &piece[..length])?;
                at += length as u64;
            }
            self.machine.sync(&file, path)?;
            Ok(file)
        });
        self.file = copied.map_err(|source| KeepError::Write { path: path.to_owned(), source })?;
        path.clone_into(&mut self.path);
        Ok(())
    }

    /// Adds samples; after each second of them the file is whole up to there, and the disk has it.
    ///
    /// # Errors
    /// When the disk refuses, or the file is full.
    pub fn write(&mut self, samples: &[i16]) -> Result<(), KeepError> {
        for part in samples.chunks(FLUSH_SAMPLES) {
            let bytes: Vec<u8> = part.iter().flat_map(|sample| sample.to_le_bytes()).collect();
            let grown = u32::try_from(bytes.len()).ok().and_then(|len| self.data_bytes.checked_add(len));
            let Some(grown) = grown.filter(|grown| *grown <= DATA_BYTES_MAX) else {
                return Err(KeepError::Full { path: self.path.clone() });
            };
            // What a full disk took of a piece is written over when it is tried again.
            let at = u64::from(HEADER_BYTES) + u64::from(self.data_bytes);
            self.put(at, &bytes)?;
            self.data_bytes = grown;
            self.unflushed_samples += part.len();
            if self.unflushed_samples >= FLUSH_SAMPLES {
                self.sync()?;
            }
        }
        Ok(())
    }

    /// Samples kept so far.
    #[must_use]
    pub fn n_samples(&self) -> u64 {
        u64::from(self.data_bytes / SAMPLE_BYTES)
    }

    /// Ends the file and waits until the disk has it.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn finalise(mut self) -> Result<(), KeepError> {
        self.sync()
    }

    /// Makes the file whole up to the last sample given, and waits until the disk has it.
    ///
    /// # Errors
    /// When the disk refuses.
    pub fn sync(&mut self) -> Result<(), KeepError> {
        if self.unflushed_samples > 0 {
            // The sound goes out before the sizes that promise it.
            self.put(RIFF_SIZE_AT, &(HEADER_BYTES - 8 + self.data_bytes).to_le_bytes())?;
            self.put(DATA_SIZE_AT, &self.data_bytes.to_le_bytes())?;
            self.machine.sync(&self.file, &self.path).map_err(|source| self.failed(source))?;
            self.unflushed_samples = 0;
        }
        Ok(())
    }

    /// Makes sure that the file which is being written is still the one that others would find.
    ///
    /// # Errors
    /// When it or its folder was removed, moved or replaced.
    pub fn still_there(&self) -> Result<(), KeepError> {
        if private::is_same_file(&self.file, &self.path) {
            return Ok(());
        }
        Err(KeepError::Removed { path: self.path.clone() })
    }

    fn put(&self, at: u64, bytes: &[u8]) -> Result<(), KeepError> {
        self.machine.write(&self.file, &self.path, at, bytes).map_err(|source| self.failed(source))
    }

    fn failed(&self, source: std::io::Error) -> KeepError {
        KeepError::Write { path: self.path.clone(), source }
    }
}

/// A new file whose name the disk has.
fn new_file(machine: &dyn Machine, path: &Path) -> std::io::Result<File> {
    let file = machine.create(path)?;
    path.parent().map_or(Ok(()), |folder| machine.sync_folder(folder))?;
    Ok(file)
}

/// Samples behind the header of a kept file, whatever sizes it states: a power cut may leave any part of one.
///
/// # Errors
/// When the file is not there.
pub fn kept_samples(path: &Path) -> std::io::Result<u64> {
    let bytes = std::fs::metadata(path)?.len();
    Ok(bytes.saturating_sub(u64::from(HEADER_BYTES)) / u64::from(SAMPLE_BYTES))
}

/// Everything before the first sample.
fn header(started_at: &DateTime<FixedOffset>) -> Vec<u8> {
    let mut out = Vec::with_capacity(HEADER_BYTES as usize);
    out.extend(b"RIFF");
    out.extend((HEADER_BYTES - 8).to_le_bytes());
    out.extend(b"WAVEbext");
    out.extend((HEADER_BYTES - 12 - 8 - 24 - 8).to_le_bytes());
    out.extend(bext(started_at));
    out.extend(CODING_HISTORY);
    out.extend(b"fmt ");
    out.extend(16_u32.to_le_bytes());
    out.extend(1_u16.to_le_bytes()); // PCM
    out.extend(1_u16.to_le_bytes()); // mono
    out.extend(SAMPLE_RATE_HZ.to_le_bytes());
    out.extend((SAMPLE_RATE_HZ * SAMPLE_BYTES).to_le_bytes());
    out.extend(2_u16.to_le_bytes()); // bytes of one frame
    out.extend(16_u16.to_le_bytes()); // bits of one sample
    out.extend(b"data");
    out.extend(0_u32.to_le_bytes());
    assert_eq!(out.len(), HEADER_BYTES as usize, "the header has the length that its sizes state");
    out
}

/// The fixed part of the `bext` chunk (EBU Tech 3285): who made it, and when the first sample was.
fn bext(started_at: &DateTime<FixedOffset>) -> Vec<u8> {
    let midnight_s = u64::from(started_at.num_seconds_from_midnight());
    let part = u64::from(started_at.nanosecond()) * u64::from(SAMPLE_RATE_HZ) / 1_000_000_000;
    let time_reference = midnight_s * u64::from(SAMPLE_RATE_HZ) + part;
    let mut out = Vec::with_capacity(BEXT_BYTES);
    put(&mut out, "Spoken exam", 256);
    put(&mut out, "zonecall", 32);
    // The only field free enough to state the offset from UTC, which the date and time below lack.
    put(&mut out, &started_at.format("%Y-%m-%dT%H:%M:%S%:z").to_string(), 32);
    put(&mut out, &started_at.format("%Y-%m-%d").to_string(), 10);
    put(&mut out, &started_at.format("%H:%M:%S").to_string(), 8);
    out.extend(time_reference.to_le_bytes());
    out.extend(BEXT_VERSION.to_le_bytes());
    out.resize(BEXT_BYTES, 0); // no UMID; the rest is reserved
    out
}

/// Text in a field of `len` bytes, the rest zeros.
fn put(out: &mut Vec<u8>, text: &str, len: usize) {
    let end = out.len() + len;
    out.extend(text.bytes().take(len));
    out.resize(end, 0);
}
