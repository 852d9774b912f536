//! The grammar as an automaton: which readings a sequence of words has.
//!
//! Takes: a `Grammar` and some of its rules.
//! Gives: `Automaton`; `read` turns words into tags with the words each closes.
//! Never: chooses between two readings of equal length; it gives both.
//! Tested in: `tests/it/language.rs`.

use std::collections::BTreeMap;

use rustc_hash::FxHashMap;

use crate::language::compact::{Compact, Label, compact};
use crate::language::grammar::Grammar;

/// Readings kept for one state; a grammar that needs more is too ambiguous to be used.
const READINGS_MAX: usize = 8;
/// An utterance of more words than this is not read.
pub const WORDS_MAX: usize = 200;
/// A reading that uses a name which is also the end of a longer one loses against one that does not.
const RARE: &str = "rare";
/// Passed by each of a practice's own phrases.
pub(crate) const OWN: &str = "own phrase";

/// A tag that was passed, and how many words had been said by then.
pub type Passed = (String, usize);

/// A deterministic automaton over words and tags.
#[derive(Debug, Clone)]
pub struct Automaton {
    /// Words out of each state, by number.
    words: Vec<FxHashMap<usize, usize>>,
    /// Tags out of each state.
    tags: Vec<Vec<(usize, usize)>>,
    /// Where another phrase may begin after this state.
    again: Vec<Option<usize>>,
    ends: Vec<bool>,
    /// The state of each start; what can be said from the last of them is read.
    starts: Vec<usize>,
    texts: Vec<String>,
    numbers: FxHashMap<String, usize>,
    names: Vec<String>,
    /// What a tag adds to the price of a reading.
    prices: Vec<Price>,
}

/// A practice's own phrases, then phrases closed, then rare names used: the cheapest readings are taken, so no own phrase
/// stands in the way of one of the language.
type Price = (usize, usize, usize);

/// One way to get to a state: the tags passed, and what they cost.
#[derive(Debug, Clone, PartialEq, Eq)]
struct ReadingPath {
    tags: Vec<(usize, usize)>,
    price: Price,
}

impl ReadingPath {
    fn same_meaning(&self, other: &ReadingPath) -> bool {
        self.tags.len() == other.tags.len() && self.tags.iter().zip(&other.tags).all(|(a, b)| a.0 == b.0)
    }
}

impl Automaton {
    /// The automaton in which any of the roots of a start can be said from it; a root that is not there allows nothing.
    #[must_use]
    pub fn new(grammar: &Grammar, starts: &[&[&str]]) -> Self {
        let Compact { states, labels, starts } = compact(grammar, starts);
        let mut texts: Vec<String> = labels.iter().filter_map(Label::word).cloned().collect();
        // Of words that sound alike the first in the alphabet is heard, wherever the grammar has them.
        texts.sort_unstable();
        let mut this = Self {
            words: vec![FxHashMap::default(); states.len()],
            tags: vec![Vec::new(); states.len()],
            again: vec![None; states.len()],
            ends: states.iter().map(|state| state.is_end).collect(),
            starts,
            numbers: texts.iter().enumerate().map(|(number, text)| (text.clone(), number)).collect(),
            texts,
            names: Vec::new(),
            prices: Vec::new(),
        };
        let numbers: Vec<usize> = labels.iter().map(|label| this.numbered(label)).collect();
        for (state, from) in states.iter().enumerate() {
            for (label, to) in &from.arcs {
                match &labels[*label] {
                    Label::Word(_) => {
                        this.words[state].insert(numbers[*label], *to);
                    }
                    Label::Tag(_) => this.tags[state].push((numbers[*label], *to)),
                    Label::Again => this.again[state] = Some(*to),
                }
            }
        }
        this
    }

    /// The number of a word or a tag among its kind; a tag is taken in.
    fn numbered(&mut self, label: &Label) -> usize {
        match label {
            Label::Word(word) => self.numbers[word],
            Label::Tag(tag) => {
                self.names.push(tag.clone());
                let price = [tag == OWN, tag.starts_with('!'), tag == RARE].map(usize::from);
                self.prices.push(price.into());
                self.names.len() - 1
            }
            Label::Again => 0,
        }
    }

