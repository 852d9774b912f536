//! The loudspeaker, while the microphone stays open.
//!
//! Takes: samples, one piece after the other.
//! Gives: sound on the default output device.
//! Never: works in the audio callback; that one copies out of a bounded ring and returns.
//! Tested in: `tests/sound/listen.rs`, with the null sink looped back into the microphone.

use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use crate::session::audio_output::AudioOutput;
pub use crate::session::audio_output::SpeakerError;
use crate::session::output_device;

/// How often it is looked whether there is room in the ring, or nothing left in it.
const PAUSE: Duration = Duration::from_millis(10);
/// A loudspeaker that takes nothing for this long is given up, and with it the sound.
const STUCK_MAX: Duration = Duration::from_secs(2);

/// A loudspeaker that is open.
pub struct Speaker {
    output: AudioOutput,
}

impl Speaker {
    /// Opens the default output device.
    ///
    /// # Errors
    /// When there is none, or it cannot be used.
    pub fn open() -> Result<Self, SpeakerError> {
        Ok(Self { output: output_device::open()? })
    }

    /// Its sample rate.
    #[must_use]
    pub fn rate_hz(&self) -> u32 {
        self.output.rate_hz
    }

    /// Plays samples after those that are still sounding; returns when the last of them are in the ring.
    ///
    /// Once `is_silenced` they are broken off.
    pub fn play(&mut self, mut samples: &[f32], is_silenced: impl Fn() -> bool) {
        let mut moved_at = Instant::now();
        while !samples.is_empty() && moved_at.elapsed() < STUCK_MAX && !is_silenced() {
            let (now, later) = samples.split_at(self.output.ring.slots().min(samples.len()));
            if now.is_empty() {
                std::thread::sleep(PAUSE);
                continue;
            }
            if self.output.ring.push_entire_slice(now).is_err() {
                return;
            }
            (samples, moved_at) = (later, Instant::now());
        }
    }

    /// After this time the last sample has been heard.
    #[must_use]
    pub fn dies_away_in(&self) -> Duration {
        let waiting = self.output.ring.buffer().capacity().saturating_sub(self.output.ring.slots());
        let waiting_us = waiting as u64 * 1_000_000 / u64::from(self.output.rate_hz.max(1));
        Duration::from_micros(waiting_us) + self.latency()
    }

    fn latency(&self) -> Duration {
        Duration::from_nanos(self.output.latency_ns.load(Ordering::Relaxed)).min(STUCK_MAX)
    }

    /// Waits until the last sample has been heard; once `is_silenced` what waits to be heard is thrown away.
    pub fn wait(&self, is_silenced: impl Fn() -> bool) {
        let (mut moved_at, mut free) = (Instant::now(), 0);
        while self.output.ring.slots() < self.output.ring.buffer().capacity()
            && moved_at.elapsed() < STUCK_MAX
        {
            if is_silenced() {
                self.output.drop_rest.store(true, Ordering::Relaxed);
            }
            std::thread::sleep(PAUSE);
            if self.output.ring.slots() != free {
                (free, moved_at) = (self.output.ring.slots(), Instant::now());
            }
        }
        std::thread::sleep(self.latency());
    }
}
