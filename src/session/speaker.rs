//! The loudspeaker, while the microphone stays open.
//!
//! Takes: samples, one piece after the other.
//! Gives: sound on the default output device.
//! Never: works in the audio callback; that one copies out of a bounded ring and returns.
//! Tested in: `tests/sound/listen.rs`, with the null sink looped back into the microphone.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};

use crate::speech::library_messages::silence_library_messages;

/// Sound that can wait to be heard, in seconds.
const RING_S: usize = 3;
/// How often it is looked whether there is room in the ring, or nothing left in it.
const PAUSE: Duration = Duration::from_millis(10);
/// A loudspeaker that takes nothing for this long is given up, and with it the sound.
const STUCK_MAX: Duration = Duration::from_secs(2);

/// The loudspeaker cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SpeakerError {
    /// There is none.
    #[error("there is no loudspeaker; plug one in, or switch the tones off with --tones off")]
    NoDevice,
    /// It cannot be opened.
    #[error("cannot open the loudspeaker: {source}; close the other program that has it")]
    Open {
        /// Why not.
        #[source]
        source: cpal::Error,
    },
    /// It wants a format that is no number.
    #[error("the loudspeaker wants samples as {format}; wanted whole or floating numbers")]
    Shape {
        /// Its format.
        format: String,
    },
}

/// A loudspeaker that is open.
pub struct Speaker {
    _stream: cpal::Stream,
    ring: Producer<f32>,
    rate_hz: u32,
    /// Nanoseconds from the callback to the ear, as the system tells.
    latency_ns: Arc<AtomicU64>,
}

impl Speaker {
    /// Opens the default output device.
    ///
    /// # Errors
    /// When there is none, or it cannot be used.
    pub fn open() -> Result<Self, SpeakerError> {
        silence_library_messages();
        let failed = |source| SpeakerError::Open { source };
        let device = cpal::default_host().default_output_device().ok_or(SpeakerError::NoDevice)?;
        let supported = device.default_output_config().map_err(failed)?;
        let (config, format) = (supported.config(), supported.sample_format());
        let rate_hz = supported.sample_rate();
        let (ring, sound) = RingBuffer::new(RING_S * rate_hz as usize);
        let latency_ns = Arc::new(AtomicU64::new(0));
        let told = Arc::clone(&latency_ns);
        let stream = match format {
            SampleFormat::I16 => build::<i16>(&device, config, sound, told),
            SampleFormat::I32 => build::<i32>(&device, config, sound, told),
            SampleFormat::U8 => build::<u8>(&device, config, sound, told),
            SampleFormat::F32 => build::<f32>(&device, config, sound, told),
            _ => return Err(SpeakerError::Shape { format: format.to_string() }),
        };
        let stream = stream.map_err(failed)?;
        stream.play().map_err(failed)?;
        Ok(Self { _stream: stream, ring, rate_hz, latency_ns })
    }

    /// Its sample rate.
    #[must_use]
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Plays samples after those that are still sounding; returns when the last of them are in the ring.
    pub fn play(&mut self, mut samples: &[f32]) {
        let mut moved_at = Instant::now();
        while !samples.is_empty() && moved_at.elapsed() < STUCK_MAX {
            let (now, later) = samples.split_at(self.ring.slots().min(samples.len()));
            if now.is_empty() {
                std::thread::sleep(PAUSE);
                continue;
            }
            if self.ring.push_entire_slice(now).is_err() {
                return;
            }
            (samples, moved_at) = (later, Instant::now());
        }
    }

    /// Waits until the last sample has been heard.
    pub fn wait(&self) {
        let (mut moved_at, mut free) = (Instant::now(), 0);
        while self.ring.slots() < self.ring.buffer().capacity() && moved_at.elapsed() < STUCK_MAX {
            std::thread::sleep(PAUSE);
            if self.ring.slots() != free {
                (free, moved_at) = (self.ring.slots(), Instant::now());
            }
        }
        std::thread::sleep(Duration::from_nanos(self.latency_ns.load(Ordering::Relaxed)).min(STUCK_MAX));
    }
}

fn build<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: StreamConfig,
    mut sound: Consumer<f32>,
    latency_ns: Arc<AtomicU64>,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels).max(1);
    let fill = move |data: &mut [T], info: &cpal::OutputCallbackInfo| {
        let at = info.timestamp();
        let latency = at.playback.duration_since(at.callback);
        latency_ns.store(u64::try_from(latency.as_nanos()).unwrap_or(0), Ordering::Relaxed);
        for frame in data.chunks_mut(channels) {
            frame.fill(T::from_sample_(sound.pop().unwrap_or(0.0)));
        }
    };
    // A loudspeaker that fails is silent; what it would have told stands on the terminal, too.
    device.build_output_stream(config, fill, |_| {}, None)
}
