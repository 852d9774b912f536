//! Which engine listens.
//!
//! Takes: the options of `hear` and `listen`.
//! Gives: the engine, loaded.
//! Never: falls back in silence, or away from an engine that was asked for.
//! Tested in: `tests/it/neural.rs`, `tests/it/demo.rs`, `tests/it/vosk.rs`.

use super::args::{self, Ear};
use super::voices;
use crate::exam::parse::meaning;
use crate::language::engine::GrammarWord;
use crate::language::pack::Language;
use crate::protocol::Protocols;
use crate::speech::installed::remedy;
use crate::speech::neural::Neural;
use crate::speech::neural::parts::Parts;
use crate::speech::recognise::{EngineError, Recogniser};
use crate::speech::scripted::Scripted;
use crate::speech::sphinx::{Sphinx, default_model_dir};
use crate::speech::vosk::{Vosk, VoskParts};

/// The engine that was asked for; else the first that can listen in this language, with a word about why not the neural.
/// The neural ear is bent to the voice of `person` where they have enrolled.
pub(super) fn choose(
    args: &args::WhichEar,
    pack: &str,
    language: &Language,
    protocols: &Protocols,
    person: Option<&str>,
) -> Result<Box<dyn Recogniser>, EngineError> {
    let neural = |parts: &Parts| -> Result<Box<dyn Recogniser>, EngineError> {
        let mut ear = neural(parts, language, protocols)?;
        if let Some(person) = person {
            voices::bend(&mut ear, person);
        }
        Ok(Box::new(ear))
    };
    let parts = Parts::find(args.head.as_deref(), pack);
    match (args.ear, &args.script) {
        (Some(Ear::Scripted), Some(script)) => return Ok(Box::new(Scripted::read(script)?)),
        (Some(Ear::Sphinx | Ear::Scripted), _) => return sphinx(args, language),
        (Some(Ear::Neural), _) => return neural(&parts),
        (Some(Ear::Vosk), _) => return vosk(args, pack, language),
        (None, _) => {}
    }
    let why = match parts.missing() {
        Some(path) => format!("`{}` is missing; {}", path.display(), remedy()),
        None => match neural(&parts) {
            Ok(engine) => return Ok(engine),
            Err(error) => error.to_string(),
        },
    };
    if VoskParts::find(args.vosk_model.as_deref(), pack).missing().is_none() {
        eprintln!("zonecall: the Vosk ear listens, not the neural ear: {why}");
        return vosk(args, pack, language);
    }
    eprintln!("zonecall: PocketSphinx listens, not the neural ear: {why}");
    sphinx(args, language)
}

/// The Vosk ear; words that its model does not know are named, for nobody can say them to it.
fn vosk(args: &args::WhichEar, pack: &str, language: &Language) -> Result<Box<dyn Recogniser>, EngineError> {
    let engine = Vosk::load(&VoskParts::find(args.vosk_model.as_deref(), pack), &language.engine)?;
    if !engine.unknown().is_empty() {
        let place = |word: &GrammarWord| format!("`{}` ({}:{})", word.text, word.file.display(), word.line);
        let places: Vec<String> = engine.unknown().iter().map(place).collect();
        eprintln!(
            "zonecall: the Vosk model does not know these words and cannot hear them: {}",
            places.join(", ")
        );
    }
    Ok(Box::new(engine))
}

pub(super) fn neural(
    parts: &Parts,
    language: &Language,
    protocols: &Protocols,
) -> Result<Neural, EngineError> {
    let (known, units) = (language.clone(), protocols.clone());
    Neural::load(parts, &language.engine, Box::new(move |words| meaning(words, &known, &units)))
}

pub(super) fn sphinx(args: &args::WhichEar, language: &Language) -> Result<Box<dyn Recogniser>, EngineError> {
    let folder = args.model.clone().unwrap_or_else(default_model_dir);
    Ok(Box::new(Sphinx::load(&folder, &language.engine)?))
}
