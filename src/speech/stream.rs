//! Cuts the stream of samples into utterances by what the engine itself hears in it.
//!
//! Takes: samples at 16 kHz mono, in pieces of any length, in order, and a `StreamListener`.
//! Gives: `UtteranceAudio`s; two neighbours may share the quiet between them, so that no onset is lost.
//! Never: decides by loudness; below `GATE_DBFS`, where no speech can be, it only saves itself the look.
//! Tested in: `tests/it/stream.rs`.
//!
//! The engine gives for each frame how probable a sound of the language is there. Noise and talk have hardly any, so a
//! stretch of frames without one is a pause, in any noise. What a pause means is for the grammar to say.

use crate::clock::{SAMPLE_RATE_HZ, Sample, Span};
use crate::speech::endpoint::{level_dbfs, utterance_audio};
use crate::speech::recognise::EngineError;
use crate::speech::utterance::UtteranceAudio;

/// Samples of a frame.
pub const FRAME: u64 = FRAME_LEN as u64;
const FRAME_LEN: usize = 384;
/// A sound of the language is where one is more probable than not.
const SOUND_MIN: f32 = 0.5;
/// Sound kept before the first frame that has a sound of the language. First sounds are noticed up to 0.5 s after a word
/// begins (95th percentile in noise, tuning voices), and the engine was trained with up to 0.7 s of quiet.
const BEFORE: u64 = millis(900);
/// Sound kept after the last one; a word goes on for up to 0.5 s after its last peak.
const AFTER: u64 = millis(500);
/// An utterance begins at least this long after the last sound of the one before.
const APART: u64 = millis(96);
/// After a pause of this length the utterance is looked at.
const SHORT_PAUSE: u64 = millis(216);
/// What is unclear or may be followed without a pause waits this long for more: of pauses within calls said in one go
/// the longest tenth are 0.4 s and more.
const UNCLEAR_PAUSE: u64 = millis(504);
/// What is whole waits this long where nobody waits for an answer: calls said in one go stay together.
const WHOLE_PAUSE: u64 = millis(696);
/// What may go on waits this long, and nothing waits longer: 1.2 s after the end of the last word, whose last peak is up to
/// 0.3 s before that.
pub const OPEN_PAUSE: u64 = millis(1500);
/// The longest utterance.
const LONGEST: u64 = millis(15_000);
/// One that is too long is cut at the longest pause in this much of its end.
const CUT_SEARCH: u64 = millis(10_000);
/// Frames this close to the end of the sound are not settled yet.
const EDGE: u64 = 4 * FRAME;
/// Frames this old are judged again: a sound between two others is often noticed only once 0.3 s after it were heard.
const AGAIN: u64 = 24 * FRAME;
/// The engine hears this much again before what is new.
const CONTEXT: u64 = 60 * FRAME;
/// Quieter than this, no microphone separates speech from its own noise, in dB of full scale over a frame.
const GATE_DBFS: f64 = -68.0;

const fn millis(ms: u64) -> u64 {
    ms * SAMPLE_RATE_HZ as u64 / 1000
}

/// So much sound that waits to be listened to is more than a moment's delay.
const BEHIND: u64 = millis(2_000);

/// Samples that are listened to at once while so many wait behind them.
///
/// A tenth of a second, in which no utterance ends and another begins. Where the machine cannot keep up, a second: nobody
/// gets an answer at once then, and long looks cost a fraction of many short ones, so that no sound has to be given up.
#[must_use]
pub fn piece_len(behind: u64) -> usize {
    let ms = if behind > BEHIND { 1_000 } else { 100 };
    SAMPLE_RATE_HZ as usize * ms / 1_000
}

/// What the stream is cut by.
pub trait StreamListener {
    /// For each frame the probability that a sound of the language is in it.
    ///
    /// # Errors
    /// When the engine fails.
    fn sounds(&mut self, samples: &[i16]) -> Result<Vec<f32>, EngineError>;

    /// What an utterance is at a pause, as far as it was said.
    ///
    /// # Errors
    /// When the engine fails.
    fn at_pause(&mut self, so_far: &UtteranceAudio) -> Result<AtPause, EngineError>;

    /// Whether `second`, said after a pause, belongs to `first`; `both` holds the two and the pause.
    ///
    /// # Errors
    /// When the engine fails.
    fn goes_on(&mut self, parts: &StreamParts) -> Result<bool, EngineError>;

    /// Whether `second`, which is not clear by itself, only ends `first`, which was over: it adds nothing to its meaning.
    ///
    /// # Errors
    /// When the engine fails.
    fn only_ends(&mut self, parts: &StreamParts) -> Result<bool, EngineError>;
}

