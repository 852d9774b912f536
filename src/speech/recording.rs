//! Opens recordings.
//!
//! Takes: a WAV or FLAC file of any usual width, rate and number of channels, or raw 16 kHz mono 16 bit samples.
//! Gives: blocks of samples at 16 kHz mono, the length if known, and when the recording says that it began.
//! Never: holds a whole recording in memory, or passes over a damaged part in silence.
//! Tested in: `tests/it/hear.rs`.

use std::fs::File;
use std::io::{BufReader, Cursor, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use chrono::NaiveDateTime;
use symphonia::core::codecs::audio::{AudioDecoder, AudioDecoderOptions};
use symphonia::core::errors::Error as FlacError;
use symphonia::core::formats::{FormatReader, TrackType, probe::Hint};
use symphonia::core::io::{MediaSourceStream, MediaSourceStreamOptions};

use crate::clock::SAMPLE_RATE_HZ;
use crate::speech::resample::{After, Resample, ResampleRefused};
use crate::speech::wav_head::{StatedLength, WavHead, bext_start};
use crate::terminal::ShownText as _;

/// Frames read from a file at a time.
const BLOCK_FRAMES: usize = 4_096;
/// Sample rates that a recording may have, in Hz.
pub(crate) const RATES_HZ: std::ops::RangeInclusive<u32> = 4_000..=384_000;
/// Most channels a recording may have; their mean is heard.
pub(crate) const CHANNELS_MAX: usize = 32;
/// A recording being read.
pub struct Recording {
    path: PathBuf,
    source: SampleSource,
    channels: usize,
    resample: Option<Resample>,
    total_samples: Option<u64>,
    started_at: Option<NaiveDateTime>,
    is_unfinished: bool,
    /// What stopped the reading, reported after the samples before it were given.
    pending: Option<RecordingError>,
    ended: bool,
}

/// The recording cannot be read.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RecordingError {
    /// The file cannot be opened or read.
    #[error("cannot read the recording `{path}`: {source}{}", remedy(source), path = path.shown())]
    Read {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// It is no WAV file, or a damaged one.
    #[error("cannot read the recording `{path}` as WAV: {}", wav_fault(fault), path = path.shown())]
    Wav {
        /// The file.
        path: PathBuf,
        /// What is wrong; said in the message, and so no source of its own.
        fault: hound::Error,
    },
    /// It holds more samples than the head of a WAV file can state.
    #[error(
        "the recording `{path}` is longer than 4 GiB, the most that a WAV file can hold; cut it in two files and name both, or convert it to FLAC",
        path = path.shown()
    )]
    TooLong {
        /// The file.
        path: PathBuf,
    },
    /// It is no FLAC file, or a damaged one.
    #[error("cannot read the recording `{path}` as FLAC: {source}", path = path.shown())]
    Flac {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        #[source]
        source: FlacError,
    },
    /// It is neither WAV nor FLAC.
    #[error("the recording `{path}` is neither WAV nor FLAC; convert it to one of them", path = path.shown())]
    Unknown {
        /// The file.
        path: PathBuf,
    },
    /// A rate or number of channels that nobody records speech with.
    #[error(
        "the recording `{path}` has {rate_hz} Hz and {channels} channels; convert it to 4000 to 384000 Hz and 1 to 32 channels",
        path = path.shown()
    )]
    Shape {
        /// The file.
        path: PathBuf,
        /// Its sample rate in Hz.
        rate_hz: u32,
        /// Its channels.
        channels: usize,
    },
    /// The sample rate cannot be changed.
    #[error("cannot bring the recording `{path}` to 16 kHz: {source}", path = path.shown())]
    Resample {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: ResampleRefused,
    },
}

/// What to do about a file that cannot be opened; nothing where that is not known.
fn remedy(error: &std::io::Error) -> &'static str {
    match error.kind() {
        std::io::ErrorKind::NotFound => "; check its spelling and its folder",
        std::io::ErrorKind::PermissionDenied => {
            "; give yourself permission to read it, for example with `chmod u+r`"
        }
        std::io::ErrorKind::IsADirectory => {
            "; name the file itself, or several files in the order they were made"
        }
        _ => "",
    }
}

/// What is wrong with a WAV file, with the way out.
fn wav_fault(fault: &hound::Error) -> String {
    match fault {
        hound::Error::Unsupported => {
            "its samples are not stored as plain numbers (PCM); convert it to WAV with PCM samples, or to FLAC".to_owned()
        }
        hound::Error::IoError(_) => {
            "it ends before its samples do, as where a copy was cut off; copy it again from the recorder".to_owned()
        }
        other => format!("{other}; convert it to WAV with PCM samples, or to FLAC"),
    }
}

enum SampleSource {
    Wav(hound::WavReader<Box<dyn Read>>),
    Flac { format: Box<dyn FormatReader>, decoder: Box<dyn AudioDecoder>, track_id: u32 },
    Raw(Box<dyn Read>),
}

