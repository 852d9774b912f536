//! From the stream to utterances that are understood: the grammar decides when a phrase is over.
//!
//! Takes: samples in order, with an engine, the language and the protocols.
//! Gives: utterances that are over, and what each means by itself.
//! Never: takes the beginning of a phrase for the whole; what may go on waits, at most `OPEN_PAUSE`.
//! Tested in: `tests/it/segmenter.rs`, `tests/it/stream.rs`, `tests/it/early.rs`, `tests/it/neural.rs`.

use crate::clock::Sample;
use crate::exam::parse::{Parsed, meaning, parse};
use crate::exam::phrase_end::{AnswerExpected, is_whole, stands_apart, tells_of_another};
use crate::language::pack::Language;
use crate::protocol::Protocols;
use crate::speech::endpoint::Endpointer;
use crate::speech::recognise::{EngineError, Recogniser};
use crate::speech::stream::{AtPause, Stream, StreamListener, StreamPace, StreamParts};
use crate::speech::utterance::{Utterance, UtteranceAudio};

/// Readings kept for the moment at which their utterance is over.
const KNOWN_MAX: usize = 8;

/// What an utterance was heard as, and what that means by itself.
pub type Heard = (Utterance, Parsed);

/// What the stream is cut with.
pub struct SegmenterEar<'a> {
    /// The engine.
    pub engine: &'a mut (dyn Recogniser + 'a),
    /// The language.
    pub language: &'a Language,
    /// Default units.
    pub protocols: &'a Protocols,
}

/// When an utterance may end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// After a pause of the usual length: nobody waits for an answer.
    AtPause,
    /// At a short pause, where all of it was said surely.
    Early,
}

/// Cuts and hears one stream.
#[derive(Debug)]
pub struct UtteranceSegmenter {
    source: CutBy,
    ending: Ending,
    /// A question waits for an answer.
    answer: AnswerExpected,
    /// What was heard at pauses.
    known: Vec<Heard>,
}

/// What cuts the stream.
#[derive(Debug)]
enum CutBy {
    /// A detector of speech, for engines that cannot separate it from other sound.
    Loudness(Box<Endpointer>),
    /// The engine itself.
    Engine(Stream),
}

impl UtteranceSegmenter {
    /// Begins at sample `first`; utterances end early only where the engine is quick enough.
    #[must_use]
    pub fn new(first: Sample, ending: Ending, engine: &dyn Recogniser) -> Self {
        let ending = if engine.is_quick() { ending } else { Ending::AtPause };
        let source = match (engine.tells_sounds(), ending) {
            (true, Ending::Early) => CutBy::Engine(Stream::new(first, StreamPace::Prompt)),
            (true, Ending::AtPause) => CutBy::Engine(Stream::new(first, StreamPace::Patient)),
            (false, Ending::Early) => CutBy::Loudness(Box::new(Endpointer::asking_early(first))),
            (false, Ending::AtPause) => CutBy::Loudness(Box::new(Endpointer::new(first))),
        };
        Self { source, ending, answer: AnswerExpected::No, known: Vec::new() }
    }

    /// The same anew from sample `first` on.
    #[must_use]
    pub fn again(&self, first: Sample, ending: Ending, engine: &dyn Recogniser) -> Self {
        Self { answer: self.answer, ..Self::new(first, ending, engine) }
    }

    /// When an utterance may end.
    #[must_use]
    pub fn ending(&self) -> Ending {
        self.ending
    }

    /// From now on other words can be said than before, answers among them or not.
    pub fn expect_answer(&mut self, answer: AnswerExpected) {
        self.answer = answer;
        self.known.clear();
    }

    /// Takes samples and gives the utterances that ended in them; a detector of loudness waits for long pauses unless they
    /// may end early.
    ///
    /// # Errors
    /// When the engine fails.
    pub fn take(
        &mut self,
        samples: &[i16],
        ending: Ending,
        ear: SegmenterEar<'_>,
    ) -> Result<Vec<UtteranceAudio>, EngineError> {
        let mut at_pause = AtPauses { ear, answer: self.answer, known: &mut self.known };
        match &mut self.source {
            CutBy::Engine(stream) => stream.take(samples, &mut at_pause),
            CutBy::Loudness(endpointer) if ending == Ending::Early && self.ending == ending => {
                let mut fault = None;
                let ended = endpointer.take_asking(samples, |so_far| {
                    let found = at_pause.at_pause(so_far);
                    found.map(AtPause::is_whole).map_err(|error| fault = Some(error)).unwrap_or(false)
                });
                fault.map_or(Ok(ended), Err)
            }
            CutBy::Loudness(endpointer) => Ok(endpointer.take(samples)),
        }
    }

    /// What was going on when the sound ended, if anything.
    ///
    /// # Errors
    /// When the engine fails.
    pub fn finish(&mut self, ear: SegmenterEar<'_>) -> Result<Vec<UtteranceAudio>, EngineError> {
        let mut at_pause = AtPauses { ear, answer: self.answer, known: &mut self.known };
        match &mut self.source {
            CutBy::Engine(stream) => stream.finish(&mut at_pause),
            CutBy::Loudness(endpointer) => Ok(endpointer.finish().into_iter().collect()),
        }
    }

    /// The utterance that is going on; none where nobody speaks.
    #[must_use]
    pub fn growing(&self) -> Option<UtteranceAudio> {
        match &self.source {
            CutBy::Engine(stream) => stream.growing(),
            CutBy::Loudness(endpointer) => endpointer.growing(),
        }
    }