/// Two parts of what may be one utterance.
#[derive(Debug)]
pub struct StreamParts {
    /// What the first was at the pause.
    pub was: AtPause,
    /// What was said before the pause.
    pub first: UtteranceAudio,
    /// What was said after it.
    pub second: UtteranceAudio,
    /// All of it.
    pub both: UtteranceAudio,
    /// The pause was so long that people begin anew after it.
    pub is_long_pause: bool,
}

/// What an utterance is at a pause.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AtPause {
    /// Surely heard, and people say nothing after it in one go: a save, an answer, a command.
    Closed,
    /// Surely heard, and nothing that may follow changes its meaning; another call may follow without a pause.
    Whole,
    /// Surely heard, but what follows may change its meaning.
    MayGoOn,
    /// The beginning of a phrase.
    Half,
    /// Not surely heard, or none of the language.
    Unclear,
}

impl AtPause {
    /// Nothing that may follow changes its meaning.
    #[must_use]
    pub fn is_whole(self) -> bool {
        matches!(self, Self::Closed | Self::Whole)
    }
}

/// How often the stream is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StreamPace {
    /// Somebody waits for an answer.
    Prompt,
    /// Nobody waits: fewer and longer looks, which cost less.
    Patient,
}

impl StreamPace {
    /// Samples from one look to the next.
    fn hop(self, speaking: bool) -> u64 {
        match (self, speaking) {
            (Self::Prompt, true) => 4 * FRAME,
            (Self::Prompt, false) => 15 * FRAME,
            (Self::Patient, _) => 160 * FRAME,
        }
    }
}

/// Cuts utterances.
#[derive(Debug)]
pub struct Stream {
    pace: StreamPace,
    /// The samples that are kept, and the number of the first of them.
    samples: Vec<i16>,
    first: u64,
    /// Frames before this sample are settled.
    settled: u64,
    /// No utterance begins before this sample.
    floor: u64,
    pending: Option<Pending>,
    /// Where the utterance began, and its last sound ended, that was over at a short pause.
    early: Option<(u64, u64)>,
}

/// The utterance that is going on.
#[derive(Debug)]
struct Pending {
    from: u64,
    /// End of its last frame with a sound.
    last: u64,
    /// How long it waits, once it was looked at in this pause.
    waits: Option<(AtPause, u64)>,
    /// What came before the last pause.
    before: Option<Before>,
    /// Its pauses: the end of one sound and the beginning of the next.
    pauses: Vec<(u64, u64)>,
}

/// What came before a pause that somebody ended.
#[derive(Debug)]
struct Before {
    what: AtPause,
    /// Where its sound ends.
    to: u64,
    /// Where the part after the pause begins.
    from: u64,
    is_long_pause: bool,
}

impl Stream {
    /// Begins at sample `first`.
    #[must_use]
    pub fn new(first: Sample, pace: StreamPace) -> Self {
        let first = first.0;
        Self { pace, samples: Vec::new(), first, settled: first, floor: first, pending: None, early: None }
    }

    /// Takes samples and gives the utterances that ended in them.
    ///
    /// # Errors
    /// When the engine fails.
    pub fn take(
        &mut self,
        samples: &[i16],
        listener: &mut dyn StreamListener,
    ) -> Result<Vec<UtteranceAudio>, EngineError> {
        self.samples.extend_from_slice(samples);
        let mut ended = Vec::new();
        if self.end() - self.settled >= self.pace.hop(self.pending.is_some()) + EDGE {
            self.look(EDGE, listener, &mut ended)?;
            self.forget();
        }
        Ok(ended)
    }

    /// The utterance that is going on, as far as it was said; none where nobody speaks.
    #[must_use]
    pub fn growing(&self) -> Option<UtteranceAudio> {
        self.pending.as_ref().map(|pending| self.audio(pending.from, self.end()))
    }

    /// What was going on when the sound ended, if anything; nothing is waited for any more.
    ///
    /// # Errors
    /// When the engine fails.
    pub fn finish(&mut self, listener: &mut dyn StreamListener) -> Result<Vec<UtteranceAudio>, EngineError> {
        let mut ended = Vec::new();
        if self.end() > self.settled {
            self.look(0, listener, &mut ended)?;
        }
        if let Some(pending) = self.pending.take() {
            ended.push(self.audio(pending.from, self.end().min(pending.last + AFTER)));
        }
        Ok(ended)
    }

