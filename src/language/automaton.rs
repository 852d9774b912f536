//! The grammar as an automaton: which readings a sequence of words has.
//!
//! Takes: a `Grammar` and one of its rules.
//! Gives: `Automaton`; `read` turns words into tags with the words each closes.
//! Never: chooses between two readings of equal length; it gives both.
//! Tested in: `tests/it/language.rs`.

use std::collections::{BTreeMap, HashMap};

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
    /// Words out of each state.
    words: Vec<HashMap<String, usize>>,
    /// Tags out of each state.
    tags: Vec<Vec<(usize, usize)>>,
    /// Where another phrase may begin after this state.
    again: Vec<Option<usize>>,
    ends: Vec<bool>,
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
    /// The automaton of what any of the `roots` in `grammar` allows; a root that is not there allows nothing.
    #[must_use]
    pub fn new(grammar: &Grammar, roots: &[&str]) -> Self {
        let Compact { states, labels } = compact(grammar, roots);
        let mut this = Self {
            words: vec![HashMap::new(); states.len()],
            tags: vec![Vec::new(); states.len()],
            again: vec![None; states.len()],
            ends: states.iter().map(|state| state.is_end).collect(),
            names: Vec::new(),
            prices: Vec::new(),
        };
        let mut names = vec![0; labels.len()];
        for (id, label) in labels.iter().enumerate() {
            if let Label::Tag(tag) = label {
                names[id] = this.names.len();
                this.names.push(tag.clone());
                let price = [tag == OWN, tag.starts_with('!'), tag == RARE].map(usize::from);
                this.prices.push(price.into());
            }
        }
        for (state, from) in states.iter().enumerate() {
            for (label, to) in &from.arcs {
                match &labels[*label] {
                    Label::Word(word) => {
                        this.words[state].insert(word.clone(), *to);
                    }
                    Label::Tag(_) => this.tags[state].push((names[*label], *to)),
                    Label::Again => this.again[state] = Some(*to),
                }
            }
        }
        this
    }

    pub(crate) fn start(&self) -> usize {
        0
    }

    pub(crate) fn is_end(&self, state: usize) -> bool {
        self.ends[state]
    }

    /// Where another phrase may begin after a state.
    pub(crate) fn again_from(&self, state: usize) -> Option<usize> {
        self.again[state]
    }

    /// The words that lead out of a state.
    pub(crate) fn words_from(&self, state: usize) -> impl Iterator<Item = (&str, usize)> {
        self.words[state].iter().map(|(word, to)| (word.as_str(), *to))
    }

    /// The tags that can be passed in a state without a word.
    pub(crate) fn tags_from(&self, state: usize) -> impl Iterator<Item = (&str, usize)> {
        self.tags[state].iter().map(|(tag, to)| (self.names[*tag].as_str(), *to))
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
        let mut paths = self.spread([(self.start(), ReadingPath { tags: Vec::new(), price: (0, 0, 0) })], 0);
        for (idx, word) in words.iter().enumerate() {
            let mut stepped = Vec::new();
            for (state, here) in paths {
                if let Some(to) = self.words[state].get(*word) {
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
