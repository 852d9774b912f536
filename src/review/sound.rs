//! The kept audio, as a browser plays and draws it.
//!
//! Takes: the audio files of an exam, and a stretch in seconds.
//! Gives: that stretch as WAV, or the loudest sample of each short bin of all of it.
//! Never: a stretch longer than `PLAY_S_MAX`, or a file that the journal does not name.
//! Tested in: `tests/it/review.rs`.

use std::io::{Cursor, Read};
use std::path::Path;

use crate::clock::{SAMPLE_RATE_HZ, Sample, Span};
use crate::exam::event::AudioFile;
use crate::exam::kept_sound::{KeptSoundError, open, stretch};

/// Longest stretch that is played at once, in seconds.
pub(super) const PLAY_S_MAX: f64 = 120.0;
/// Bins of the drawn sound in a second.
pub(super) const BINS_PER_S: u32 = 50;
/// Samples in a bin.
const BIN_SAMPLES: usize = (SAMPLE_RATE_HZ / BINS_PER_S) as usize;

/// Bytes of a sample.
const SAMPLE_BYTES: usize = 2;
/// Bytes of a minute: whole bins.
const MINUTE_BYTES: usize = 60 * SAMPLE_RATE_HZ as usize * SAMPLE_BYTES;

/// Why there is no sound.
#[derive(Debug, thiserror::Error)]
pub(super) enum SoundError {
    #[error("{from_s} to {to_s} s cannot be played; at most {PLAY_S_MAX} s can")]
    Stretch { from_s: f64, to_s: f64 },
    #[error(transparent)]
    Kept(#[from] KeptSoundError),
    #[error("the kept audio `{file}` is not 16-bit mono")]
    Kind { file: String },
    #[error("the sound cannot be packed: {0}")]
    Pack(hound::Error),
}

/// A stretch of the exam as WAV; silence where nothing was kept.
pub(super) fn wav(
    folder: &Path,
    files: &[AudioFile],
    (from_s, to_s): (f64, f64),
) -> Result<Vec<u8>, SoundError> {
    let sound = from_s >= 0.0 && to_s > from_s && to_s - from_s <= PLAY_S_MAX && to_s < 1e7;
    if !sound {
        return Err(SoundError::Stretch { from_s, to_s });
    }
    let span = Span { from: Sample::at_second(from_s), to: Sample::at_second(to_s) };
    let samples = stretch(folder, files, span)?;
    pack(&samples).map_err(SoundError::Pack)
}

fn pack(samples: &[i16]) -> Result<Vec<u8>, hound::Error> {
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: SAMPLE_RATE_HZ,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut bytes = Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec)?;
    for value in samples {
        writer.write_sample(*value)?;
    }
    writer.finalize()?;
    Ok(bytes.into_inner())
}

/// The loudest of these samples, 0 to 255.
fn loudest_of(bytes: &[u8]) -> u8 {
    let (pairs, _) = bytes.as_chunks::<SAMPLE_BYTES>();
    let most = pairs.iter().map(|pair| i16::from_le_bytes(*pair).unsigned_abs()).max().unwrap_or(0);
    u8::try_from(most >> 7).unwrap_or(u8::MAX)
}

/// The loudest sample of each bin, 0 to 255, from the start of the exam.
/// `progress` learns how many minutes were drawn so far.
pub(super) fn peaks(
    folder: &Path,
    files: &[AudioFile],
    progress: impl Fn(usize),
) -> Result<Vec<u8>, SoundError> {
    let mut bins: Vec<u8> = Vec::new();
    let mut minutes = 0;
    for file in files {
        let first = usize::try_from(file.first_sample.0).unwrap_or(usize::MAX) / BIN_SAMPLES;
        let failed =
            |source: std::io::Error| KeptSoundError { file: file.file.clone(), source: source.into() };
        let reader = open(folder, file)?;
        let spec = reader.spec();
        if (spec.channels, spec.bits_per_sample) != (1, 16) {
            return Err(SoundError::Kind { file: file.file.clone() });
        }
        let length = u64::from(reader.duration()) * SAMPLE_BYTES as u64;
        // Bytes as they lie there: taking hours of sound sample by sample is eight times as slow.
        let mut bytes = reader.into_inner().take(length);
        let mut loudest = Vec::new();
        let mut minute = Vec::with_capacity(MINUTE_BYTES);
        loop {
            minute.clear();
            let most = MINUTE_BYTES as u64;
            if bytes.by_ref().take(most).read_to_end(&mut minute).map_err(failed)? == 0 {
                break;
            }
            progress(minutes);
            minutes += 1;
            loudest.extend(minute.chunks(BIN_SAMPLES * SAMPLE_BYTES).map(loudest_of));
        }
        bins.resize(bins.len().max(first + loudest.len()), 0);
        for (slot, most) in bins[first..].iter_mut().zip(loudest) {
            *slot = (*slot).max(most);
        }
    }
    Ok(bins)
}
