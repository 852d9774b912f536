//! The microphone as the system gives it.
//!
//! Takes: the name of a device, or none for the default one.
//! Gives: the device, recording into a ring.
//! Never: works while it takes sound: that only copies into a bounded ring and returns.
//! Tested in: `tests/sound/listen.rs`, with PulseAudio's null sink as the microphone.

#[cfg(target_os = "linux")]
use std::{any::Any, error::Error};

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

#[cfg(target_os = "linux")]
use cpal::SupportedStreamConfig;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{Device, ErrorKind, FromSample, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Producer, RingBuffer};

#[cfg(target_os = "linux")]
use crate::speech::alsa_input::AlsaInput;
use crate::speech::capture_input::{CaptureError, CaptureGap, CaptureInput};
use crate::speech::library_messages::silence_library_messages;
use crate::speech::recording::{CHANNELS_MAX, RATES_HZ};

/// The ring holds this many seconds: a slow engine may think that long before sound is lost.
const RING_S: usize = 60;
/// Gaps that can wait to be reported; more of them are reported as one.
const GAPS_MAX: usize = 64;
/// Devices that are named in an error.
const NAMES_MAX: usize = 12;

/// Opens the microphone called `name` (or a part of it), or the default one, and begins to record.
pub(super) fn open(name: Option<&str>) -> Result<CaptureInput, CaptureError> {
    let (device, name) = find(name)?;
    let failed = |error: cpal::Error| CaptureError::Open { name: name.clone(), source: error.into() };
    let config = device.default_input_config().map_err(failed)?;
    let (rate_hz, channels) = (config.sample_rate(), usize::from(config.channels()));
    let format = config.sample_format();
    let unusable =
        || CaptureError::Shape { name: name.clone(), rate_hz, channels, format: format.to_string() };
    if !RATES_HZ.contains(&rate_hz) || !(1..=CHANNELS_MAX).contains(&channels) {
        return Err(unusable());
    }
    let (producer, ring) = RingBuffer::new(RING_S * rate_hz as usize * channels);
    let (gap_producer, gaps) = RingBuffer::new(GAPS_MAX);
    let fill = Fill { ring: producer, gaps: gap_producer, n_written: 0, lost: 0 };
    let (gone, overruns) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
    let faults = Faults { gone: Arc::clone(&gone), overruns: Arc::clone(&overruns) };
    #[cfg(target_os = "linux")]
    let (fill, faults) = match read_alsa(&device, &config, fill, faults) {
        Reads::Itself(stream) => {
            let _stream = stream.map_err(|source| CaptureError::Open { name: name.clone(), source })?;
            return Ok(CaptureInput { name, _stream, ring, gaps, gone, overruns, channels, rate_hz });
        }
        Reads::Not(fill, faults) => (fill, faults),
    };
    let stream =
        start(&device, config.config(), format, fill, faults).ok_or_else(unusable)?.map_err(failed)?;
    stream.play().map_err(failed)?;
    Ok(CaptureInput { name, _stream: Box::new(stream), ring, gaps, gone, overruns, channels, rate_hz })
}

/// Whether a device is read by a thread of ours.
#[cfg(target_os = "linux")]
enum Reads {
    /// It is, or it refused.
    Itself(Result<Box<dyn Any + Send>, Box<dyn Error + Send + Sync>>),
    /// It has a rare format, or no name in ALSA: `cpal` reads it.
    Not(Fill, Faults),
}

/// Has a thread of ours read the device, in the formats that most have.
#[cfg(target_os = "linux")]
fn read_alsa(device: &Device, config: &SupportedStreamConfig, fill: Fill, faults: Faults) -> Reads {
    let Ok(name) = device.id().map(|id| id.id().to_owned()) else { return Reads::Not(fill, faults) };
    match config.sample_format() {
        SampleFormat::I16 => read_as::<i16>(&name, config, fill, faults),
        SampleFormat::I32 => read_as::<i32>(&name, config, fill, faults),
        SampleFormat::F32 => read_as::<f32>(&name, config, fill, faults),
        _ => Reads::Not(fill, faults),
    }
}

#[cfg(target_os = "linux")]
fn read_as<T>(name: &str, config: &SupportedStreamConfig, mut fill: Fill, faults: Faults) -> Reads
where
    T: alsa::pcm::IoFormat + Default + Send + 'static,
    f32: FromSample<T>,
{
    let (rate_hz, channels) = (config.sample_rate(), config.channels());
    let take = move |values: &[T]| fill.take(values, usize::from(channels));
    let Faults { gone, overruns } = faults;
    let lost = move || {
        overruns.fetch_add(1, Ordering::Relaxed);
    };
    let is_gone = move || gone.store(true, Ordering::Relaxed);
    let opened = AlsaInput::open(name, rate_hz, u32::from(channels), take, lost, is_gone);
    Reads::Itself(opened.map(|stream| Box::new(stream) as _).map_err(Into::into))
}

/// What the thread that reads the device holds.
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
        let room = if self.lost > 0 && !self.report() { 0 } else { room - room % channels };
        if let Ok(chunk) = self.ring.write_chunk_uninit(room) {
            let n = chunk.fill_from_iter(data[..room].iter().map(|value| f32::from_sample_(*value)));
            self.n_written += n as u64;
        }
        self.lost += (data.len() - room) as u64;
    }

    /// Reports what was lost, once there is room again; false while there is none.
    fn report(&mut self) -> bool {
        let gap = CaptureGap { after: self.n_written, values: self.lost };
        let reported = self.ring.slots() > 0 && self.gaps.push(gap).is_ok();
        if reported {
            self.lost = 0;
        }
        reported
    }
}

/// Flags that the thread that reads the device raises.
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
    let devices = host
        .input_devices()
        .map_err(|error| CaptureError::Open { name: wanted.to_owned(), source: error.into() })?;
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
