//! What an exam is heard with: an engine, a language, and the protocols that give its words their meaning.
//!
//! Takes: the sound of an utterance.
//! Gives: its words and what they mean.
//! Never: remembers anything of the exam.
//! Tested in: `tests/it/early.rs`, `tests/it/demo.rs`.

use std::sync::Arc;

use crate::exam::parse::{Parsed, parse};
use crate::exam::utterance_segmenter::SegmenterEar;
use crate::language::pack::Language;
use crate::language::word_states::Moment;
use crate::protocol::Protocols;
use crate::session::effect::{AnswerExpected, Expected};
use crate::speech::recognise::{EngineError, Recogniser};
use crate::speech::utterance::{Utterance, UtteranceAudio, Word};

/// What an exam is heard with.
pub struct Ear {
    /// Turns sound into words.
    pub engine: Box<dyn Recogniser>,
    /// What can be said.
    pub language: Language,
    /// What it means.
    pub protocols: Arc<Protocols>,
}

impl Ear {
    /// One utterance, recognised and understood.
    ///
    /// # Errors
    /// When the engine fails.
    pub fn hear(&mut self, segment: &UtteranceAudio) -> Result<(Utterance, Parsed), EngineError> {
        let utterance = self.engine.recognise(segment)?;
        let parsed = self.understand(&utterance);
        Ok((utterance, parsed))
    }

    /// What the stream is cut into utterances with.
    pub(super) fn for_segmenter(&mut self) -> SegmenterEar<'_> {
        SegmenterEar { engine: self.engine.as_mut(), language: &self.language, protocols: &self.protocols }
    }

    /// What an utterance means by itself.
    #[must_use]
    pub fn understand(&self, utterance: &Utterance) -> Parsed {
        parse(utterance, &self.language, &self.protocols)
    }

    /// The second reading of an utterance that the engine is unsure of, understood; none where it gives none.
    ///
    /// Where in the utterance its words lie is not known.
    #[must_use]
    pub fn understand_rival(&self, utterance: &Utterance) -> Option<Parsed> {
        let rival = utterance.rivals.first().filter(|_| utterance.unsure)?;
        let (span, confidence) = (utterance.span, utterance.confidence);
        let words = rival.words.split(' ').map(|text| Word { text: text.to_owned(), span, confidence });
        let reading = Utterance { words: words.collect(), ..utterance.clone() };
        Some(self.understand(&reading))
    }

    /// From now on this is what can be said.
    pub(super) fn expect(&mut self, expected: &Expected) {
        let asked = expected.answer == AnswerExpected::Yes;
        self.engine.follow(Moment { limb: expected.limb.as_deref(), asked });
    }
}
