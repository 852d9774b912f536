//! How words sound, in the units that the head distinguishes.
//!
//! Takes: the head's units, its lexicon, and the pronunciations of the grammar pack.
//! Gives: `Lexicon`: for each word one or more sequences of units.
//! Never: I/O, or a word without a sound; words that have none are named.
//! Tested in: `tests/it/neural_search.rs`.

use std::collections::{BTreeMap, HashMap};

use crate::language::engine::{EngineLanguage, GrammarWord};

/// The unit that stands for "nothing new" in the frames of a head trained by connectionist temporal classification.
pub const BLANK: usize = 0;

/// How the words of a language sound.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Lexicon {
    sounds: BTreeMap<String, Vec<Vec<usize>>>,
    /// The same, said twice: "zone, zone three".
    begun_anew: BTreeMap<String, Vec<Vec<usize>>>,
}

/// A line of a lexicon that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BadLine {
    /// Line number from 1.
    pub line: usize,
    /// What is there and has no meaning: a unit that the head lacks, or a word without units.
    pub text: String,
}

/// A diphthong that a head may not know as one phone, and the two that it consists of.
const DIPHTHONG: (&str, [&str; 2]) = ("AW", ["AA", "UH"]);

/// A phone in the head's units; none where the head lacks it.
fn unit_of(phone: &str, units: &HashMap<String, usize>) -> Option<Vec<usize>> {
    let known = |phone: &str| units.get(phone).copied();
    let parts = || DIPHTHONG.1.map(known).into_iter().collect::<Option<Vec<usize>>>();
    known(phone).map(|unit| vec![unit]).or_else(|| (phone == DIPHTHONG.0).then(parts).flatten())
}

impl Lexicon {
    /// Reads `word  UNIT UNIT ...` lines; more lines for one word are variants, `#` starts a comment.
    ///
    /// `units` are the head's, with their places in its output.
    ///
    /// # Errors
    /// The first line without units, or with one that the head lacks.
    pub fn read(text: &str, units: &HashMap<String, usize>) -> Result<Self, BadLine> {
        let mut lexicon = Self::default();
        for (idx, line) in text.lines().enumerate() {
            let mut parts = line.split('#').next().unwrap_or("").split_whitespace();
            let Some(word) = parts.next() else { continue };
            let mut sound = Vec::new();
            for part in parts {
                let unit = units.get(part).ok_or_else(|| BadLine { line: idx + 1, text: part.to_owned() })?;
                sound.push(*unit);
            }
            if sound.is_empty() {
                return Err(BadLine { line: idx + 1, text: word.to_owned() });
            }
            lexicon.add(word, sound);
        }
        Ok(lexicon)
    }

    /// Cuts the lexicon to the words of `language`, and takes its pack's pronunciations for words not in the lexicon.
    ///
    /// A pronunciation serves only where the head knows all its phones, so a head of whole words takes none.
    ///
    /// # Errors
    /// The words that have no sound, with the places where the grammar uses them.
    pub fn for_language(
        &self,
        language: &EngineLanguage,
        units: &HashMap<String, usize>,
    ) -> Result<Self, Vec<GrammarWord>> {
        let mut cut = Self::default();
        let mut silent = Vec::new();
        for word in &language.words {
            if let Some(sounds) = self.sounds.get(&word.text) {
                cut.sounds.insert(word.text.clone(), sounds.clone());
                continue;
            }
            for entry in language.pronunciations.iter().filter(|entry| entry.word == word.text) {
                let sound: Option<Vec<Vec<usize>>> =
                    entry.phones.split_whitespace().map(|phone| unit_of(phone, units)).collect();
                if let Some(sound) = sound {
                    cut.add(&word.text, sound.concat());
                }
            }
            if !cut.sounds.contains_key(&word.text) {
                silent.push(word.clone());
            }
        }
        if silent.is_empty() { Ok(cut) } else { Err(silent) }
    }

    /// Adds one way to say a word; one that is known already, or that is empty, changes nothing.
    pub fn add(&mut self, word: &str, sound: Vec<usize>) {
        let sounds = self.sounds.entry(word.to_owned()).or_default();
        if !sound.is_empty() && !sounds.contains(&sound) {
            sounds.push(sound);
        }
    }

    /// From now on `word` may be said twice where a phrase begins, as by somebody who starts anew.
    pub fn begin_anew(&mut self, word: &str) {
        let twice = |sound: &Vec<usize>| [sound.clone(), sound.clone()].concat();
        self.begun_anew.insert(word.to_owned(), self.sounds(word).iter().map(twice).collect());
    }

    /// The ways to say `word` by starting it anew; none where it is not known to be.
    #[must_use]
    pub fn begun_anew(&self, word: &str) -> &[Vec<usize>] {
        self.begun_anew.get(word).map_or(&[], Vec::as_slice)
    }

    /// Whether words can sound like others: each like the other in its place, or all of them strung together.
    #[must_use]
    pub fn sound_alike(&self, some: &[String], others: &[String]) -> bool {
        let share = |(a, b): (&String, &String)| {
            a == b || self.sounds(a).iter().any(|sound| self.sounds(b).contains(sound))
        };
        let strung = |words: &[String]| -> Vec<usize> {
            words.iter().filter_map(|word| self.sounds(word).first()).flatten().copied().collect()
        };
        (some.len() == others.len() && some.iter().zip(others).all(share)) || strung(some) == strung(others)
    }

    /// The ways to say `word`; none when it is not known.
    #[must_use]
    pub fn sounds(&self, word: &str) -> &[Vec<usize>] {
        self.sounds.get(word).map_or(&[], Vec::as_slice)
    }
}
