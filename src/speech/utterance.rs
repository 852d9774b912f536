//! What an engine makes of one utterance of speech.
//!
//! Takes: nothing; these are the types at two boundaries (endpoint -> recognise -> parse).
//! Gives: `UtteranceAudio` and `Utterance`.
//! Never: meaning; an utterance is words, spans and numbers.
//! Tested in: the stages that make and read them.

use serde::{Deserialize, Serialize};

use crate::clock::{Sample, Span};

/// One utterance of speech, cut out of the stream by the endpointer.
#[derive(Debug, Clone, PartialEq)]
pub struct UtteranceAudio {
    /// Where it is in the kept audio.
    pub span: Span,
    /// Its samples, 16 kHz mono, as long as the span.
    pub samples: Vec<i16>,
    /// Loudness (root mean square) in dB relative to full scale; silence is about -90.
    pub level_dbfs: f64,
    /// Share of samples at full scale, 0 to 1.
    pub clipped: f64,
    /// The utterance was longer than allowed and was cut here; the next segment goes on without a gap.
    pub cut: bool,
}

/// One recognised word.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Word {
    /// The word as the grammar spells it.
    pub text: String,
    /// Where it was heard.
    pub span: Span,
    /// How sure the engine is of it, 0 to 1.
    pub confidence: f64,
}

/// What the engine heard in one segment; no words when it heard none of the language.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Utterance {
    /// The segment's span.
    pub span: Span,
    /// The words in order.
    pub words: Vec<Word>,
    /// How sure the engine is of the whole, 0 to 1.
    pub confidence: f64,
    /// The engine's own score of the best reading, in its own units; for later study only.
    pub score: f64,
    /// The engine takes this for something other than the spoken language.
    pub rejected: bool,
    /// Probably the language, but the engine does not dare to choose between the words and the first of `rivals`.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unsure: bool,
    /// What it can have been instead, most probable first, each of another meaning; empty where the engine gives none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rivals: Vec<Rival>,
    /// Loudness of the segment in dB relative to full scale.
    pub level_dbfs: f64,
    /// Share of clipped samples in the segment, 0 to 1.
    pub clipped: f64,
}

/// Another reading of an utterance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rival {
    /// Its words.
    pub words: String,
    /// How much less probable it is than the words chosen: natural logarithm of the odds, 0 or more.
    pub behind: f64,
}

impl Utterance {
    /// The words, joined with spaces.
    #[must_use]
    pub fn text(&self) -> String {
        let words: Vec<&str> = self.words.iter().map(|word| word.text.as_str()).collect();
        words.join(" ")
    }

    /// Where each word begins. None where the engine did not say: it then gives all of them the same span.
    #[must_use]
    pub fn word_starts(&self) -> Vec<Sample> {
        let starts: Vec<Sample> = self.words.iter().map(|word| word.span.from).collect();
        if starts.is_sorted_by(|one, next| one < next) { starts } else { Vec::new() }
    }
}

/// The mean of the words' confidences, long words counting more; 0 where there are none.
#[must_use]
pub fn mean_confidence(words: &[Word]) -> f64 {
    let length = |word: &Word| crate::clock::seconds(word.span.samples());
    let total: f64 = words.iter().map(length).sum();
    if total > 0.0 {
        words.iter().map(|word| word.confidence * length(word)).sum::<f64>() / total
    } else {
        0.0
    }
}
