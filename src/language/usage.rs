//! How often words follow each other when somebody scans: a bigram model, counted from what is said.
//!
//! Takes: `usage.txt` of a grammar folder.
//! Gives: `Usage`, and through it how probable a word is after another.
//! Never: prefers one of two words that must not be mistaken for each other: left and right, or two numbers, are counted
//! as one word and share what was counted; nor a reading because it lacks a "not": such words cost nothing.
//! Tested in: `tests/it/usage.rs`.
//!
//! Smoothed after Witten and Bell (1991), interpolated as Chen and Goodman (1999) write it.

use std::path::Path;

use rustc_hash::FxHashMap;

use crate::language::fault::{Fault, FilePlace};

/// Begins a line that names words which count as one.
const ALIKE: &str = "=";
/// Begins a line that names words which are never dearer than others, however seldom they are said.
const FREE: &str = "~";
/// A line of the file says at most how often: every few minutes of an exam.
const OFTEN_MAX: u32 = 5;
/// Added to the count of each word, so that a word that nobody counted is rare and not impossible; our own choice.
const UNSEEN: f64 = 0.5;
/// How much a word that was followed by many others leaves to those that were not counted after it; our own choice.
const OPEN: f64 = 1.5;

/// What was counted.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Usage {
    /// Number of the counted word that each word is, and how many share it.
    words: FxHashMap<String, CountedWord>,
    /// How many words are counted apart.
    n_counted: u32,
    /// How often one was said after another; `BEGINNING` before the first.
    after: FxHashMap<(u32, u32), u32>,
}

/// A word as it is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CountedWord {
    id: u32,
    /// So many words are counted as this one.
    alike: u32,
    /// However seldom it is said, it costs nothing: leaving it out would harm.
    is_free: bool,
}

/// What stands before the first word of a phrase.
pub const BEGINNING: CountedWord = CountedWord { id: u32::MAX, alike: 1, is_free: false };
/// A word that was never counted.
const UNCOUNTED: CountedWord = CountedWord { id: u32::MAX - 1, alike: 1, is_free: false };

impl Usage {
    /// Reads lines `HOW OFTEN, 1 to 5, phrase`, `= words that count as one` and `~ words that cost nothing`; `#` begins a
    /// comment.
    ///
    /// # Errors
    /// The first line that is none of these, or that has a word of another line that begins with `=` or `~`.
    pub fn read(file: &Path, text: &str) -> Result<Self, Box<Fault>> {
        let mut this = Self::default();
        let lines = text.lines().map(|line| line.split('#').next().unwrap_or("").trim()).enumerate();
        let mut phrases = Vec::new();
        for (idx, line) in lines.filter(|(_, line)| !line.is_empty()) {
            let fault = |message: &str| {
                Box::new(Fault::new(file, text, FilePlace { line: idx + 1, column: 1 }, message))
            };
            let (first, rest) = line.split_once(' ').unwrap_or((line, ""));
            let is_new = match first {
                ALIKE => this.join(rest, false),
                FREE => rest.split(' ').all(|word| this.join(word, true)),
                _ => true,
            };
            if !is_new {
                return Err(fault("a word of this line is in another line that begins with `=` or `~`"));
            }
            if [ALIKE, FREE].contains(&first) {
                continue;
            }
            let often = first.parse().ok().filter(|often| (1..=OFTEN_MAX).contains(often));
            let (Some(often), false) = (often, rest.is_empty()) else {
                return Err(fault(
                    "a line is how often, 1 to 5, and what is said, such as `5 save`, or `=` and words that count as one",
                ));
            };
            phrases.push((often, rest));
        }
        phrases.into_iter().for_each(|(often, phrase)| this.count(often, phrase));
        Ok(this)
    }

    /// Counts these words as one; false if one of them is another's already.
    fn join(&mut self, words: &str, is_free: bool) -> bool {
        let words: Vec<&str> = words.split_whitespace().collect();
        let alike = u32::try_from(words.len()).unwrap_or(u32::MAX);
        let counted = CountedWord { id: self.new_id(), alike, is_free };
        words.into_iter().all(|word| self.words.insert(word.to_owned(), counted).is_none())
    }

    fn new_id(&mut self) -> u32 {
        self.n_counted += 1;
        self.n_counted - 1
    }

    fn count(&mut self, often: u32, phrase: &str) {
        let mut before = BEGINNING.id;
        for word in phrase.split_whitespace() {
            let id = match self.words.get(word) {
                Some(counted) => counted.id,
                None => {
                    let counted = CountedWord { id: self.new_id(), alike: 1, is_free: false };
                    self.words.insert(word.to_owned(), counted);
                    counted.id
                }
            };
            *self.after.entry((before, id)).or_default() += often;
            before = id;
        }
    }

    /// The word as it is counted.
    #[must_use]
    pub fn counted(&self, word: &str) -> CountedWord {
        self.words.get(word).copied().unwrap_or(UNCOUNTED)
    }

    /// How probable a word is after another, in a language of `n_words` words.
    #[allow(clippy::cast_precision_loss)] // a language has far fewer than 2^53 words
    #[must_use]
    pub fn odds(&self, n_words: usize) -> UsageOdds {
        // How often each word was said; how often any was said after each, and how many kinds.
        let mut said = vec![0; self.n_counted as usize];
        let mut followed: FxHashMap<u32, (u32, u32)> = FxHashMap::default();
        for ((before, word), n) in &self.after {
            said[*word as usize] += n;
            let (all, kinds) = followed.entry(*before).or_default();
            (*all, *kinds) = (*all + n, *kinds + 1);
        }
        let all: u32 = said.iter().sum();
        let alone = |said: u32| (f64::from(said) + UNSEEN) / (f64::from(all) + UNSEEN * n_words as f64);
        let left = |(all, kinds): &(u32, u32)| (f64::from(*all), OPEN * f64::from(*kinds));
        let after = self.after.iter().map(|((before, word), n)| {
            let (all, left) = left(&followed[before]);
            let alone = alone(said[*word as usize]);
            ((*before, *word), ((f64::from(*n) + left * alone) / (all + left)).ln())
        });
        let left_over = followed.iter().map(|(before, followed)| {
            let (all, left) = left(followed);
            (*before, (left / (all + left)).ln())
        });
        UsageOdds {
            after: after.collect(),
            left_over: left_over.collect(),
            alone: said.iter().map(|said| alone(*said).ln()).collect(),
            uncounted: alone(0).ln(),
        }
    }
}

/// How probable words are after each other, worked out once: natural logarithms.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct UsageOdds {
    after: FxHashMap<(u32, u32), f64>,
    /// What each word leaves to those that were not counted after it.
    left_over: FxHashMap<u32, f64>,
    alone: Vec<f64>,
    uncounted: f64,
}

impl UsageOdds {
    /// The natural logarithm of how probable `word` is after `before`; none where it costs nothing however seldom it is said,
    /// nor does what follows it.
    #[must_use]
    pub fn ln(&self, before: CountedWord, word: CountedWord) -> Option<f64> {
        if before.is_free || word.is_free {
            return None;
        }
        let one = self.after.get(&(before.id, word.id)).copied().unwrap_or_else(|| {
            let alone = self.alone.get(word.id as usize).copied().unwrap_or(self.uncounted);
            alone + self.left_over.get(&before.id).copied().unwrap_or(0.0)
        });
        Some(one - f64::from(word.alike).ln())
    }
}
