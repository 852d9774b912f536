//! Tells speech from quiet, frame by frame.
//!
//! Takes: frames of 30 ms at 16 kHz, in order.
//! Gives: whether somebody speaks, judged over the last few frames.
//! Never: a cut; where an utterance begins and ends is decided in `endpoint`.
//! Tested in: `tests/it/voice_activity.rs`.
#![allow(unsafe_code)]

use std::collections::VecDeque;

use webrtc_vad::{SampleRate, Vad, VadMode};

use crate::clock::SAMPLE_RATE_HZ;

/// Samples in one frame: 30 ms.
pub const FRAME_LEN: usize = SAMPLE_RATE_HZ as usize * 3 / 100;

/// How readily a frame is taken for speech: the two ends of the detector's four modes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Strictness {
    /// Speech unless it clearly is none.
    Forgiving,
    /// Quiet unless it clearly is speech.
    Strict,
}

/// Speech has begun once every frame of the window is speech, and has ended once none is.
pub struct VoiceActivity {
    detector: Detector,
    window: VecDeque<bool>,
    window_len: usize,
    in_speech: bool,
}

struct Detector(Vad);

// SAFETY: the detector owns its memory, and the library keeps nothing that changes outside it; it may move to another
// thread, not be shared.
unsafe impl Send for Detector {}

impl VoiceActivity {
    /// A detector that judges over `window_len` frames.
    #[must_use]
    pub fn new(window_len: usize, strictness: Strictness) -> Self {
        let mode = match strictness {
            Strictness::Forgiving => VadMode::Quality,
            Strictness::Strict => VadMode::VeryAggressive,
        };
        let detector = Detector(Vad::new_with_rate_and_mode(SampleRate::Rate16kHz, mode));
        Self { detector, window: VecDeque::with_capacity(window_len + 1), window_len, in_speech: false }
    }

    /// Takes one whole frame of [`FRAME_LEN`] samples; true while somebody speaks.
    pub fn in_speech(&mut self, frame: &[i16]) -> bool {
        assert_eq!(frame.len(), FRAME_LEN, "a frame is 30 ms");
        // The only refusal is of another length.
        let is_speech = self.detector.0.is_voice_segment(frame).unwrap_or_default();
        self.window.push_back(is_speech);
        if self.window.len() > self.window_len {
            self.window.pop_front();
        }
        let n_speech = self.window.iter().filter(|is_speech| **is_speech).count();
        if n_speech == self.window_len {
            self.in_speech = true;
        } else if n_speech == 0 {
            self.in_speech = false;
        }
        self.in_speech
    }
}

impl std::fmt::Debug for VoiceActivity {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("VoiceActivity")
            .field("window", &self.window)
            .field("in_speech", &self.in_speech)
            .finish_non_exhaustive()
    }
}
