//! What a loudspeaker that plays is made of, and why one cannot be used.
//!
//! Takes: nothing; the device empties the ring.
//! Gives: `AudioOutput`, `SpeakerError`.
//! Never: knows the system's sound library, which a program can be built without.
//! Tested in: `tests/sound/listen.rs`.

use std::any::Any;
use std::error::Error;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64};

use rtrb::Producer;

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
        source: Box<dyn Error + Send + Sync>,
    },
    /// It needs a format that is not a number.
    #[error(
        "the loudspeaker needs samples as {format}, which are neither integers nor floating-point; use another one"
    )]
    Shape {
        /// Its format.
        format: String,
    },
}

/// A device that plays, and our end of the ring that it empties.
pub(super) struct AudioOutput {
    /// The stream, whatever its type: it plays as long as it lives.
    pub(super) _stream: Box<dyn Any + Send>,
    pub(super) ring: Producer<f32>,
    pub(super) rate_hz: u32,
    /// Nanoseconds from the callback to the ear, as the system reports.
    pub(super) latency_ns: Arc<AtomicU64>,
    /// The callback throws away what waits in the ring.
    pub(super) drop_rest: Arc<AtomicBool>,
}
