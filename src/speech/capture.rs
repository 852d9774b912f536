//! Takes sound from a microphone.
//!
//! Takes: the name of a device, or none for the default one; any rate, number of channels and sample format.
//! Gives: `AudioBlock`s at 16 kHz mono, with the samples that were lost before each.
//! Never: works in the audio callback; that one copies into a bounded ring and returns.
//! Tested in: `tests/sound/listen.rs`, with PulseAudio's null sink as the microphone.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{Device, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};

use crate::clock::SAMPLE_RATE_HZ;
use crate::speech::decode::{CHANNELS_MAX, RATES_HZ, mix, whole};
use crate::speech::library_messages::silence_library_messages;
use crate::speech::resample::{Resample, ResampleRefused};

/// The ring holds this many seconds: a slow engine may think that long before sound is lost.
const RING_S: usize = 30;
/// Gaps that can wait to be told; more of them are told as one.
const GAPS_MAX: usize = 64;
/// A stream that gives nothing for this long is taken for dead.
const SILENT_MAX: Duration = Duration::from_secs(2);
/// Devices that are named in an error.
const NAMES_MAX: usize = 12;

/// Sound as it came, at 16 kHz mono.
#[derive(Debug, Clone, PartialEq)]
pub struct AudioBlock {
    /// The samples; they follow those of the block before unless some were lost.
    pub samples: Vec<i16>,
    /// Samples that were lost before the first one.
    pub lost_before: u64,
    /// Samples at 16 kHz that wait in the ring behind this block.
    pub behind: u64,
}

/// The microphone cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CaptureError {
    /// There is no microphone.
    #[error("there is no microphone; plug one in, or see what `arecord -L` lists")]
    NoDevice,
    /// No microphone has this name.
    #[error("there is no microphone `{name}`; there are: {}", names.join(", "))]
    Unknown {
        /// The name.
        name: String,
        /// What there is.
        names: Vec<String>,
    },
    /// It cannot be opened.
    #[error(
        "cannot open the microphone `{name}`: {source}; close the other program that has it, or name another with --device"
    )]
    Open {
        /// The device.
        name: String,
        /// Why not.
        #[source]
        source: cpal::Error,
    },
    /// A rate, number of channels or format that nobody records speech with.
    #[error(
        "the microphone `{name}` gives {rate_hz} Hz, {channels} channels, {format}; wanted 4000 to 384000 Hz, 1 to 32 channels and whole or floating numbers"
    )]
    Shape {
        /// The device.
        name: String,
        /// Its rate in Hz.
        rate_hz: u32,
        /// Its channels.
        channels: usize,
        /// Its sample format.
        format: String,
    },
    /// The sample rate cannot be changed.
    #[error("cannot bring the microphone `{name}` to 16 kHz: {source}")]
    Resample {
        /// The device.
        name: String,
        /// Why not.
        #[source]
        source: ResampleRefused,
    },
    /// It was there and is gone.
    #[error("the microphone `{name}` is gone; plug it in again")]
    Gone {
        /// The device.
        name: String,
    },
}

/// Values lost after `after` values had been written into the ring.
#[derive(Debug, Clone, Copy)]
struct CaptureGap {
    after: u64,
    values: u64,
}

/// A microphone that is open.
pub struct Capture {
    name: String,
    // Dropped first: the callback holds the other ends of the rings.
    _stream: cpal::Stream,
    ring: Consumer<f32>,
    gaps: Consumer<CaptureGap>,
    gone: Arc<AtomicBool>,
    overruns: Arc<AtomicU32>,
    channels: usize,
    rate_hz: u32,
    resample: Option<Resample>,
    n_taken: u64,
    last_sound: Instant,
}

/// What the callback holds.
struct Fill {
    ring: Producer<f32>,
    gaps: Producer<CaptureGap>,
    n_written: u64,
    lost: u64,
}

