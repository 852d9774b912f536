//! Sounds tones through the loudspeaker while the microphone stays open.
//!
//! Takes: tones, one after the other.
//! Gives: sound on the default output device.
//! Never: waits; a tone that does not fit into the bounded ring is left out.
//! Tested in: `tests/listen.rs`, with the null sink looped back into the microphone.

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, Producer, RingBuffer};

use crate::live::tone::Tone;

/// Sound that can wait to be heard, in seconds.
const RING_S: usize = 3;

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
}

impl Speaker {
    /// Opens the default output device.
    ///
    /// # Errors
    /// When there is none, or it cannot be used.
    pub fn open() -> Result<Self, SpeakerError> {
        let failed = |source| SpeakerError::Open { source };
        let device = cpal::default_host().default_output_device().ok_or(SpeakerError::NoDevice)?;
        let supported = device.default_output_config().map_err(failed)?;
        let (config, format) = (supported.config(), supported.sample_format());
        let rate_hz = supported.sample_rate();
        let (ring, sound) = RingBuffer::new(RING_S * rate_hz as usize);
        let stream = match format {
            SampleFormat::I16 => build::<i16>(&device, config, sound),
            SampleFormat::I32 => build::<i32>(&device, config, sound),
            SampleFormat::U8 => build::<u8>(&device, config, sound),
            SampleFormat::F32 => build::<f32>(&device, config, sound),
            _ => return Err(SpeakerError::Shape { format: format.to_string() }),
        };
        let stream = stream.map_err(failed)?;
        stream.play().map_err(failed)?;
        Ok(Self { _stream: stream, ring, rate_hz })
    }

    /// Sounds a tone after those that are still sounding.
    pub fn sound(&mut self, tone: Tone) {
        // Left out when the ring is full: tones that come much too late tell nothing.
        let _ = self.ring.push_entire_slice(&tone.samples(self.rate_hz));
    }
}

fn build<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: StreamConfig,
    mut sound: Consumer<f32>,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels).max(1);
    let fill = move |data: &mut [T], _: &cpal::OutputCallbackInfo| {
        for frame in data.chunks_mut(channels) {
            frame.fill(T::from_sample_(sound.pop().unwrap_or(0.0)));
        }
    };
    // A loudspeaker that fails is silent; what it would have told stands on the terminal, too.
    device.build_output_stream(config, fill, |_| {}, None)
}
