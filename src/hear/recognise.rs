//! The engines, behind one trait.
//!
//! Takes: one breath of speech (`Segment`).
//! Gives: the words in it (`Utterance`).
//! Never: meaning, files of the exam, or the clock.
//! Tested in: `tests/hear.rs`, with `Scripted`.

use crate::hear::utterance::{Segment, Utterance};

/// Which engine heard an exam, for the journal's first line.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct EngineId {
    /// The engine's name: `sphinx`, `scripted`, ...
    pub name: String,
    /// Its version.
    pub version: String,
    /// Which acoustic model it used.
    pub model: String,
    /// SHA-256 over the model's files, in hexadecimal.
    pub model_sha256: String,
}

/// Turns one breath of speech into words of the spoken language.
pub trait Recogniser {
    /// The engine and model, as the journal states them.
    fn id(&self) -> EngineId;

    /// The words in `segment`; none when it heard none of the language.
    ///
    /// # Errors
    /// When the engine itself fails; not understanding is no error.
    fn recognise(&mut self, segment: &Segment) -> Result<Utterance, EngineError>;
}

/// The engine cannot go on.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EngineError {
    /// A script line for the `Scripted` engine cannot be read.
    #[error("cannot read line {line} of the script `{path}`: {source}")]
    Script {
        /// The script file.
        path: std::path::PathBuf,
        /// Line number from 1.
        line: usize,
        /// What is wrong with it.
        #[source]
        source: serde_json::Error,
    },
}
