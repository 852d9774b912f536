//! The grammar as a small automaton over words and tags, built rule by rule.
//!
//! Takes: a `Grammar`, and the roots that can be said from each start.
//! Gives: `Compact`: numbered states and labels; a rule that is used in several places is made small once.
//! Never: a difference in meaning: tags are labels like words.
//! Tested in: `tests/it/language.rs`.

use std::collections::BTreeSet;

use rustc_hash::FxHashMap;

use crate::language::grammar::{Grammar, GrammarNode, used};

/// What an arc needs.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) enum Label {
    /// A word is said.
    Word(String),
    /// A tag is passed.
    Tag(String),
    /// Another phrase begins.
    Again,
}

impl Label {
    pub(crate) fn word(&self) -> Option<&String> {
        match self {
            Label::Word(word) => Some(word),
            Label::Tag(_) | Label::Again => None,
        }
    }
}

/// The whole automaton.
#[derive(Debug, Clone, Default)]
pub(crate) struct Compact {
    pub(crate) states: Vec<CompactState>,
    pub(crate) labels: Vec<Label>,
    /// The state of each start.
    pub(crate) starts: Vec<usize>,
}

/// A state: its arcs in the order of their labels, at most one of each.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct CompactState {
    pub(crate) arcs: Vec<(usize, usize)>,
    pub(crate) is_end: bool,
}

/// The automaton in which any of the roots of a start can be said from it; where a root is a repetition, its turns are
/// joined by `Again`.
pub(crate) fn compact(grammar: &Grammar, starts: &[&[&str]]) -> Compact {
    let mut uses: FxHashMap<String, usize> = FxHashMap::default();
    for (name, _) in grammar.rules.iter().flat_map(|rule| used(&rule.body)) {
        *uses.entry(name).or_default() += 1;
    }
    let mut builder =
        Builder { grammar, uses, labels: Vec::new(), ids: FxHashMap::default(), rules: FxHashMap::default() };
    let mut parts = Parts::default();
    let mut begins: FxHashMap<&str, usize> = FxHashMap::default();
    for name in starts.iter().copied().flatten() {
        if let Some(rule) = grammar.rule(name)
            && !begins.contains_key(name)
        {
            let begin = parts.state();
            builder.add(&mut parts, &rule.body, begin, END, Level::Root);
            begins.insert(name, begin);
        }
    }
    let starts: Vec<Vec<usize>> = starts
        .iter()
        .map(|roots| roots.iter().filter_map(|root| begins.get(root).copied()).collect())
        .collect();
    let (states, starts) = parts.deterministic(&starts);
    Compact { states, labels: builder.labels, starts }
}

const START: usize = 0;
const END: usize = 1;

/// States with arcs, some of which need nothing: an automaton before it is made small.
#[derive(Debug)]
struct Parts {
    arcs: Vec<Vec<(Option<usize>, usize)>>,
}

impl Default for Parts {
    fn default() -> Self {
        Self { arcs: vec![Vec::new(), Vec::new()] }
    }
}

/// Where a node of the grammar is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Level {
    /// In a root, where repetitions begin phrases.
    Root,
    /// Inside a phrase.
    Inside,
}

struct Builder<'a> {
    grammar: &'a Grammar,
    /// In how many places each rule is used.
    uses: FxHashMap<String, usize>,
    labels: Vec<Label>,
    ids: FxHashMap<Label, usize>,
    rules: FxHashMap<String, Vec<CompactState>>,
}

impl Builder<'_> {
    fn label(&mut self, label: Label) -> usize {
        let next = self.labels.len();
        let id = *self.ids.entry(label.clone()).or_insert(next);
        if id == next {
            self.labels.push(label);
        }
        id
    }

    /// The rule on its own, made small the first time it is asked for.
    fn rule(&mut self, name: &str) -> Vec<CompactState> {
        if let Some(known) = self.rules.get(name) {
            return known.clone();
        }
        let mut parts = Parts::default();
        if let Some(rule) = self.grammar.rule(name) {
            self.add(&mut parts, &rule.body, START, END, Level::Inside);
        }
        let states = smallest(&parts.deterministic(&[vec![START]]).0);
        self.rules.insert(name.to_owned(), states.clone());
        states
    }

    /// Adds what `node` allows between two states.
    fn add(&mut self, parts: &mut Parts, node: &GrammarNode, from: usize, to: usize, level: Level) {
        match node {
            GrammarNode::Word(word, _) => {
                let label = self.label(Label::Word(word.clone()));
                parts.arcs[from].push((Some(label), to));
            }
            GrammarNode::Tag(tag, _) => {
                let label = self.label(Label::Tag(tag.clone()));
                parts.arcs[from].push((Some(label), to));
            }
            GrammarNode::Rule(name, _) => match self.grammar.rule(name) {
                // What a root is made of is a root, too, such as the phrases after a call word.
                Some(rule) if level == Level::Root && matches!(rule.body, GrammarNode::Repeat(_)) => {
                    self.add(parts, &rule.body, from, to, Level::Root);
                }
                Some(rule) if self.uses.get(name).is_none_or(|uses| *uses < 2) => {
                    self.add(parts, &rule.body, from, to, Level::Inside);
                }
                _ => {
                    let rule = self.rule(name);
                    parts.insert(&rule, from, to);
                }
            },
            GrammarNode::Choice(parts_of) => {
                parts_of.iter().for_each(|part| self.add(parts, part, from, to, level));
            }
            GrammarNode::Optional(inner) => {
                self.add(parts, inner, from, to, level);
                parts.arcs[from].push((None, to));
            }
            GrammarNode::Repeat(inner) => {
                let (first, last) = (parts.state(), parts.state());
                let again = (level == Level::Root).then(|| self.label(Label::Again));
                parts.arcs[from].push((None, first));
                self.add(parts, inner, first, last, Level::Inside);
                parts.arcs[last].push((again, first));
                parts.arcs[last].push((None, to));
            }
            GrammarNode::Sequence(nodes) => {
                let mut here = from;
                for node in nodes {
                    let next = parts.state();
                    self.add(parts, node, here, next, level);
                    here = next;
                }
                parts.arcs[here].push((None, to));
            }
        }
    }
}