    /// The state of each start.
    pub(crate) fn starts(&self) -> &[usize] {
        &self.starts
    }

    /// How many states there are.
    pub(crate) fn len(&self) -> usize {
        self.ends.len()
    }

    /// The words that lead out of any state; the others know them by their place here.
    pub(crate) fn texts(&self) -> &[String] {
        &self.texts
    }

    /// The number of a word.
    pub(crate) fn number(&self, word: &str) -> Option<usize> {
        self.numbers.get(word).copied()
    }

    /// The tags, in the order of their numbers.
    pub(crate) fn names(&self) -> &[String] {
        &self.names
    }

    pub(crate) fn is_end(&self, state: usize) -> bool {
        self.ends[state]
    }

    /// Where another phrase may begin after a state.
    pub(crate) fn again_from(&self, state: usize) -> Option<usize> {
        self.again[state]
    }

    /// The words that lead out of a state, by number.
    pub(crate) fn words_from(&self, state: usize) -> impl Iterator<Item = (usize, usize)> {
        self.words[state].iter().map(|(word, to)| (*word, *to))
    }

    /// The tags that can be passed in a state without a word, by number.
    pub(crate) fn tags_from(&self, state: usize) -> impl Iterator<Item = (usize, usize)> {
        self.tags[state].iter().copied()
    }

    /// Every reading of `words` with the fewest phrases; none when they cannot be said.
    ///
    /// Fewest phrases means that phrases are as long as they can be: "lesion area" is not "lesion" and "area".
    /// More than one reading means that the words are ambiguous.
    #[must_use]
    pub fn read(&self, words: &[&str]) -> Vec<Vec<Passed>> {
        if words.len() > WORDS_MAX {
            return Vec::new();
        }
        let Some(start) = self.starts.last() else { return Vec::new() };
        let mut paths = self.spread([(*start, ReadingPath { tags: Vec::new(), price: (0, 0, 0) })], 0);
        for (idx, word) in words.iter().enumerate() {
            let mut stepped = Vec::new();
            for (state, here) in paths {
                if let Some(to) = self.numbers.get(*word).and_then(|word| self.words[state].get(word)) {
                    stepped.extend(here.into_iter().map(|path| (*to, path)));
                }
            }
            if stepped.is_empty() {
                return Vec::new();
            }
            paths = self.spread(stepped, idx + 1);
        }
        let mut done: Vec<ReadingPath> = Vec::new();
        for (state, here) in paths {
            if self.ends[state] {
                here.iter().for_each(|path| {
                    keep(&mut done, path);
                });
            }
        }
        done.into_iter()
            .map(|path| path.tags.into_iter().map(|(id, words)| (self.names[id].clone(), words)).collect())
            .collect()
    }

    /// Follows the arcs that need no word.
    fn spread(
        &self,
        begin: impl IntoIterator<Item = (usize, ReadingPath)>,
        said: usize,
    ) -> BTreeMap<usize, Vec<ReadingPath>> {
        let mut found: BTreeMap<usize, Vec<ReadingPath>> = BTreeMap::new();
        let mut open: Vec<(usize, ReadingPath)> = begin.into_iter().collect();
        while let Some((state, path)) = open.pop() {
            if !keep(found.entry(state).or_default(), &path) {
                continue;
            }
            if let Some(to) = self.again[state] {
                open.push((to, path.clone()));
            }
            for (id, to) in &self.tags[state] {
                let mut tagged = path.clone();
                tagged.tags.push((*id, said));
                let (own, phrases, rare) = self.prices[*id];
                tagged.price = (path.price.0 + own, path.price.1 + phrases, path.price.2 + rare);
                open.push((*to, tagged));
            }
        }
        found
    }
}

/// Keeps `path` if it is new and costs no more than those kept; false when it was not.
fn keep(kept: &mut Vec<ReadingPath>, path: &ReadingPath) -> bool {
    if kept.iter().any(|other| other.price < path.price || other.same_meaning(path)) {
        return false;
    }
    kept.retain(|other| other.price <= path.price);
    if kept.len() == READINGS_MAX {
        return false;
    }
    kept.push(path.clone());
    true
}
