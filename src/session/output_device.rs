//! The loudspeaker as the system gives it.
//!
//! Takes: nothing; it is the default output device.
//! Gives: the device, playing what is put into a ring.
//! Never: works in the audio callback; that one copies out of a bounded ring and returns.
//! Tested in: `tests/sound/listen.rs`, with the null sink looped back into the microphone.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample, StreamConfig};
use rtrb::{Consumer, RingBuffer};

use crate::session::audio_output::{AudioOutput, SpeakerError};
use crate::speech::library_messages::silence_library_messages;

/// Sound that can wait to be heard, in seconds.
const RING_S: usize = 3;

/// Opens the default output device.
pub(super) fn open() -> Result<AudioOutput, SpeakerError> {
    silence_library_messages();
    let failed = |error: cpal::Error| SpeakerError::Open { source: error.into() };
    let device = cpal::default_host().default_output_device().ok_or(SpeakerError::NoDevice)?;
    let supported = device.default_output_config().map_err(failed)?;
    let (config, format) = (supported.config(), supported.sample_format());
    let rate_hz = supported.sample_rate();
    let (ring, sound) = RingBuffer::new(RING_S * rate_hz as usize);
    let latency_ns = Arc::new(AtomicU64::new(0));
    let latency = Arc::clone(&latency_ns);
    let drop_rest = Arc::new(AtomicBool::new(false));
    let dropping = Arc::clone(&drop_rest);
    let stream = match format {
        SampleFormat::I16 => build::<i16>(&device, config, sound, latency, dropping),
        SampleFormat::I32 => build::<i32>(&device, config, sound, latency, dropping),
        SampleFormat::U8 => build::<u8>(&device, config, sound, latency, dropping),
        SampleFormat::F32 => build::<f32>(&device, config, sound, latency, dropping),
        _ => return Err(SpeakerError::Shape { format: format.to_string() }),
    };
    let stream = stream.map_err(failed)?;
    stream.play().map_err(failed)?;
    Ok(AudioOutput { _stream: Box::new(stream), ring, rate_hz, latency_ns, drop_rest })
}

fn build<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: StreamConfig,
    mut sound: Consumer<f32>,
    latency_ns: Arc<AtomicU64>,
    drop_rest: Arc<AtomicBool>,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels).max(1);
    let fill = move |data: &mut [T], info: &cpal::OutputCallbackInfo| {
        let at = info.timestamp();
        let latency = at.playback.duration_since(at.callback);
        latency_ns.store(u64::try_from(latency.as_nanos()).unwrap_or(0), Ordering::Relaxed);
        if drop_rest.swap(false, Ordering::Relaxed) {
            while sound.pop().is_ok() {}
        }
        for frame in data.chunks_mut(channels) {
            frame.fill(T::from_sample_(sound.pop().unwrap_or(0.0)));
        }
    };
    // A loudspeaker that fails is silent; what it would have said is on the terminal, too.
    device.build_output_stream(config, fill, |_| {}, None)
}
