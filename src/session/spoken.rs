//! What can be said in an exam.
//!
//! Takes: a grammar pack, the schemes of the exam, the protocols.
//! Gives: the language as the engines and the parser take it.
//! Never: listens.
//! Tested in: `tests/it/demo.rs`, `tests/it/language.rs`.

use std::collections::BTreeMap;
use std::path::Path;

use crate::language::engine::Pronunciation;
use crate::language::on_demand_graph::ZonesByLimb;
use crate::language::pack::{Language, Pack, PackError};
use crate::language::word_states::{Moment, WordStates as _};
use crate::protocol::Protocols;
use crate::session::own_words;
use crate::speech::dictionary::entries;

/// A call word that people say as a call.
#[derive(Debug, thiserror::Error)]
#[error("the call word is `{word}`, which is a call by itself; choose one that is not, such as `exam`")]
pub struct CallWordError {
    /// The word.
    pub word: String,
}

/// What can be said in an exam.
#[derive(Debug, Clone)]
pub struct SpokenLanguage {
    /// The grammar pack.
    pub pack: Pack,
    /// The pack, cut to the zones of the exam.
    pub language: Language,
    /// Scheme chosen for each group of limbs.
    pub schemes: BTreeMap<String, String>,
    /// The zones that can be said of each limb.
    zones: ZonesByLimb,
}

impl SpokenLanguage {
    /// The pack in the folder `grammar`, cut to `schemes`; or the built-in one with the zones of every scheme, of which
    /// those that `schemes` lack are heard and reported as not part of this exam.
    ///
    /// # Errors
    /// When the pack cannot be read.
    pub fn read(
        grammar: Option<&Path>,
        schemes: BTreeMap<String, String>,
        protocols: &Protocols,
    ) -> Result<Self, PackError> {
        let pack = match grammar {
            Some(folder) => Pack::read(folder)?,
            None => Pack::built_in()?,
        };
        // Other languages are heard by an ear that does not know the current limb: more zones cost it too much.
        let zones =
            if grammar.is_none() { protocols.sayable_zones() } else { protocols.zones_by_limb(&schemes) };
        let language = pack.for_zones(&zones);
        Ok(Self { pack, language, schemes, zones })
    }

    /// The same with the practice's own words in the file `path`.
    ///
    /// # Errors
    /// When the file cannot be read, or a line of it cannot be used: the error names file, line and reason.
    pub fn with_own_words(self, path: &Path, protocols: &Protocols) -> Result<Self, PackError> {
        let own = own_words::read(path)?;
        let (pack, language) = own_words::with_own(&self.pack, &own, &self.zones, protocols)?;
        Ok(Self { pack, language, ..self })
    }

    /// The same, in which only what begins with `call` is acted on; how the word sounds is looked up in `dictionary`, too,
    /// a file of `word  PHONES` lines.
    ///
    /// # Errors
    /// When the word is a call by itself: whoever says it means that call.
    pub fn called_by(self, call: &str, dictionary: &Path) -> Result<Self, CallWordError> {
        let words = call.to_lowercase();
        let words: Vec<&str> = words.split_whitespace().collect();
        if self.language.engine.graph.allows(Moment { limb: None, asked: true }, &words) {
            return Err(CallWordError { word: call.to_owned() });
        }
        let known = std::fs::read(dictionary).unwrap_or_default();
        let known = String::from_utf8_lossy(&known);
        let is_of_call = |word: &str| call.split_whitespace().any(|wanted| wanted.eq_ignore_ascii_case(word));
        let sounds = entries(&known).filter(|(_, word, _)| is_of_call(word)).map(|(line, word, phones)| {
            let (word, phones) = (word.to_owned(), phones.to_owned());
            Pronunciation { word, phones, file: dictionary.to_owned(), line }
        });
        let pack = self.pack.called_by(call, sounds.collect());
        let language = pack.for_zones(&self.zones);
        Ok(Self { pack, language, ..self })
    }
}
