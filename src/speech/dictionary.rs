//! Dictionaries of pronunciations, and where that of PocketSphinx' model is.
//!
//! Takes: the text of a dictionary.
//! Gives: its words and their phones.
//! Never: an engine; a grammar's words are looked up here whichever ear listens.
//! Tested in: `tests/it/hear.rs`, `tests/sound/exams.rs`.

use std::path::PathBuf;

use crate::speech::installed;

/// The dictionary in the model's folder: a line `word PHONES` each.
pub(crate) const DICTIONARY: &str = "cmudict-en-us.dict";

/// Where PocketSphinx' model is unless the command line names it.
///
/// `ZONECALL_MODEL`, else where the program is installed, else where set-up put it.
#[must_use]
pub fn default_model_dir() -> PathBuf {
    if let Some(named) = std::env::var_os("ZONECALL_MODEL") {
        return PathBuf::from(named);
    }
    installed::folder("model", env!("ZONECALL_BUILT_MODEL"))
}

/// The lines of a dictionary such as [`DICTIONARY`]: number from 1, word, phones.
pub(crate) fn entries(text: &str) -> impl Iterator<Item = (usize, &str, &str)> {
    text.lines().enumerate().filter_map(|(idx, line)| {
        let (entry, phones) = line.split_once(' ')?;
        // A variant is listed as `word(2)`.
        Some((idx + 1, entry.split('(').next()?, phones.trim()))
    })
}
