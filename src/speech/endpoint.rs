//! Cuts the stream of samples into utterances of speech.
//!
//! Takes: samples at 16 kHz mono, in pieces of any length, in order.
//! Gives: `UtteranceAudio`s, each with a little of what came before and after the speech.
//! Never: drops speech; an utterance that is too long is cut at its quietest place and goes on in the next one.
//! Tested in: `tests/it/hear.rs`.

use std::collections::VecDeque;

use crate::clock::{SAMPLE_RATE_HZ, Sample, Span};
use crate::speech::utterance::UtteranceAudio;
use crate::speech::voice_activity::{FRAME_LEN, Strictness, VoiceActivity};

/// The detector decides over this many frames, 0.3 s; that cut test commands right where stricter settings clipped them.
const WINDOW: usize = 10;
/// Audio kept before the moment at which speech was noticed: the window, and the onset before it. A short first word with a
/// gap after it is noticed up to 0.6 s late; more than half a second would avoid that, but PocketSphinx then loses words.
/// The neural ear does not depend on it: `stream` cuts for it.
const BEFORE: usize = SAMPLE_RATE_HZ as usize / 2;
/// Audio kept after speech.
const AFTER_S: f64 = 0.2;
/// A short pause is this many frames that a stricter detector takes for quiet.
const PAUSE_WINDOW: usize = 3;
/// After an utterance that ended at a short pause the detector still sees its speech. More of it is what the stricter one
/// sees for this long, in samples: the tone for an utterance that was understood is shorter.
const MORE_MIN: usize = 36 * SAMPLE_RATE_HZ as usize / 100;
/// Or what the detector still sees after so long.
const ECHO_MAX: usize = SAMPLE_RATE_HZ as usize;
/// The longest utterance, in samples: 15 s.
const UTTERANCE_MAX: usize = 15 * SAMPLE_RATE_HZ as usize;
/// An utterance that is too long is cut at the quietest tenth of a second of its last five seconds.
const CUT_SEARCH: usize = 5 * SAMPLE_RATE_HZ as usize;
const CUT_STEP: usize = SAMPLE_RATE_HZ as usize / 10;

/// Cuts utterances.
#[derive(Debug)]
pub struct Endpointer {
    detector: VoiceActivity,
    /// Samples that do not fill a frame yet.
    partial: Vec<i16>,
    /// Number of the first sample in `recent`.
    recent_from: Sample,
    /// The utterance so far, or what may become the beginning of one.
    recent: VecDeque<i16>,
    state: EndpointState,
    /// Sees short pauses, for those who would rather not wait for a long one.
    pauses: Option<Pauses>,
}

/// Where in an utterance the stream is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum EndpointState {
    /// Nobody speaks.
    Waiting,
    /// Somebody speaks.
    Speaking,
    /// Speech has ended; samples of quiet since then.
    Quiet(usize),
    /// An utterance ended at a short pause; samples since then, and those of them that the stricter detector takes for speech.
    EndedEarly { since: usize, more: usize },
}

#[derive(Debug)]
struct Pauses {
    detector: VoiceActivity,
    in_speech: bool,
}

impl Endpointer {
    /// Begins at sample `first`.
    #[must_use]
    pub fn new(first: Sample) -> Self {
        Self {
            detector: VoiceActivity::new(WINDOW, Strictness::Forgiving),
            partial: Vec::new(),
            recent_from: first,
            recent: VecDeque::new(),
            state: EndpointState::Waiting,
            pauses: None,
        }
    }

    /// The same, and at each short pause `take_asking` asks whether the utterance may end there.
    #[must_use]
    pub fn asking_early(first: Sample) -> Self {
        let detector = VoiceActivity::new(PAUSE_WINDOW, Strictness::Strict);
        Self { pauses: Some(Pauses { detector, in_speech: false }), ..Self::new(first) }
    }

    /// Takes samples and gives the utterances that ended in them.
    pub fn take(&mut self, samples: &[i16]) -> Vec<UtteranceAudio> {
        self.take_asking(samples, |_| false)
    }

    /// The same; `is_whole` says of an utterance at a short pause whether all of it was said.
    pub fn take_asking(
        &mut self,
        samples: &[i16],
        mut is_whole: impl FnMut(&UtteranceAudio) -> bool,
    ) -> Vec<UtteranceAudio> {
        self.partial.extend_from_slice(samples);
        let mut ended = Vec::new();
        let whole = std::mem::take(&mut self.partial);
        let mut frames = whole.chunks_exact(FRAME_LEN);
        for frame in &mut frames {
            ended.extend(self.frame(frame, &mut is_whole));
        }
        self.partial = frames.remainder().to_vec();
        ended
    }

