//! The option that names a practice's own words.
//!
//! Takes: the program's arguments, and the folder of the settings.
//! Gives: the language with the own words.
//! Never: reads the file itself; `session::spoken` does.
//! Tested in: `tests/it/own_words.rs`.

use std::path::{Path, PathBuf};

use super::settings_place::place;
use crate::language::own::OWN_WORDS_FILE;
use crate::protocol::Protocols;
use crate::session::spoken::SpokenLanguage;

/// A practice's own words.
#[derive(Debug, clap::Args)]
pub(crate) struct OwnWordsArg {
    /// File of your own words, one on each line, such as `sausage = suspensory body`; without it, `own.txt` in the
    /// folder of the settings, if there is one. If `doctor` says that no dictionary knows a word, write which English
    /// words it sounds like: `sehne = suspensory body = like zany`.
    #[arg(long, value_name = "FILE", env = "ZONECALL_OWN_WORDS")]
    own_words: Option<PathBuf>,
}

impl OwnWordsArg {
    /// The language with the own words; those in the folder of the settings are for the built-in English.
    pub(super) fn added_to(
        &self,
        spoken: SpokenLanguage,
        grammar: Option<&Path>,
        protocols: &Protocols,
    ) -> anyhow::Result<SpokenLanguage> {
        Ok(match self.file(grammar) {
            Some(path) => spoken.with_own_words(&path, protocols)?,
            None => spoken,
        })
    }

    /// The file that counts, if any.
    pub(super) fn file(&self, grammar: Option<&Path>) -> Option<PathBuf> {
        let kept = || place().map(|place| place.with_file_name(OWN_WORDS_FILE)).filter(|path| path.is_file());
        self.own_words.clone().or_else(|| grammar.is_none().then(kept).flatten())
    }
}
