//! The engines, behind one trait.
//!
//! Takes: one utterance of speech (`UtteranceAudio`).
//! Gives: the words in it (`Utterance`).
//! Never: meaning, files of the exam, or the clock.
//! Tested in: `tests/it/hear.rs`, with `Scripted`.

use std::path::PathBuf;

use crate::language::engine::GrammarWord;
use crate::language::word_states::Moment;
use crate::speech::installed::remedy;
#[cfg(feature = "sphinx")]
use crate::speech::sphinx_sys::SphinxRefused;
use crate::speech::utterance::{Utterance, UtteranceAudio};
use crate::terminal::ShownText as _;

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

/// Turns one utterance of speech into words of the spoken language.
pub trait Recogniser {
    /// The engine and model, as the journal states them.
    fn id(&self) -> EngineId;

    /// The words in `segment`; none when it heard none of the language.
    ///
    /// # Errors
    /// When the engine itself fails; not understanding is no error.
    fn recognise(&mut self, segment: &UtteranceAudio) -> Result<Utterance, EngineError>;

    /// True where an utterance is heard in a small part of its own length, so that it can be heard while it grows.
    fn is_quick(&self) -> bool {
        false
    }

    /// True where the engine itself detects when the language is spoken: then `sounds` cuts the stream.
    fn tells_sounds(&self) -> bool {
        false
    }

    /// For each frame of `stream::FRAME` samples the probability that a sound of the language is in it.
    ///
    /// # Errors
    /// When the engine itself fails.
    fn sounds(&mut self, _samples: &[i16]) -> Result<Vec<f32>, EngineError> {
        Ok(Vec::new())
    }

    /// The words so far of an utterance that may go on, and whether they are but the beginning of a phrase.
    ///
    /// # Errors
    /// When the engine itself fails.
    fn recognise_so_far(&mut self, so_far: &UtteranceAudio) -> Result<(Utterance, bool), EngineError> {
        Ok((self.recognise(so_far)?, false))
    }

    /// From now on this is what can be said; an engine that ignores the moment hears everything at any time.
    fn follow(&mut self, now: Moment<'_>);
}

/// The engine cannot go on.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EngineError {
    /// A file of the acoustic model is missing.
    #[error(
        "cannot read `{path}` of the acoustic model: {source}; {}, or name the model with --model",
        remedy(),
        path = path.shown()
    )]
    Model {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// The noise cannot be taken out of an utterance.
    #[error("cannot remove the noise from an utterance: {source}; choose another --ear")]
    Denoise {
        /// Why not.
        #[source]
        source: crate::speech::resample::ResampleRefused,
    },
    /// The grammar has words that the engine cannot pronounce.
    #[error("{}", unpronounced(words))]
    Unpronounced {
        /// The words, with the place of their first use.
        words: Vec<GrammarWord>,
    },
    /// `head.json` or `calibration.json` cannot be read.
    #[error("cannot read `{path}` of the neural ear: {source}; use a head folder from a single release", path = path.shown())]
    Description {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        #[source]
        source: serde_json::Error,
    },
    /// A file does not belong to the head.
    #[error(
        "`{path}` does not match the head of the neural ear: {what} is `{found}`, expected `{wanted}`; {}, \
         and take the folder of the head from one release",
        remedy(),
        path = path.shown()
    )]
    Mismatch {
        /// The file.
        path: PathBuf,
        /// What differs.
        what: &'static str,
        /// What it is.
        found: String,
        /// What it must be.
        wanted: String,
    },
    /// A line of the head's lexicon has no meaning.
    #[error("line {line} of the lexicon `{path}` holds `{text}`; write a word and units of the head", path = path.shown())]
    Lexicon {
        /// The lexicon.
        path: PathBuf,
        /// Line number from 1.
        line: usize,
        /// The word or unit.
        text: String,
    },
    /// ONNX Runtime cannot be loaded, or refused.
    #[error(
        "cannot {what} the runtime `{path}` of the neural ear: {reason}; {}, or choose --ear sphinx",
        remedy(),
        path = path.shown()
    )]
    Runtime {
        /// The library.
        path: PathBuf,
        /// What was tried.
        what: &'static str,
        /// What it said.
        reason: String,
    },
    /// The neural ear has not all of its parts.
    #[error(
        "the neural ear lacks `{path}`; {}, or choose --ear sphinx, which hears far more wrongly and acts on it",
        remedy(),
        path = path.shown()
    )]
    NoParts {
        /// The first file that is not there.
        path: PathBuf,
    },
    /// The program was built without this ear.
    #[error(
        "this program was built without the ear `{ear}`; choose another --ear, or install or build one that has it"
    )]
    LeftOut {
        /// The ear, as the command line names it.
        ear: &'static str,
    },
    /// The Vosk library refused.
    #[error("the Vosk ear with the model `{path}` cannot {what}: {reason}; choose another --ear", path = path.shown())]
    Vosk {
        /// The model.
        path: PathBuf,
        /// What was tried.
        what: &'static str,
        /// What it said.
        reason: String,
    },
    /// A folder is no model that the Vosk ear can use.
    #[error(
        "`{path}` cannot be used as a Vosk model: {reason}; name another with --vosk-model or \
         ZONECALL_VOSK_MODEL",
        path = path.shown()
    )]
    VoskModel {
        /// The folder.
        path: PathBuf,
        /// What is wrong with it.
        reason: String,
    },
    /// PocketSphinx itself refused.
    #[cfg(feature = "sphinx")]
    #[error(transparent)]
    Sphinx(#[from] SphinxRefused),
    /// The script cannot be opened.
    #[error("cannot read the script `{path}`: {source}", path = path.shown())]
    ScriptFile {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// A script line for the `Scripted` engine cannot be read.
    #[error("cannot read line {line} of the script `{path}`: {source}", path = path.shown())]
    Script {
        /// The script file.
        path: PathBuf,
        /// Line number from 1.
        line: usize,
        /// What is wrong with it.
        #[source]
        source: serde_json::Error,
    },
}

fn unpronounced(words: &[GrammarWord]) -> String {
    let places: Vec<String> =
        words.iter().map(|word| format!("`{}` ({}:{})", word.text, word.file.shown(), word.line)).collect();
    format!(
        "no pronunciation of {}; add a line for each to words.dict next to the grammar",
        places.join(", ")
    )
}
