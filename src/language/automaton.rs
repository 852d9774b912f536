//! The grammar as an automaton: which readings a sequence of words has.
//!
//! Takes: a `Grammar` and one of its rules.
//! Gives: `Automaton`; `read` turns words into tags with the words each closes.
//! Never: chooses between two readings of equal length; it gives both.
//! Tested in: `tests/it/language.rs`.

use std::collections::{BTreeMap, HashMap};

use crate::language::grammar::Grammar;
use crate::language::grammar::GrammarNode;

/// Readings kept for one state; a grammar that needs more is too ambiguous to be used.
const READINGS_MAX: usize = 8;
/// An utterance of more words than this is not read.
pub const WORDS_MAX: usize = 200;

/// A tag that was passed, and how many words had been said by then.
pub type Passed = (String, usize);

/// A non-deterministic automaton over words and tags.
#[derive(Debug, Clone)]
pub struct Automaton {
    /// Arcs out of each state.
    arcs: Vec<Vec<(ArcLabel, usize)>>,
    start: usize,
    end: usize,
    tags: Vec<String>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum ArcLabel {
    Word(String),
    Tag(usize),
    Nothing,
}

/// One way to get to a state: the tags passed, and how many items they close.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Path {
    tags: Vec<(usize, usize)>,
    items: usize,
}

impl Path {
    fn same_meaning(&self, other: &Path) -> bool {
        self.tags.len() == other.tags.len() && self.tags.iter().zip(&other.tags).all(|(a, b)| a.0 == b.0)
    }
}

impl Automaton {
    /// The automaton of what any of the `roots` in `grammar` allows; a root that is not there allows nothing.
    #[must_use]
    pub fn new(grammar: &Grammar, roots: &[&str]) -> Self {
        let mut this = Self { arcs: vec![vec![], vec![]], start: 0, end: 1, tags: Vec::new() };
        let mut tag_ids = HashMap::new();
        for rule in roots.iter().filter_map(|root| grammar.rule(root)) {
            this.add(grammar, &rule.body, 0, 1, &mut tag_ids);
        }
        this
    }

    fn add(
        &mut self,
        grammar: &Grammar,
        node: &GrammarNode,
        from: usize,
        to: usize,
        tag_ids: &mut HashMap<String, usize>,
    ) {
        match node {
            GrammarNode::Word(word, _) => self.arcs[from].push((ArcLabel::Word(word.clone()), to)),
            GrammarNode::Tag(tag, _) => {
                let id = *tag_ids.entry(tag.clone()).or_insert_with(|| {
                    self.tags.push(tag.clone());
                    self.tags.len() - 1
                });
                self.arcs[from].push((ArcLabel::Tag(id), to));
            }
            GrammarNode::Rule(name, _) => {
                if let Some(rule) = grammar.rule(name) {
                    self.add(grammar, &rule.body, from, to, tag_ids);
                }
            }
            GrammarNode::Choice(parts) => {
                parts.iter().for_each(|part| self.add(grammar, part, from, to, tag_ids))
            }
            GrammarNode::Optional(inner) => {
                self.add(grammar, inner, from, to, tag_ids);
                self.arcs[from].push((ArcLabel::Nothing, to));
            }
            GrammarNode::Repeat(inner) => {
                let (first, last) = (self.state(), self.state());
                self.arcs[from].push((ArcLabel::Nothing, first));
                self.add(grammar, inner, first, last, tag_ids);
                self.arcs[last].push((ArcLabel::Nothing, first));
                self.arcs[last].push((ArcLabel::Nothing, to));
            }
            GrammarNode::Sequence(parts) => {
                let mut here = from;
                for part in parts {
                    let next = self.state();
                    self.add(grammar, part, here, next, tag_ids);
                    here = next;
                }
                self.arcs[here].push((ArcLabel::Nothing, to));
            }
        }
    }

    fn state(&mut self) -> usize {
        self.arcs.push(Vec::new());
        self.arcs.len() - 1
    }

    pub(crate) fn start(&self) -> usize {
        self.start
    }

    pub(crate) fn end(&self) -> usize {
        self.end
    }

    /// The words that lead out of a state.
    pub(crate) fn words_from(&self, state: usize) -> impl Iterator<Item = (&str, usize)> {
        self.arcs[state].iter().filter_map(|(label, to)| match label {
            ArcLabel::Word(word) => Some((word.as_str(), *to)),
            _ => None,
        })
    }

    /// The arcs out of a state that need no word, with the tag that is passed.
    pub(crate) fn wordless_from(&self, state: usize) -> impl Iterator<Item = (Option<&str>, usize)> {
        self.arcs[state].iter().filter_map(|(label, to)| match label {
            ArcLabel::Word(_) => None,
            ArcLabel::Tag(id) => Some((Some(self.tags[*id].as_str()), *to)),
            ArcLabel::Nothing => Some((None, *to)),
        })
    }

    /// Every reading of `words` with the fewest items; none when they cannot be said.
    ///
    /// Fewest items means that phrases are as long as they can be: "lesion area" is not "lesion" and "area".
    /// More than one reading means that the words are ambiguous.
    #[must_use]
    pub fn read(&self, words: &[&str]) -> Vec<Vec<Passed>> {
        if words.len() > WORDS_MAX {
            return Vec::new();
        }
        let mut paths = self.spread([(self.start, Path { tags: Vec::new(), items: 0 })], 0);
        for (idx, word) in words.iter().enumerate() {
            let mut stepped = Vec::new();
            for (state, here) in &paths {
                for (label, to) in &self.arcs[*state] {
                    if matches!(label, ArcLabel::Word(text) if text == word) {
                        stepped.extend(here.iter().map(|path| (*to, path.clone())));
                    }
                }
            }
            paths = self.spread(stepped, idx + 1);
        }
        let done = paths.remove(&self.end).unwrap_or_default();
        done.into_iter()
            .map(|path| path.tags.into_iter().map(|(id, words)| (self.tags[id].clone(), words)).collect())
            .collect()
    }

    /// Follows the arcs that need no word.
    fn spread(
        &self,
        begin: impl IntoIterator<Item = (usize, Path)>,
        said: usize,
    ) -> BTreeMap<usize, Vec<Path>> {
        let mut found: BTreeMap<usize, Vec<Path>> = BTreeMap::new();
        let mut open: Vec<(usize, Path)> = begin.into_iter().collect();
        while let Some((state, path)) = open.pop() {
            if !keep(found.entry(state).or_default(), &path) {
                continue;
            }
            for (label, to) in &self.arcs[state] {
                match label {
                    ArcLabel::Nothing => open.push((*to, path.clone())),
                    ArcLabel::Tag(id) => {
                        let mut tagged = path.clone();
                        tagged.tags.push((*id, said));
                        tagged.items += usize::from(self.tags[*id].starts_with('!'));
                        open.push((*to, tagged));
                    }
                    ArcLabel::Word(_) => {}
                }
            }
        }
        found
    }
}

/// Keeps `path` if it is new and closes no more items than those kept; false when it was not.
fn keep(kept: &mut Vec<Path>, path: &Path) -> bool {
    if kept.iter().any(|other| other.items < path.items || other.same_meaning(path)) {
        return false;
    }
    kept.retain(|other| other.items <= path.items);
    if kept.len() == READINGS_MAX {
        return false;
    }
    kept.push(path.clone());
    true
}
