//! Words wrong: how many must be changed, dropped or added to make what was heard what was said.
//!
//! Takes: two rows of words, and which words sound the same.
//! Gives: a count, as word error rates are counted everywhere.
//! Never: meaning.
//! Tested in: `tests/it/evaluation.rs`, beside NIST's `sclite` where that is installed.

use std::collections::HashMap;
use std::path::Path;

/// One spelling for all words that sound the same ("fore", "four"; "fiber", "fibre"): no ear can distinguish them.
#[derive(Debug, Clone, Default)]
pub struct Spelling(HashMap<String, String>);

impl Spelling {
    /// From a lexicon of lines with a word and its phones; where there is none, every word stands for itself.
    #[must_use]
    pub fn read(lexicon: &Path) -> Self {
        let text = std::fs::read_to_string(lexicon).unwrap_or_default();
        let mut sounds: HashMap<&str, &str> = HashMap::new();
        let mut one = HashMap::new();
        for line in text.lines().filter(|line| !line.starts_with('#')) {
            if let Some((word, sound)) = line.split_once(char::is_whitespace) {
                let first = *sounds.entry(sound.trim()).or_insert(word);
                one.entry(word.to_owned()).or_insert_with(|| first.to_owned());
            }
        }
        Self(one)
    }

    /// `words`, each in its one spelling.
    #[must_use]
    pub fn of(&self, words: &str) -> Vec<String> {
        let one = |word: &str| self.0.get(word).cloned().unwrap_or_else(|| word.to_owned());
        words.split_whitespace().map(one).collect()
    }
}

/// The least number of words substituted, dropped and inserted between what was said and what was heard.
#[must_use]
pub fn wrong(said: &[String], heard: &[String]) -> usize {
    let mut row: Vec<usize> = (0..=heard.len()).collect();
    for (dropped, word) in said.iter().enumerate() {
        let mut corner = std::mem::replace(&mut row[0], dropped + 1);
        for (idx, other) in heard.iter().enumerate() {
            let substituted = corner + usize::from(word != other);
            corner = row[idx + 1];
            row[idx + 1] = substituted.min(corner + 1).min(row[idx] + 1);
        }
    }
    row[heard.len()]
}