impl Fill {
    /// Copies what fits, whole frames only, and counts the rest.
    fn take<T: Copy>(&mut self, data: &[T], channels: usize)
    where
        f32: FromSample<T>,
    {
        let room = self.ring.slots().min(data.len());
        let room = if self.lost > 0 && !self.tell() { 0 } else { room - room % channels };
        if let Ok(chunk) = self.ring.write_chunk_uninit(room) {
            let n = chunk.fill_from_iter(data[..room].iter().map(|value| f32::from_sample_(*value)));
            self.n_written += n as u64;
        }
        self.lost += (data.len() - room) as u64;
    }

    /// Tells of what was lost, once there is room again; false while there is none.
    fn tell(&mut self) -> bool {
        let gap = CaptureGap { after: self.n_written, values: self.lost };
        let told = self.ring.slots() > 0 && self.gaps.push(gap).is_ok();
        if told {
            self.lost = 0;
        }
        told
    }
}

impl Capture {
    /// Opens the microphone called `name` (or a part of it), or the default one, and begins to record.
    ///
    /// # Errors
    /// When there is none, or it cannot be used.
    pub fn open(name: Option<&str>) -> Result<Self, CaptureError> {
        let (device, name) = find(name)?;
        let failed = |source| CaptureError::Open { name: name.clone(), source };
        let config = device.default_input_config().map_err(failed)?;
        let (rate_hz, channels) = (config.sample_rate(), usize::from(config.channels()));
        let format = config.sample_format();
        let unusable =
            || CaptureError::Shape { name: name.clone(), rate_hz, channels, format: format.to_string() };
        if !RATES_HZ.contains(&rate_hz) || !(1..=CHANNELS_MAX).contains(&channels) {
            return Err(unusable());
        }
        let resample = (rate_hz != SAMPLE_RATE_HZ)
            .then(|| Resample::new(rate_hz))
            .transpose()
            .map_err(|source| CaptureError::Resample { name: name.clone(), source })?;
        let (producer, ring) = RingBuffer::new(RING_S * rate_hz as usize * channels);
        let (gap_producer, gaps) = RingBuffer::new(GAPS_MAX);
        let fill = Fill { ring: producer, gaps: gap_producer, n_written: 0, lost: 0 };
        let (gone, overruns) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
        let faults = Faults { gone: Arc::clone(&gone), overruns: Arc::clone(&overruns) };
        let stream =
            start(&device, config.config(), format, fill, faults).ok_or_else(unusable)?.map_err(failed)?;
        stream.play().map_err(failed)?;
        let last_sound = Instant::now();
        Ok(Self {
            name,
            _stream: stream,
            ring,
            gaps,
            gone,
            overruns,
            channels,
            rate_hz,
            resample,
            n_taken: 0,
            last_sound,
        })
    }

    /// The device's name, its rate and its channels, for people.
    #[must_use]
    pub fn describe(&self) -> String {
        format!("{} ({} Hz, {} channels)", self.name, self.rate_hz, self.channels)
    }

    /// What came since the last time; none when there is nothing yet.
    ///
    /// # Errors
    /// When the device is gone and all that it gave was taken.
    pub fn next_block(&mut self) -> Result<Option<AudioBlock>, CaptureError> {
        let dead = self.gone.load(Ordering::Relaxed) || self.last_sound.elapsed() > SILENT_MAX;
        let lost = self.gap_here();
        // Up to the next gap only, so that a loss stands between the blocks where it was.
        let until = self.gaps.peek().map_or(u64::MAX, |gap| gap.after - self.n_taken);
        let n = self.ring.slots().min(usize::try_from(until).unwrap_or(usize::MAX));
        let n = n.min(self.rate_hz as usize * self.channels);
        if n == 0 {
            return if dead { Err(CaptureError::Gone { name: self.name.clone() }) } else { Ok(None) };
        }
        let mut values = Vec::with_capacity(n);
        if let Ok(chunk) = self.ring.read_chunk(n) {
            values.extend(chunk);
        }
        self.n_taken += values.len() as u64;
        self.last_sound = Instant::now();
        let mono = mix(&values, self.channels);
        let samples = match &mut self.resample {
            Some(resample) => resample
                .take(&mono, false)
                .map_err(|source| CaptureError::Resample { name: self.name.clone(), source })?,
            None => mono,
        };
        let behind = self.at_16_khz(self.ring.slots() as u64);
        let lost_before = self.at_16_khz(lost);
        Ok(Some(AudioBlock { samples: samples.into_iter().map(whole).collect(), lost_before, behind }))
    }