/// Opens a WAV or FLAC file; its first bytes say which.
///
/// # Errors
/// When it cannot be opened or is neither.
pub fn open(path: &Path) -> Result<Recording, RecordingError> {
    let read_failed = |source| RecordingError::Read { path: path.to_owned(), source };
    // A pipe would be waited for without end, and cannot be read from its beginning again.
    if std::fs::metadata(path).is_ok_and(|about| !about.is_file() && !about.is_dir()) {
        let why = "it is not a file; to hear a pipe of raw samples, name it `-`";
        return Err(read_failed(std::io::Error::new(std::io::ErrorKind::InvalidInput, why)));
    }
    let mut file = File::open(path).map_err(read_failed)?;
    let mut magic = Vec::new();
    file.by_ref().take(4).read_to_end(&mut magic).map_err(read_failed)?;
    file.rewind().map_err(read_failed)?;
    match magic.as_slice() {
        b"RIFF" => open_wav(path, file),
        b"fLaC" => open_flac(path, file),
        _ => Err(RecordingError::Unknown { path: path.to_owned() }),
    }
}

/// Raw samples, 16 bit little-endian, 16 kHz, mono; `path` is how errors name the stream (`-`).
#[must_use]
pub fn raw(path: &Path, reader: Box<dyn Read>) -> Recording {
    Recording {
        path: path.to_owned(),
        source: SampleSource::Raw(reader),
        channels: 1,
        resample: None,
        total_samples: None,
        started_at: None,
        is_unfinished: false,
        pending: None,
        ended: false,
    }
}

impl Recording {
    /// The next samples at 16 kHz mono; none at the end.
    ///
    /// # Errors
    /// When the recording is damaged here; what came before was given first.
    pub fn next_block(&mut self) -> Result<Option<Vec<i16>>, RecordingError> {
        while !self.ended {
            if let Some(error) = self.pending.take() {
                self.ended = true;
                return Err(error);
            }
            let mut frames = Vec::new();
            if let Err(error) = self.read(&mut frames) {
                self.pending = Some(error);
            }
            self.ended = frames.is_empty() && self.pending.is_none();
            let mono = mix(&frames, self.channels);
            let after = if self.ended || self.pending.is_some() { After::Nothing } else { After::More };
            let samples = match &mut self.resample {
                Some(resample) => resample
                    .take(&mono, after)
                    .map_err(|source| RecordingError::Resample { path: self.path.clone(), source })?,
                None => mono,
            };
            if !samples.is_empty() {
                return Ok(Some(samples.into_iter().map(whole).collect()));
            }
        }
        Ok(None)
    }

    /// Its length in samples at 16 kHz, if the file states it.
    #[must_use]
    pub fn total_samples(&self) -> Option<u64> {
        self.total_samples
    }

    /// When the first sample was, on the recorder's local clock, if the file states it (Broadcast Wave `bext`).
    #[must_use]
    pub fn started_at(&self) -> Option<NaiveDateTime> {
        self.started_at
    }

    /// The file does not state its length, and goes on to the end of the file.
    #[must_use]
    pub fn is_unfinished(&self) -> bool {
        self.is_unfinished
    }

    fn with(
        path: &Path,
        source: SampleSource,
        rate_hz: u32,
        channels: usize,
        frames: Option<u64>,
    ) -> Result<Self, RecordingError> {
        if !RATES_HZ.contains(&rate_hz) || !(1..=CHANNELS_MAX).contains(&channels) {
            return Err(RecordingError::Shape { path: path.to_owned(), rate_hz, channels });
        }
        let resample = (rate_hz != SAMPLE_RATE_HZ)
            .then(|| Resample::new(rate_hz))
            .transpose()
            .map_err(|source| RecordingError::Resample { path: path.to_owned(), source })?;
        let total_samples = frames.map(|n| n.saturating_mul(u64::from(SAMPLE_RATE_HZ)) / u64::from(rate_hz));
        let path = path.to_owned();
        let (started_at, is_unfinished, pending, ended) = (None, false, None, false);
        Ok(Self {
            path,
            source,
            channels,
            resample,
            total_samples,
            started_at,
            is_unfinished,
            pending,
            ended,
        })
    }

    /// Adds the next frames, channels interleaved, full scale 1; adds none at the end.
    fn read(&mut self, frames: &mut Vec<f32>) -> Result<(), RecordingError> {
        match &mut self.source {
            SampleSource::Wav(reader) => read_wav(reader, BLOCK_FRAMES * self.channels, frames)
                .map_err(|fault| RecordingError::Wav { path: self.path.clone(), fault }),
            SampleSource::Flac { format, decoder, track_id } => {
                read_flac(format.as_mut(), decoder.as_mut(), *track_id, frames)
                    .map_err(|source| RecordingError::Flac { path: self.path.clone(), source })
            }
            SampleSource::Raw(reader) => read_raw(reader.as_mut(), frames)
                .map_err(|source| RecordingError::Read { path: self.path.clone(), source }),
        }
    }
}

/// No sample has more bits; a header that says so is damaged.
const WAV_BITS_MAX: u16 = 32;