impl Parts {
    fn state(&mut self) -> usize {
        self.arcs.push(Vec::new());
        self.arcs.len() - 1
    }

    /// Puts a small automaton between two states.
    fn insert(&mut self, states: &[CompactState], from: usize, to: usize) {
        let moved = self.arcs.len();
        for state in states {
            let mut arcs: Vec<_> =
                state.arcs.iter().map(|(label, next)| (Some(*label), next + moved)).collect();
            if state.is_end {
                arcs.push((None, to));
            }
            self.arcs.push(arcs);
        }
        if !states.is_empty() {
            self.arcs[from].push((None, moved));
        }
    }

    /// All states that can be reached without a label, those that matter, sorted.
    fn closure(&self, states: impl IntoIterator<Item = usize>) -> Vec<usize> {
        let mut seen: BTreeSet<usize> = BTreeSet::new();
        let mut open: Vec<usize> = states.into_iter().collect();
        while let Some(state) = open.pop() {
            if seen.insert(state) {
                open.extend(self.arcs[state].iter().filter(|arc| arc.0.is_none()).map(|arc| arc.1));
            }
        }
        let matters = |state: &usize| *state == END || self.arcs[*state].iter().any(|arc| arc.0.is_some());
        seen.into_iter().filter(matters).collect()
    }

    /// One state for each set of states that the same labels lead to, and the states of the `starts`.
    fn deterministic(&self, starts: &[Vec<usize>]) -> (Vec<CompactState>, Vec<usize>) {
        let mut known: FxHashMap<Vec<usize>, usize> = FxHashMap::default();
        let mut closures: FxHashMap<Vec<usize>, usize> = FxHashMap::default();
        let mut open: Vec<Vec<usize>> = Vec::new();
        let mut number = |states: Vec<usize>, open: &mut Vec<Vec<usize>>| {
            *known.entry(states).or_insert_with_key(|states| {
                open.push(states.clone());
                open.len() - 1
            })
        };
        let starts =
            starts.iter().map(|states| number(self.closure(states.iter().copied()), &mut open)).collect();
        let mut found: Vec<CompactState> = Vec::new();
        while let Some(states) = open.get(found.len()).cloned() {
            let from = states.iter().flat_map(|state| &self.arcs[*state]);
            let mut next: Vec<(usize, usize)> =
                from.filter_map(|(label, to)| Some(((*label)?, *to))).collect();
            next.sort_unstable();
            next.dedup();
            let mut arcs = Vec::new();
            for same in next.chunk_by(|one, other| one.0 == other.0) {
                let to: Vec<usize> = same.iter().map(|(_, to)| *to).collect();
                let id = match closures.get(&to) {
                    Some(id) => *id,
                    None => {
                        let id = number(self.closure(to.iter().copied()), &mut open);
                        closures.insert(to, id);
                        id
                    }
                };
                arcs.push((same[0].0, id));
            }
            found.push(CompactState { arcs, is_end: states.binary_search(&END).is_ok() });
        }
        (found, starts)
    }
}

/// Joins states that allow the same, by refining groups until nothing splits.
fn smallest(states: &[CompactState]) -> Vec<CompactState> {
    let mut group: Vec<usize> = states.iter().map(|state| usize::from(state.is_end)).collect();
    let mut n_groups = 0;
    loop {
        let mut ids: FxHashMap<(usize, Vec<(usize, usize)>), usize> = FxHashMap::default();
        let mut finer = Vec::with_capacity(group.len());
        for (idx, state) in states.iter().enumerate() {
            let shape: Vec<(usize, usize)> =
                state.arcs.iter().map(|(label, to)| (*label, group[*to])).collect();
            let next = ids.len();
            // The start comes first, so its group is 0.
            finer.push(*ids.entry((group[idx], shape)).or_insert(next));
        }
        let settled = ids.len() == n_groups;
        n_groups = ids.len();
        group = finer;
        if settled {
            break;
        }
    }
    let mut small = vec![CompactState::default(); n_groups];
    for (idx, state) in states.iter().enumerate() {
        let arcs = state.arcs.iter().map(|(label, to)| (*label, group[*to])).collect();
        small[group[idx]] = CompactState { arcs, is_end: state.is_end };
    }
    small
}