    /// The utterance that is going on, as far as it was said; none where nobody speaks.
    #[must_use]
    pub fn growing(&self) -> Option<UtteranceAudio> {
        (self.state == EndpointState::Speaking).then(|| self.utterance(self.recent.len()))
    }

    /// The utterance that was going on when the audio ended, if any.
    pub fn finish(&mut self) -> Option<UtteranceAudio> {
        let rest = std::mem::take(&mut self.partial);
        self.recent.extend(rest);
        matches!(self.state, EndpointState::Speaking | EndpointState::Quiet(_))
            .then(|| self.segment(self.recent.len()))
    }

    fn frame(
        &mut self,
        frame: &[i16],
        is_whole: &mut dyn FnMut(&UtteranceAudio) -> bool,
    ) -> Option<UtteranceAudio> {
        let in_speech = self.detector.in_speech(frame);
        let at_pause = self.pauses.as_mut().is_some_and(|pauses| pauses.ends_with(frame));
        self.recent.extend(frame);
        self.state = match self.state {
            EndpointState::EndedEarly { since, more } => {
                let heard_more = self.pauses.as_ref().is_some_and(|pauses| pauses.in_speech);
                let since = since + frame.len();
                let more = more + if heard_more { frame.len() } else { 0 };
                match (in_speech || heard_more, more >= MORE_MIN || since >= ECHO_MAX) {
                    (true, true) => EndpointState::Speaking,
                    (true, false) => EndpointState::EndedEarly { since, more },
                    (false, _) => EndpointState::Waiting,
                }
            }
            EndpointState::Quiet(since) if !in_speech => EndpointState::Quiet(since + frame.len()),
            EndpointState::Speaking if !in_speech => EndpointState::Quiet(frame.len()),
            _ if in_speech => EndpointState::Speaking,
            _ => EndpointState::Waiting,
        };
        match self.state {
            EndpointState::Quiet(since) if crate::clock::seconds(since as u64) >= AFTER_S => {
                self.state = EndpointState::Waiting;
                return Some(self.segment(self.recent.len()));
            }
            EndpointState::Speaking if at_pause && is_whole(&self.utterance(self.recent.len())) => {
                self.state = EndpointState::EndedEarly { since: 0, more: 0 };
                return Some(self.segment(self.recent.len()));
            }
            EndpointState::Waiting if self.recent.len() > BEFORE => {
                let extra = self.recent.len() - BEFORE;
                self.recent.drain(..extra);
                self.recent_from += extra as u64;
            }
            _ => {}
        }
        if self.recent.len() >= UTTERANCE_MAX {
            let at = self.quietest();
            let segment = self.segment(at);
            return Some(UtteranceAudio { cut: true, ..segment });
        }
        None
    }

    /// Where to cut an utterance that is too long.
    fn quietest(&self) -> usize {
        let from = self.recent.len() - CUT_SEARCH;
        let power = |start: &usize| -> u64 {
            let part = self.recent.range(*start..*start + CUT_STEP);
            part.map(|sample| u64::from(sample.unsigned_abs()).pow(2)).sum()
        };
        let best = (from..self.recent.len() - CUT_STEP).step_by(CUT_STEP).min_by_key(power);
        best.map_or(self.recent.len(), |start| start + CUT_STEP / 2)
    }

    /// Takes the first `len` samples out as an utterance.
    fn segment(&mut self, len: usize) -> UtteranceAudio {
        let segment = self.utterance(len);
        self.recent.drain(..len);
        self.recent_from = segment.span.to;
        segment
    }

    /// The first `len` samples as an utterance.
    fn utterance(&self, len: usize) -> UtteranceAudio {
        let samples: Vec<i16> = self.recent.range(..len).copied().collect();
        utterance_audio(Span { from: self.recent_from, to: self.recent_from + len as u64 }, samples)
    }
}

/// Samples as an utterance that was not cut.
pub(crate) fn utterance_audio(span: Span, samples: Vec<i16>) -> UtteranceAudio {
    let (level_dbfs, clipped) = loudness(&samples);
    UtteranceAudio { span, samples, level_dbfs, clipped, cut: false }
}

impl Pauses {
    /// Takes one whole frame; true where a short pause begins.
    fn ends_with(&mut self, frame: &[i16]) -> bool {
        let before = std::mem::replace(&mut self.in_speech, self.detector.in_speech(frame));
        before && !self.in_speech
    }
}

/// Root mean square in dB of full scale, to a tenth, and the share of samples at full scale.
#[allow(clippy::cast_precision_loss)] // an utterance has far fewer than 2^53 samples
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