fn open_wav(path: &Path, mut file: File) -> Result<Recording, RecordingError> {
    let read_failed = |source| RecordingError::Read { path: path.to_owned(), source };
    let started_at = bext_start(&mut file);
    let head = WavHead::read(&mut file).map_err(read_failed)?;
    let is_unfinished = head.as_ref().is_some_and(|head| head.length == StatedLength::Wrong);
    let bytes: Box<dyn Read> = match head {
        Some(head) if head.length == StatedLength::TooMuch => {
            return Err(RecordingError::TooLong { path: path.to_owned() });
        }
        Some(head) => {
            file.seek(SeekFrom::Start(head.samples_at)).map_err(read_failed)?;
            Box::new(Cursor::new(head.bytes).chain(BufReader::new(file)))
        }
        None => {
            file.rewind().map_err(read_failed)?;
            Box::new(BufReader::new(file))
        }
    };
    let reader =
        hound::WavReader::new(bytes).map_err(|fault| RecordingError::Wav { path: path.to_owned(), fault })?;
    let (spec, frames) = (reader.spec(), u64::from(reader.duration()));
    if !(1..=WAV_BITS_MAX).contains(&spec.bits_per_sample) {
        return Err(RecordingError::Wav { path: path.to_owned(), fault: hound::Error::Unsupported });
    }
    let source = SampleSource::Wav(reader);
    let recording =
        Recording::with(path, source, spec.sample_rate, usize::from(spec.channels), Some(frames))?;
    Ok(Recording { started_at, is_unfinished, ..recording })
}

fn open_flac(path: &Path, file: File) -> Result<Recording, RecordingError> {
    let failed = |source| RecordingError::Flac { path: path.to_owned(), source };
    let unknown = || RecordingError::Unknown { path: path.to_owned() };
    let stream = MediaSourceStream::new(Box::new(file), MediaSourceStreamOptions::default());
    let format = symphonia::default::get_probe()
        .probe(&Hint::new(), stream, Default::default(), Default::default())
        .map_err(failed)?;
    let track = format.default_track(TrackType::Audio).ok_or_else(unknown)?;
    let (track_id, frames) = (track.id, track.num_frames);
    let params = track.codec_params.as_ref().and_then(|params| params.audio()).ok_or_else(unknown)?;
    let rate_hz = params.sample_rate.unwrap_or(0);
    let channels = params.channels.as_ref().map_or(0, |channels| channels.count());
    let decoder = symphonia::default::get_codecs()
        .make_audio_decoder(params, &AudioDecoderOptions::default())
        .map_err(failed)?;
    Recording::with(path, SampleSource::Flac { format, decoder, track_id }, rate_hz, channels, frames)
}

#[allow(clippy::cast_precision_loss)] // 24 bits fit; of 32 bits the lowest are far below any noise
fn read_wav(
    reader: &mut hound::WavReader<Box<dyn Read>>,
    len: usize,
    frames: &mut Vec<f32>,
) -> Result<(), hound::Error> {
    let spec = reader.spec();
    if spec.sample_format == hound::SampleFormat::Float {
        for sample in reader.samples::<f32>().take(len) {
            frames.push(sample?);
        }
    } else {
        let scale = 1.0 / (1_u64 << (spec.bits_per_sample - 1)) as f32;
        for sample in reader.samples::<i32>().take(len) {
            frames.push(sample? as f32 * scale);
        }
    }
    Ok(())
}

fn read_flac(
    format: &mut dyn FormatReader,
    decoder: &mut dyn AudioDecoder,
    track_id: u32,
    frames: &mut Vec<f32>,
) -> Result<(), FlacError> {
    while let Some(packet) = format.next_packet()? {
        if packet.track_id == track_id {
            decoder.decode(&packet)?.copy_to_vec_interleaved(frames);
            if !frames.is_empty() {
                break;
            }
        }
    }
    Ok(())
}

fn read_raw(reader: &mut dyn Read, frames: &mut Vec<f32>) -> std::io::Result<()> {
    let mut bytes = Vec::new();
    reader.take(2 * BLOCK_FRAMES as u64).read_to_end(&mut bytes)?;
    // A lone last byte is half a sample: nothing can be made of it.
    let pairs = bytes.chunks_exact(2);
    frames.extend(pairs.map(|pair| f32::from(i16::from_le_bytes([pair[0], pair[1]])) / 32_768.0));
    Ok(())
}

/// The mean of the channels.
#[allow(clippy::cast_precision_loss)] // at most `CHANNELS_MAX`
pub(crate) fn mix(frames: &[f32], channels: usize) -> Vec<f32> {
    frames.chunks_exact(channels).map(|frame| frame.iter().sum::<f32>() / channels as f32).collect()
}

/// A sample of full scale 1 as 16 bits; what is louder is clipped.
#[allow(clippy::cast_possible_truncation)] // a float cast saturates, and this one is clamped before
pub(crate) fn whole(sample: f32) -> i16 {
    (sample * 32_768.0).round().clamp(-32_768.0, 32_767.0) as i16
}
