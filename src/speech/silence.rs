//! Looks whether a kept recording is whole, and where it holds nothing at all.
//!
//! Takes: a file that `keep` wrote.
//! Gives: how much sound it holds, and the stretches of digital silence in it.
//! Never: reads the whole of a long recording that has sound in it: a few samples every ten seconds suffice.
//! Tested in: `tests/it/hear.rs`.

use std::fs::File;
use std::io::{BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use crate::clock::{SAMPLE_RATE_HZ, Sample, Span};
use crate::plain_file;
use crate::speech::keep::kept_samples;

/// A stretch of exact zeros is reported from this length on: no microphone that is on gives one; our own limit.
pub const SILENCE_MIN: u64 = 20 * SAMPLE_RATE_HZ as u64;
/// From one look to the next: a stretch that is reported cannot lie between two of them.
const LOOK_EVERY: u64 = SILENCE_MIN / 2;
/// Samples of one look; sound has a zero now and then, but not so many in a row.
const LOOK: u64 = 64;
/// Samples read at once where a look found nothing.
const PIECE: u64 = 32 * 1024;
/// Bytes of one sample, 16 bit mono.
const SAMPLE_BYTES: u64 = 2;

/// What a file holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptSound {
    /// Samples that are there and that its head counts.
    pub n_samples: u64,
    /// Stretches of exact zeros, counted from the file's first sample.
    pub silences: Vec<Span>,
}

/// Looks through a kept recording.
///
/// # Errors
/// When it is not there, or no WAV file.
pub fn look(path: &Path) -> Result<KeptSound, hound::Error> {
    if kept_samples(path)? == 0 {
        // A power cut can leave less than a header.
        return Ok(KeptSound { n_samples: 0, silences: Vec::new() });
    }
    let reader = hound::WavReader::new(BufReader::new(plain_file::open(path)?))?;
    let spec = reader.spec();
    if (spec.channels, spec.sample_rate, spec.bits_per_sample) != (1, SAMPLE_RATE_HZ, 16) {
        return Err(hound::Error::FormatError("it is not the kept sound, which is 16-bit mono at 16 kHz"));
    }
    let stated = u64::from(reader.duration());
    let mut file = reader.into_inner();
    let start = file.stream_position()?;
    let there = std::fs::metadata(path)?.len().saturating_sub(start) / SAMPLE_BYTES;
    let mut sound = Sound { file, start, n_samples: stated.min(there) };
    let silences = sound.silences()?;
    Ok(KeptSound { n_samples: sound.n_samples, silences })
}

/// The samples of an open file.
struct Sound {
    file: BufReader<File>,
    /// The byte of the first one.
    start: u64,
    n_samples: u64,
}

impl Sound {
    fn silences(&mut self) -> std::io::Result<Vec<Span>> {
        let mut found = Vec::new();
        let mut at = 0;
        while at < self.n_samples {
            let (mut from, mut to) = (at, at);
            if self.loud(at, LOOK)?.is_empty() {
                // The stretch began somewhere after the last look, and goes on to the next sample that is no zero.
                let before = at.saturating_sub(LOOK_EVERY);
                from = self.loud(before, at - before)?.last().map_or(before, |last| before + last + 1);
                while to < self.n_samples {
                    let piece = self.loud(to, PIECE)?;
                    to = (to + piece.first().copied().unwrap_or(PIECE)).min(self.n_samples);
                    if !piece.is_empty() {
                        break;
                    }
                }
            }
            if to - from >= SILENCE_MIN {
                found.push(Span { from: Sample(from), to: Sample(to) });
            }
            at = (to / LOOK_EVERY + 1) * LOOK_EVERY;
        }
        Ok(found)
    }

    /// The first and the last sample of a piece that is not zero, counted from its beginning; none where all are.
    fn loud(&mut self, from: u64, samples: u64) -> std::io::Result<Vec<u64>> {
        self.file.seek(SeekFrom::Start(self.start + from * SAMPLE_BYTES))?;
        let mut bytes = Vec::new();
        let samples = samples.min(self.n_samples - from);
        self.file.by_ref().take(samples * SAMPLE_BYTES).read_to_end(&mut bytes)?;
        let is_loud = |byte: &u8| *byte != 0;
        let ends = [bytes.iter().position(is_loud), bytes.iter().rposition(is_loud)];
        Ok(ends.into_iter().flatten().map(|byte| byte as u64 / SAMPLE_BYTES).collect())
    }
}
