//! What a microphone that records is made of, and why one cannot be used.
//!
//! Takes: nothing; the device fills the rings.
//! Gives: `CaptureInput`, `CaptureError`.
//! Never: knows the system's sound library, which a program can be built without.
//! Tested in: `tests/sound/listen.rs`.

use std::any::Any;
use std::error::Error;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32};

use rtrb::Consumer;

use crate::speech::resample::ResampleRefused;

/// The microphone cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum CaptureError {
    /// The program was built without sound.
    #[error("this program was built without sound; install or build one that has it")]
    LeftOut,
    /// There is no microphone.
    #[error("there is no microphone; plug one in, or see what `arecord -L` lists")]
    NoDevice,
    /// No microphone has this name.
    #[error("there is no microphone `{name}`; the microphones are: {}", names.join(", "))]
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
        source: Box<dyn Error + Send + Sync>,
    },
    /// A rate, number of channels or format that nobody records speech with.
    #[error(
        "the microphone `{name}` gives {rate_hz} Hz, {channels} channels, {format}; use one with 4000 to 384000 Hz, 1 to 32 channels and integer or floating-point samples"
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
pub(super) struct CaptureGap {
    pub(super) after: u64,
    pub(super) values: u64,
}

/// A device that records, and our ends of the rings that it fills.
pub(super) struct CaptureInput {
    pub(super) name: String,
    // Dropped first: its thread holds the other ends of the rings.
    /// The stream, whatever its type: it records as long as it lives.
    pub(super) _stream: Box<dyn Any + Send>,
    pub(super) ring: Consumer<f32>,
    pub(super) gaps: Consumer<CaptureGap>,
    pub(super) gone: Arc<AtomicBool>,
    pub(super) overruns: Arc<AtomicU32>,
    pub(super) channels: usize,
    pub(super) rate_hz: u32,
}