    fn end(&self) -> u64 {
        self.first + self.samples.len() as u64
    }

    /// Looks at what is new, but for the last `edge` samples.
    fn look(
        &mut self,
        edge: u64,
        listener: &mut dyn StreamListener,
        ended: &mut Vec<UtteranceAudio>,
    ) -> Result<(), EngineError> {
        let upto = self.end().saturating_sub(edge);
        if self.pending.is_none() && self.is_silent() {
            self.settled += upto.saturating_sub(self.settled) / FRAME * FRAME;
            return Ok(());
        }
        let n_before = CONTEXT.min(self.settled - self.first) / FRAME;
        let from = self.settled - n_before * FRAME;
        let sounds = listener.sounds(self.slice(from, self.end()))?;
        // The engine gives no frame for the last few samples.
        let n_new = usize::try_from(upto.saturating_sub(self.settled) / FRAME).unwrap_or(0);
        let skipped = usize::try_from(n_before).unwrap_or(0);
        for (idx, _) in (0..n_before).zip(&sounds).filter(|(_, sound)| **sound >= SOUND_MIN) {
            self.noticed_late(from + idx * FRAME);
        }
        let new = sounds.into_iter().skip(skipped).chain(std::iter::repeat(0.0)).take(n_new);
        for sound in new {
            self.frame(sound >= SOUND_MIN, listener, ended)?;
        }
        Ok(())
    }

    /// Whether nothing of what is new can be speech.
    fn is_silent(&self) -> bool {
        let new = self.slice(self.settled, self.end());
        #[allow(clippy::cast_possible_truncation)] // a few hundred
        let mut frames = new.chunks(FRAME as usize);
        frames.all(|frame| level_dbfs(frame) < GATE_DBFS)
    }

    /// One frame on.
    fn frame(
        &mut self,
        sounds: bool,
        listener: &mut dyn StreamListener,
        ended: &mut Vec<UtteranceAudio>,
    ) -> Result<(), EngineError> {
        let at = self.settled;
        let now = at + FRAME;
        self.settled = now;
        if sounds {
            self.sound(at);
        } else if self.pending.is_none() {
            self.early = self.early.filter(|(_, last)| now - last < OPEN_PAUSE);
        } else if let Some((last, waits)) = self.pending.as_ref().map(|pending| (pending.last, pending.waits))
        {
            match waits {
                None if now - last >= SHORT_PAUSE => self.at_pause(now, listener, ended)?,
                Some((_, longest)) if now - last >= longest && !self.shows_more(now, listener)? => {
                    self.over(now, ended);
                }
                _ => {}
            }
        }
        if self.pending.as_ref().is_some_and(|pending| now - pending.from >= LONGEST) {
            self.cut_long(now, ended);
        }
        Ok(())
    }

    /// A settled frame that has a sound after all: it counts unless an utterance holds it already.
    fn noticed_late(&mut self, at: u64) {
        let known = self.pending.as_ref().map_or(self.floor, |pending| pending.last);
        if at >= known && at + AGAIN >= self.settled {
            self.sound(at);
        }
    }

    /// A frame with a sound of the language.
    fn sound(&mut self, at: u64) {
        let earliest = self.floor.max(self.first);
        let pending = self.pending.get_or_insert_with(|| Pending {
            from: at.saturating_sub(BEFORE).max(earliest),
            last: at,
            waits: None,
            before: None,
            pauses: Vec::new(),
        });
        if at > pending.last {
            pending.pauses.push((pending.last, at));
        }
        // A sound that was noticed late may show that there was no pause.
        if let Some((what, _)) = pending.waits.take().filter(|_| at - pending.last >= SHORT_PAUSE) {
            pending.before = Some(Before {
                what,
                to: at.min(pending.last + AFTER),
                from: (pending.last + APART).max(at.saturating_sub(BEFORE)),
                is_long_pause: at - pending.last >= UNCLEAR_PAUSE,
            });
        }
        pending.last = at + FRAME;
    }

