//! A stretch of the kept sound.
//!
//! Takes: an exam folder, its audio files, and from which sample to which.
//! Gives: the samples, silent where nothing was kept.
//! Never: a file that the journal does not name.
//! Tested in: `tests/it/review.rs`, `tests/it/notes.rs`.

use std::fs::File;
use std::io::BufReader;
use std::path::Path;

use hound::WavReader;

use crate::clock::Span;
use crate::exam::event::AudioFile;
use crate::plain_file;
use crate::terminal::ShownText as _;

/// Why a file of kept sound is of no use.
#[derive(Debug, thiserror::Error)]
#[error("the kept audio `{file}` cannot be read: {source}", file = .file.shown())]
pub struct KeptSoundError {
    /// Its path inside the exam folder.
    pub file: String,
    /// Why not.
    #[source]
    pub source: hound::Error,
}

/// Opens a file of kept sound.
///
/// # Errors
/// When it is not there or no WAV file.
pub fn open(folder: &Path, file: &AudioFile) -> Result<WavReader<BufReader<File>>, KeptSoundError> {
    let opened = plain_file::open(&folder.join(&file.file)).map_err(hound::Error::IoError);
    opened
        .and_then(|opened| WavReader::new(BufReader::new(opened)))
        .map_err(|source| KeptSoundError { file: file.file.clone(), source })
}

/// The samples of this span; silence where nothing was kept.
///
/// # Errors
/// When a file in it cannot be read.
pub fn stretch(folder: &Path, files: &[AudioFile], span: Span) -> Result<Vec<i16>, KeptSoundError> {
    let Span { from, to } = span;
    let mut samples = vec![0_i16; usize::try_from(to.since(from)).unwrap_or(0)];
    for file in files {
        let failed = |source| KeptSoundError { file: file.file.clone(), source };
        let mut reader = open(folder, file)?;
        let (first, length) = (file.first_sample, u64::from(reader.duration()));
        if first >= to || first + length <= from {
            continue;
        }
        let skip = from.since(first);
        reader.seek(u32::try_from(skip).unwrap_or(u32::MAX)).map_err(|source| failed(source.into()))?;
        let at = usize::try_from(first.since(from)).unwrap_or(usize::MAX);
        for (slot, value) in samples.iter_mut().skip(at).zip(reader.samples::<i16>()) {
            *slot = value.map_err(failed)?;
        }
    }
    Ok(samples)
}
