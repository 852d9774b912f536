//! Which engine listens.
//!
//! Takes: the options of `hear` and `listen`.
//! Gives: the engine, loaded.
//! Never: falls back in silence, or away from an engine that was asked for.
//! Tested in: `tests/it/neural.rs`, `tests/it/demo.rs`, `tests/it/vosk.rs`.

use super::options::{EarChoice, WhichEar};
use super::voices;
use crate::exam::parse::meaning;
use crate::exam::stakes::stakes;
use crate::language::engine::EngineLanguage;
use crate::language::pack::Language;
use crate::protocol::Protocols;
use crate::speech::neural::Neural;
use crate::speech::neural::parts::Parts;
use crate::speech::recognise::{EngineError, EngineId, Recogniser};
use crate::speech::scripted::Scripted;
use crate::speech::vosk::{IS_BUILT_IN, VoskParts};
use crate::terminal;
#[cfg(vosk_library)]
use crate::terminal::ShownText as _;

/// The engine that was asked for; else the neural ear or, where that has no parts for the language, the Vosk ear with a word
/// about why. PocketSphinx acts on what it heard wrongly far more often, so it listens only where it was asked for.
/// The neural ear is bent to the voice of `person` where they have enrolled.
pub(super) fn choose(
    args: &WhichEar,
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
        (Some(EarChoice::Scripted), Some(script)) => return Ok(Box::new(Scripted::read(script)?)),
        (Some(EarChoice::Sphinx | EarChoice::Scripted), _) => return sphinx(args, &language.engine),
        (Some(EarChoice::Neural), _) => return neural(&parts),
        (Some(EarChoice::Vosk), _) => return vosk(args, pack, language),
        (None, _) => {}
    }
    let why = match neural(&parts) {
        Ok(engine) => return Ok(engine),
        Err(error) => error,
    };
    if IS_BUILT_IN && VoskParts::find(args.vosk_model.as_deref(), pack).missing().is_none() {
        terminal::warn(format!("zonecall: using the Vosk ear instead of the neural ear: {why}"));
        return vosk(args, pack, language);
    }
    Err(why)
}

/// The Vosk ear; words that its model does not know are named, for nobody can say them to it.
#[cfg(vosk_library)]
fn vosk(args: &WhichEar, pack: &str, language: &Language) -> Result<Box<dyn Recogniser>, EngineError> {
    let parts = VoskParts::find(args.vosk_model.as_deref(), pack);
    let engine = crate::speech::vosk::Vosk::load(&parts, &language.engine)?;
    if !engine.unknown().is_empty() {
        let places: Vec<String> = engine
            .unknown()
            .iter()
            .map(|word| format!("`{}` ({}:{})", word.text, word.file.shown(), word.line))
            .collect();
        terminal::warn(format!(
            "zonecall: the Vosk model lacks these words and cannot hear them: {}",
            places.join(", ")
        ));
    }
    Ok(Box::new(engine))
}

#[cfg(not(vosk_library))]
fn vosk(_: &WhichEar, _: &str, _: &Language) -> Result<Box<dyn Recogniser>, EngineError> {
    Err(EngineError::LeftOut { ear: "vosk" })
}

pub(super) fn neural(
    parts: &Parts,
    language: &Language,
    protocols: &Protocols,
) -> Result<Neural, EngineError> {
    if let Some(path) = parts.missing() {
        return Err(EngineError::NoParts { path });
    }
    let (known, units) = (language.clone(), protocols.clone());
    let mut ear =
        Neural::load(parts, &language.engine, Box::new(move |words| meaning(words, &known, &units)))?;
    let (known, units) = (language.clone(), protocols.clone());
    ear.mind_stakes(Box::new(move |words| stakes(words, &known, &units)));
    Ok(ear)
}

#[cfg(feature = "sphinx")]
fn sphinx(args: &WhichEar, language: &EngineLanguage) -> Result<Box<dyn Recogniser>, EngineError> {
    let folder = args.model.clone().unwrap_or_else(crate::speech::dictionary::default_model_dir);
    Ok(Box::new(crate::speech::sphinx::Sphinx::load(&folder, language)?))
}

#[cfg(not(feature = "sphinx"))]
fn sphinx(_: &WhichEar, _: &EngineLanguage) -> Result<Box<dyn Recogniser>, EngineError> {
    Err(EngineError::LeftOut { ear: "sphinx" })
}

/// Loads `ear` with the grammar, to find out whether it can listen.
pub(super) fn tried(
    ear: EarChoice,
    args: &WhichEar,
    pack: &str,
    language: &Language,
    protocols: &Protocols,
) -> Result<EngineId, EngineError> {
    match ear {
        EarChoice::Neural => {
            neural(&Parts::find(args.head.as_deref(), pack), language, protocols).map(|ear| ear.id())
        }
        EarChoice::Vosk => vosk(args, pack, language).map(|ear| ear.id()),
        EarChoice::Sphinx | EarChoice::Scripted => sphinx(args, &language.engine).map(|ear| ear.id()),
    }
}