    /// A pause long enough to ask what the utterance is.
    fn at_pause(
        &mut self,
        now: u64,
        listener: &mut dyn StreamListener,
        ended: &mut Vec<UtteranceAudio>,
    ) -> Result<(), EngineError> {
        let Some(mut pending) = self.pending.take() else { return Ok(()) };
        if let Some(before) = pending.before.take()
            && before.what != AtPause::Half
        {
            let parts = StreamParts {
                was: before.what,
                first: self.audio(pending.from, before.to),
                second: self.audio(before.from, now),
                both: self.audio(pending.from, now),
                is_long_pause: before.is_long_pause,
            };
            if !listener.goes_on(&parts)? {
                ended.push(parts.first);
                pending.from = before.from;
            }
        }
        let mut so_far = self.audio(pending.from, now);
        let what = listener.at_pause(&so_far)?;
        if let Some((first_from, first_to)) = self.early.take()
            && matches!(what, AtPause::Half | AtPause::Unclear)
        {
            let parts = StreamParts {
                was: AtPause::Closed,
                first: self.audio(first_from, first_to + SHORT_PAUSE),
                both: self.audio(first_from, now),
                second: so_far,
                is_long_pause: false,
            };
            if listener.only_ends(&parts)? {
                self.floor = pending.last + APART;
                ended.push(parts.second);
                return Ok(());
            }
            so_far = parts.second;
        }
        let longest = match what {
            AtPause::Whole | AtPause::Closed if self.pace == StreamPace::Patient => WHOLE_PAUSE,
            AtPause::Closed => {
                self.floor = pending.last + APART;
                self.early = Some((pending.from, pending.last));
                ended.push(so_far);
                return Ok(());
            }
            AtPause::MayGoOn | AtPause::Half => OPEN_PAUSE,
            // What is cut promptly is noticed late: the next word may have begun.
            AtPause::Unclear if self.pace == StreamPace::Prompt => WHOLE_PAUSE,
            AtPause::Whole | AtPause::Unclear => UNCLEAR_PAUSE,
        };
        pending.waits = Some((what, longest));
        self.pending = Some(pending);
        Ok(())
    }

    /// Whether more was said than short looks showed: before an utterance is over, all of it is heard once in one go.
    fn shows_more(&mut self, now: u64, listener: &mut dyn StreamListener) -> Result<bool, EngineError> {
        let Some(pending) = self.pending.as_ref().filter(|_| self.pace == StreamPace::Prompt) else {
            return Ok(false);
        };
        let (from, after) = (pending.from, pending.last + APART);
        let sounds = listener.sounds(self.slice(from, self.end()))?;
        let frames = sounds.into_iter().zip((from..now.saturating_sub(FRAME - 1)).step_by(FRAME_LEN));
        let more: Vec<u64> =
            frames.filter(|(sound, at)| *sound >= SOUND_MIN && *at >= after).map(|(_, at)| at).collect();
        more.iter().for_each(|at| self.sound(*at));
        Ok(!more.is_empty())
    }

    /// Nothing more came.
    fn over(&mut self, now: u64, ended: &mut Vec<UtteranceAudio>) {
        if let Some(pending) = self.pending.take() {
            self.floor = pending.last + APART;
            ended.push(self.audio(pending.from, now.min(pending.last + AFTER)));
        }
    }

    /// Cuts an utterance that is too long at the longest pause of its end.
    fn cut_long(&mut self, now: u64, ended: &mut Vec<UtteranceAudio>) {
        let Some(mut pending) = self.pending.take() else { return };
        let late = pending.pauses.iter().filter(|(from, _)| now - from <= CUT_SEARCH);
        let at = late.max_by_key(|(from, to)| to - from).map_or(now, |(from, to)| from.midpoint(*to));
        ended.push(UtteranceAudio { cut: true, ..self.audio(pending.from, at) });
        self.floor = at;
        if pending.last > at {
            pending.pauses.retain(|(from, _)| *from > at);
            self.pending = Some(Pending { from: at, waits: None, before: None, ..pending });
        }
    }

    /// Lets go of samples that no utterance can hold any more.
    fn forget(&mut self) {
        let keep = self.settled.saturating_sub(BEFORE.max(CONTEXT));
        let oldest =
            self.pending.iter().map(|pending| pending.from).chain(self.early.map(|(from, _)| from)).min();
        let keep = keep.min(oldest.unwrap_or(keep)).max(self.first);
        // Frames are counted from the first sample on, so whole ones go.
        let gone = (keep - self.first) / FRAME * FRAME;
        self.samples.drain(..usize::try_from(gone).unwrap_or(0));
        self.first += gone;
    }

    fn slice(&self, from: u64, to: u64) -> &[i16] {
        let place =
            |at: u64| usize::try_from(at.saturating_sub(self.first)).unwrap_or(0).min(self.samples.len());
        &self.samples[place(from)..place(to)]
    }

    fn audio(&self, from: u64, to: u64) -> UtteranceAudio {
        utterance_audio(
            Span { from: Sample(from), to: Sample(to.min(self.end())) },
            self.slice(from, to).to_vec(),
        )
    }
}
