//! An engine that plays back what was heard once: for tests, and to hear an exam again without a model.
//!
//! Takes: a file of `Utterance`s, one JSON object a line, in the order of their spans.
//! Gives: for each utterance the words whose middle is in it.
//! Never: listens.
//! Tested in: `tests/it/hear.rs`.

use std::path::Path;

use crate::clock::Sample;
use crate::language::word_states::Moment;
use crate::speech::recognise::{EngineError, EngineId, Recogniser};
use crate::speech::utterance::{Utterance, UtteranceAudio, Word};

/// Plays back recorded words.
#[derive(Debug, Clone)]
pub struct Scripted {
    words: Vec<Word>,
}

impl Scripted {
    /// Plays back `words`, which are in the order of their spans.
    #[must_use]
    pub fn new(words: Vec<Word>) -> Self {
        Self { words }
    }

    /// Reads the script.
    ///
    /// # Errors
    /// When the file or one of its lines cannot be read.
    pub fn read(path: &Path) -> Result<Self, EngineError> {
        let text = std::fs::read_to_string(path)
            .map_err(|source| EngineError::ScriptFile { path: path.to_owned(), source })?;
        let mut words = Vec::new();
        for (idx, line) in text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
            let utterance: Utterance = serde_json::from_str(line).map_err(|source| EngineError::Script {
                path: path.to_owned(),
                line: idx + 1,
                source,
            })?;
            words.extend(utterance.words);
        }
        Ok(Self::new(words))
    }
}

impl Recogniser for Scripted {
    fn id(&self) -> EngineId {
        EngineId {
            name: "scripted".to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            model: "none".to_owned(),
            model_sha256: "0".repeat(64),
        }
    }

    fn recognise(&mut self, segment: &UtteranceAudio) -> Result<Utterance, EngineError> {
        let inside = |word: &&Word| {
            let middle = Sample(word.span.from.0.midpoint(word.span.to.0));
            segment.span.from <= middle && middle < segment.span.to
        };
        let words: Vec<Word> = self.words.iter().filter(inside).cloned().collect();
        let confidence = words.iter().map(|word| word.confidence).fold(1.0, f64::min);
        Ok(Utterance {
            span: segment.span,
            rejected: words.is_empty(),
            unsure: false,
            rivals: Vec::new(),
            confidence: if words.is_empty() { 0.0 } else { confidence },
            words,
            score: 0.0,
            level_dbfs: segment.level_dbfs,
            clipped: segment.clipped,
        })
    }

    /// What was heard once stays as it was.
    fn follow(&mut self, _now: Moment<'_>) {}
}
