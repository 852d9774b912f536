//! Cuts the stream of samples into breaths of speech.
//!
//! Takes: samples at 16 kHz mono, in pieces of any length, in order.
//! Gives: `Segment`s, each with a little of what came before and after the speech.
//! Never: drops speech; a breath that is too long is cut at its quietest place and goes on in the next one.
//! Tested in: `tests/hear.rs`.

use std::collections::VecDeque;

use crate::clock::{SAMPLE_RATE_HZ, Span};
use crate::hear::sphinx_sys::{Endpointer, Refused};
use crate::hear::utterance::Segment;

/// The detector decides over this many seconds; 0.3 cut test commands right where stricter settings clipped them.
const WINDOW_S: f64 = 0.3;
/// Share of the window that must be speech to begin, or silence to end.
const WINDOW_SHARE: f64 = 0.9;
/// The most forgiving of the detector's four modes.
const MODE: i32 = 0;
/// Audio kept before the moment at which speech was noticed: the window, and the onset before it.
const BEFORE: usize = SAMPLE_RATE_HZ as usize / 2;
/// Audio kept after speech.
const AFTER_S: f64 = 0.2;
/// The longest breath, in samples: 15 s.
const BREATH_MAX: usize = 15 * SAMPLE_RATE_HZ as usize;
/// A breath that is too long is cut at the quietest tenth of a second of its last five seconds.
const CUT_SEARCH: usize = 5 * SAMPLE_RATE_HZ as usize;
const CUT_STEP: usize = SAMPLE_RATE_HZ as usize / 10;

/// Cuts breaths.
#[derive(Debug)]
pub struct Breaths {
    detector: Endpointer,
    /// Samples that do not fill a frame yet.
    partial: Vec<i16>,
    /// Number of the first sample in `recent`.
    recent_from: u64,
    /// The breath so far, or what may become the beginning of one.
    recent: VecDeque<i16>,
    /// Samples of silence since speech ended; none while waiting for speech or in it.
    quiet_len: Option<usize>,
    speaking: bool,
}

impl Breaths {
    /// Begins at sample `first`.
    ///
    /// # Errors
    /// When the detector cannot be made.
    pub fn new(first: u64) -> Result<Self, Refused> {
        let rate = i32::try_from(SAMPLE_RATE_HZ).unwrap_or(16_000);
        Ok(Self {
            detector: Endpointer::new(WINDOW_S, WINDOW_SHARE, MODE, rate)?,
            partial: Vec::new(),
            recent_from: first,
            recent: VecDeque::new(),
            quiet_len: None,
            speaking: false,
        })
    }

    /// Takes samples and gives the breaths that ended in them.
    pub fn take(&mut self, samples: &[i16]) -> Vec<Segment> {
        self.partial.extend_from_slice(samples);
        let frame_len = self.detector.frame_len();
        let mut ended = Vec::new();
        let whole = std::mem::take(&mut self.partial);
        let mut frames = whole.chunks_exact(frame_len);
        for frame in &mut frames {
            ended.extend(self.frame(frame));
        }
        self.partial = frames.remainder().to_vec();
        ended
    }

    /// The breath that was going on when the audio ended, if any.
    pub fn finish(&mut self) -> Option<Segment> {
        let rest = std::mem::take(&mut self.partial);
        self.recent.extend(rest);
        self.speaking.then(|| self.segment(self.recent.len()))
    }

    fn frame(&mut self, frame: &[i16]) -> Option<Segment> {
        let in_speech = self.detector.in_speech(frame);
        self.recent.extend(frame);
        if in_speech {
            self.speaking = true;
            self.quiet_len = None;
        } else if self.speaking {
            let quiet_len = self.quiet_len.unwrap_or(0) + frame.len();
            self.quiet_len = Some(quiet_len);
            if crate::clock::seconds(quiet_len as u64) >= AFTER_S {
                self.speaking = false;
                self.quiet_len = None;
                return Some(self.segment(self.recent.len()));
            }
        } else if self.recent.len() > BEFORE {
            let extra = self.recent.len() - BEFORE;
            self.recent.drain(..extra);
            self.recent_from += extra as u64;
        }
        if self.recent.len() >= BREATH_MAX {
            let at = self.quietest();
            let segment = self.segment(at);
            return Some(Segment { cut: true, ..segment });
        }
        None
    }

    /// Where to cut a breath that is too long.
    fn quietest(&self) -> usize {
        let from = self.recent.len() - CUT_SEARCH;
        let power = |start: &usize| -> u64 {
            let part = self.recent.range(*start..*start + CUT_STEP);
            part.map(|sample| u64::from(sample.unsigned_abs()).pow(2)).sum()
        };
        let best = (from..self.recent.len() - CUT_STEP).step_by(CUT_STEP).min_by_key(power);
        best.map_or(self.recent.len(), |start| start + CUT_STEP / 2)
    }

    /// Takes the first `len` samples out as a breath.
    fn segment(&mut self, len: usize) -> Segment {
        let samples: Vec<i16> = self.recent.drain(..len).collect();
        let from = self.recent_from;
        self.recent_from += len as u64;
        let (level_dbfs, clipped) = loudness(&samples);
        Segment { span: Span { from, to: self.recent_from }, samples, level_dbfs, clipped, cut: false }
    }
}

/// Root mean square in dB of full scale, to a tenth, and the share of samples at full scale.
#[allow(clippy::cast_precision_loss)] // a breath has far fewer than 2^53 samples
fn loudness(samples: &[i16]) -> (f64, f64) {
    let full = samples.iter().filter(|sample| sample.unsigned_abs() >= 32_767).count() as f64;
    ((level_dbfs(samples) * 10.0).round() / 10.0, full / samples.len().max(1) as f64)
}

/// Root mean square in dB of full scale; silence is -90.
#[allow(clippy::cast_precision_loss)] // a recording has far fewer than 2^53 samples
pub(crate) fn level_dbfs(samples: &[i16]) -> f64 {
    let power: f64 = samples.iter().map(|sample| (f64::from(*sample) / 32_768.0).powi(2)).sum();
    10.0 * (power / samples.len().max(1) as f64).max(1e-9).log10()
}
