//! The loudspeaker, while the microphone stays open.
//!
//! Takes: samples, one piece after the other.
//! Gives: sound on the default output device.
//! Never: works in the audio callback; that one copies out of a bounded ring and returns.
//! Tested in: `tests/sound/listen.rs`, with the null sink looped back into the microphone.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::{Duration, Instant};

use rtrb::Producer;

use crate::session::output_device::{self, OutputError, OutputStream};

/// How often it is looked whether there is room in the ring, or nothing left in it.
const PAUSE: Duration = Duration::from_millis(10);
/// A loudspeaker that takes nothing for this long is given up, and with it the sound.
const STUCK_MAX: Duration = Duration::from_secs(2);

/// The loudspeaker cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SpeakerError {
    /// The program was built without sound.
    #[error("this program was built without sound; install or build one that has it")]
    LeftOut,
    /// There is none.
    #[error("there is no loudspeaker; plug one in, or turn the tones off with --tones off")]
    NoDevice,
    /// It cannot be opened.
    #[error("cannot open the loudspeaker: {source}; close the other program that uses it")]
    Open {
        /// Why not.
        #[source]
        source: OutputError,
    },
    /// It wants a format that is no number.
    #[error(
        "the loudspeaker needs samples as {format}, which are neither integers nor floating-point; use another one"
    )]
    Shape {
        /// Its format.
        format: String,
    },
}

/// A loudspeaker that is open.
pub struct Speaker {
    pub(super) _stream: OutputStream,
    pub(super) ring: Producer<f32>,
    pub(super) rate_hz: u32,
    /// Nanoseconds from the callback to the ear, as the system tells.
    pub(super) latency_ns: Arc<AtomicU64>,
    /// The callback throws away what waits in the ring.
    pub(super) drop_rest: Arc<AtomicBool>,
}

impl Speaker {
    /// Opens the default output device.
    ///
    /// # Errors
    /// When there is none, or it cannot be used.
    pub fn open() -> Result<Self, SpeakerError> {
        output_device::open()
    }

    /// Its sample rate.
    #[must_use]
    pub fn rate_hz(&self) -> u32 {
        self.rate_hz
    }

    /// Plays samples after those that are still sounding; returns when the last of them are in the ring.
    ///
    /// Once `is_hushed` they are broken off.
    pub fn play(&mut self, mut samples: &[f32], is_hushed: impl Fn() -> bool) {
        let mut moved_at = Instant::now();
        while !samples.is_empty() && moved_at.elapsed() < STUCK_MAX && !is_hushed() {
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

    /// Waits until the last sample has been heard; once `is_hushed` what waits to be heard is thrown away.
    pub fn wait(&self, is_hushed: impl Fn() -> bool) {
        let (mut moved_at, mut free) = (Instant::now(), 0);
        while self.ring.slots() < self.ring.buffer().capacity() && moved_at.elapsed() < STUCK_MAX {
            if is_hushed() {
                self.drop_rest.store(true, Ordering::Relaxed);
            }
            std::thread::sleep(PAUSE);
            if self.ring.slots() != free {
                (free, moved_at) = (self.ring.slots(), Instant::now());
            }
        }
        std::thread::sleep(Duration::from_nanos(self.latency_ns.load(Ordering::Relaxed)).min(STUCK_MAX));
    }
}