    /// True once for each time that the system itself lost sound before we could take it.
    pub fn overrun(&mut self) -> bool {
        self.overruns.swap(0, Ordering::Relaxed) > 0
    }

    /// Values lost just before the next one in the ring.
    fn gap_here(&mut self) -> u64 {
        let mut lost = 0;
        while let Ok(gap) = self.gaps.peek()
            && gap.after <= self.n_taken
        {
            lost += gap.values;
            let _ = self.gaps.pop();
        }
        lost
    }

    fn at_16_khz(&self, values: u64) -> u64 {
        values / self.channels as u64 * u64::from(SAMPLE_RATE_HZ) / u64::from(self.rate_hz)
    }
}

/// Flags that the error callback raises.
struct Faults {
    gone: Arc<AtomicBool>,
    overruns: Arc<AtomicU32>,
}

impl Faults {
    fn take(&self, error: &cpal::Error) {
        match error.kind() {
            ErrorKind::Xrun => {
                self.overruns.fetch_add(1, Ordering::Relaxed);
            }
            ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => {}
            _ => self.gone.store(true, Ordering::Relaxed),
        }
    }
}

/// Builds the stream for the device's own sample format; none where the format is no number.
fn start(
    device: &Device,
    config: StreamConfig,
    format: SampleFormat,
    fill: Fill,
    faults: Faults,
) -> Option<Result<cpal::Stream, cpal::Error>> {
    Some(match format {
        SampleFormat::I8 => build::<i8>(device, config, fill, faults),
        SampleFormat::I16 => build::<i16>(device, config, fill, faults),
        SampleFormat::I24 => build::<cpal::I24>(device, config, fill, faults),
        SampleFormat::I32 => build::<i32>(device, config, fill, faults),
        SampleFormat::U8 => build::<u8>(device, config, fill, faults),
        SampleFormat::U16 => build::<u16>(device, config, fill, faults),
        SampleFormat::U32 => build::<u32>(device, config, fill, faults),
        SampleFormat::F32 => build::<f32>(device, config, fill, faults),
        SampleFormat::F64 => build::<f64>(device, config, fill, faults),
        _ => return None,
    })
}

fn build<T: SizedSample>(
    device: &Device,
    config: StreamConfig,
    mut fill: Fill,
    faults: Faults,
) -> Result<cpal::Stream, cpal::Error>
where
    f32: FromSample<T>,
{
    let channels = usize::from(config.channels);
    let copy = move |data: &[T], _: &cpal::InputCallbackInfo| fill.take(data, channels);
    device.build_input_stream(config, copy, move |error| faults.take(&error), None)
}

/// The microphone asked for, and its name.
fn find(wanted: Option<&str>) -> Result<(Device, String), CaptureError> {
    silence_library_messages();
    let host = cpal::default_host();
    let Some(wanted) = wanted else {
        let device = host.default_input_device().ok_or(CaptureError::NoDevice)?;
        return Ok((device, "default".to_owned()));
    };
    let devices =
        host.input_devices().map_err(|source| CaptureError::Open { name: wanted.to_owned(), source })?;
    let mut names = Vec::new();
    let mut near = None;
    for device in devices {
        let name = device.id().map_or_else(|_| device.to_string(), |id| id.id().to_owned());
        if name == wanted {
            return Ok((device, name));
        }
        if near.is_none() && (name.contains(wanted) || device.to_string().contains(wanted)) {
            near = Some((device, name.clone()));
        }
        if names.len() < NAMES_MAX {
            names.push(format!("`{name}`"));
        }
    }
    near.ok_or_else(|| CaptureError::Unknown { name: wanted.to_owned(), names })
}