    /// An utterance that is over: recognised and understood.
    ///
    /// # Errors
    /// When the engine fails.
    pub fn recognise(&mut self, audio: &UtteranceAudio, ear: SegmenterEar<'_>) -> Result<Heard, EngineError> {
        let known = self.known.iter().position(|(utterance, _)| utterance.span == audio.span);
        match known.map(|idx| self.known.swap_remove(idx)) {
            Some(heard) => Ok(heard),
            None => {
                let utterance = ear.engine.recognise(audio)?;
                let parsed = parse(&utterance, ear.language, ear.protocols);
                Ok((utterance, parsed))
            }
        }
    }
}

/// The grammar's word on pauses.
struct AtPauses<'a, 'b> {
    ear: SegmenterEar<'a>,
    answer: AnswerExpected,
    known: &'b mut Vec<Heard>,
}

impl AtPauses<'_, '_> {
    /// Whether what was heard last ends in a call after which people pause.
    fn is_closed(&self) -> bool {
        let last = self.known.last().and_then(|(_, parsed)| parsed.calls.last());
        last.is_some_and(|call| call.act.is_closing())
    }

    /// The words heard last, sure or not.
    fn words_heard(&self) -> Vec<String> {
        let last = self.known.last().into_iter();
        last.flat_map(|(utterance, _)| utterance.words.iter().map(|word| word.text.clone())).collect()
    }

    /// The words of what was said so far, where they are surely heard and a phrase; and whether it is but a beginning.
    fn hear(&mut self, audio: &UtteranceAudio) -> Result<(Option<Vec<String>>, bool), EngineError> {
        let (utterance, is_half) = self.ear.engine.recognise_so_far(audio)?;
        let parsed = parse(&utterance, self.ear.language, self.ear.protocols);
        let is_sure = !utterance.rejected && !utterance.unsure && parsed.problems.is_empty();
        let words = utterance.words.iter().map(|word| word.text.clone()).collect();
        if self.known.len() == KNOWN_MAX {
            self.known.remove(0);
        }
        self.known.push((utterance, parsed));
        Ok((is_sure.then_some(words), is_half))
    }
}

impl StreamListener for AtPauses<'_, '_> {
    fn sounds(&mut self, samples: &[i16]) -> Result<Vec<f32>, EngineError> {
        self.ear.engine.sounds(samples)
    }

    fn at_pause(&mut self, so_far: &UtteranceAudio) -> Result<AtPause, EngineError> {
        let (words, is_half) = self.hear(so_far)?;
        let Some(words) = words.filter(|_| !is_half) else {
            return Ok(if is_half { AtPause::Half } else { AtPause::Unclear });
        };
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let is_whole = is_whole(&words, self.answer, self.ear.language, self.ear.protocols);
        Ok(match is_whole {
            true if self.is_closed() => AtPause::Closed,
            true => AtPause::Whole,
            false => AtPause::MayGoOn,
        })
    }

    fn goes_on(&mut self, parts: &StreamParts) -> Result<bool, EngineError> {
        let (Some(both), _) = self.hear(&parts.both)? else {
            let together = self.words_heard();
            let (second, is_half) = self.hear(&parts.second)?;
            let Some(second) = second.filter(|_| !is_half) else { return Ok(true) };
            // Together they are not clear: two calls, as the second is clear by itself. But a short pause does not choose
            // between the meanings of words that are the same either way.
            return Ok(!parts.is_long_pause && together.len() > second.len() && together.ends_with(&second));
        };
        if parts.was.is_whole() && !parts.is_long_pause {
            // Calls said in one go are one utterance, as long as all of it is clear.
            return Ok(true);
        }
        let (Some(first), _) = self.hear(&parts.first)? else { return Ok(true) };
        let Some(rest) = both.strip_prefix(first.as_slice()) else { return Ok(true) };
        let rest: Vec<&str> = rest.iter().map(String::as_str).collect();
        let first: Vec<&str> = first.iter().map(String::as_str).collect();
        let apart = if parts.was.is_whole() { tells_of_another } else { stands_apart };
        Ok(!apart(&first, &rest, self.ear.language, self.ear.protocols))
    }

    fn only_ends(&mut self, parts: &StreamParts) -> Result<bool, EngineError> {
        let ((Some(first), _), (Some(both), _)) = (self.hear(&parts.first)?, self.hear(&parts.both)?) else {
            return Ok(false);
        };
        let key = |words: &[String]| {
            let words: Vec<&str> = words.iter().map(String::as_str).collect();
            meaning(&words, self.ear.language, self.ear.protocols)
        };
        if !both.starts_with(&first) || key(&both) != key(&first) {
            return Ok(false);
        }
        let at = |span| self.known.iter().position(|(utterance, _)| utterance.span == span);
        if let (Some(whole), Some(rest)) = (at(parts.both.span), at(parts.second.span)) {
            let words = self.known[whole].0.words.iter().skip(first.len()).cloned().collect();
            let (utterance, parsed) = &mut self.known[rest];
            (utterance.words, utterance.rejected, utterance.unsure) = (words, false, false);
            utterance.rivals.clear();
            // It is known what it is, and it changes nothing.
            *parsed = Parsed { talk: true, ..Parsed::default() };
        }
        Ok(true)
    }
}
