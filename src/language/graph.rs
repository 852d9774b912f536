//! The grammar as a graph of words: the smallest deterministic automaton, for engines that search one.
//!
//! Takes: an `OnDemandGraph`.
//! Gives: `WordGraph`; the same word sequences, without tags; the only empty arcs are those to the next phrase.
//! Never: meaning. Empty arcs are what makes a search slow: with them PocketSphinx needed ten times as long.
//! Tested in: `tests/it/language.rs`.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::fmt::Write as _;
use std::sync::Arc;

use rustc_hash::FxHashMap;

use crate::language::on_demand_graph::OnDemandGraph;
use crate::language::word_states::{Moment, Starts, WordState, WordStates};

/// Which words may follow which.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WordGraph {
    /// Arcs out of each state.
    pub arcs: Vec<BTreeMap<String, usize>>,
    /// Where another phrase may begin after a state, without a word.
    pub again: Vec<Option<usize>>,
    /// States in which an utterance may end.
    pub ends: BTreeSet<usize>,
    /// Where an utterance begins.
    pub starts: Starts,
    words: Vec<String>,
    /// The same arcs with their words as places in `words`.
    states: Vec<Arc<WordState>>,
    begins: BTreeSet<usize>,
}

impl WordGraph {
    /// A graph of these arcs.
    #[must_use]
    pub fn from_arcs(
        arcs: Vec<BTreeMap<String, usize>>,
        again: Vec<Option<usize>>,
        ends: BTreeSet<usize>,
        starts: Starts,
    ) -> Self {
        let words: BTreeSet<&String> = arcs.iter().flat_map(BTreeMap::keys).collect();
        let words: Vec<String> = words.into_iter().cloned().collect();
        let place = |word: &String| words.binary_search(word).unwrap_or_default();
        let states = arcs.iter().zip(&again).map(|(arcs, again)| {
            let arcs = arcs.iter().map(|(word, to)| (place(word), *to)).collect();
            Arc::new(WordState { arcs, again: *again })
        });
        let states = states.collect();
        let begins = starts.all().into_iter().chain(again.iter().flatten().copied()).collect();
        Self { arcs, again, ends, starts, words, states, begins }
    }

    /// The smallest graph that allows what `graph` does.
    #[must_use]
    pub fn new(graph: &OnDemandGraph) -> Self {
        let mut draft =
            Draft { arcs: Vec::new(), again: Vec::new(), ends: Vec::new(), starts: graph.starts().clone() };
        while draft.arcs.len() < graph.len() {
            let state = graph.state(draft.arcs.len());
            draft.ends.push(graph.is_end(draft.arcs.len()));
            draft.again.push(state.again);
            draft.arcs.push(state.arcs.clone());
        }
        draft.smallest().spelled(graph.words())
    }

    /// The words that can follow in a state, another phrase's included.
    fn following(&self, state: usize) -> impl Iterator<Item = (&str, usize)> {
        let begins = [Some(state), self.again[state]].into_iter().flatten();
        begins.flat_map(|state| self.arcs[state].iter().map(|(word, to)| (word.as_str(), *to)))
    }

    /// The graph from one start in the text format of the Sphinx engines, every arc out of a state equally likely.
    #[must_use]
    pub fn fsg(&self, start: usize) -> String {
        let end = self.arcs.len();
        let mut text =
            format!("FSG_BEGIN exam\nNUM_STATES {}\nSTART_STATE {start}\nFINAL_STATE {end}\n", end + 1);
        for (from, arcs) in self.arcs.iter().enumerate() {
            for (word, to) in arcs {
                let _ = writeln!(text, "TRANSITION {from} {to} 1.0 {word}");
            }
            if self.ends.contains(&from) {
                let _ = writeln!(text, "TRANSITION {from} {end} 1.0");
            }
            if let Some(again) = self.again[from] {
                let _ = writeln!(text, "TRANSITION {from} {again} 1.0");
            }
        }
        text.push_str("FSG_END\n");
        text
    }

    /// Sentences that hold each pair of neighbouring words, each first and each last word at least once, and no pair
    /// that cannot be said: for engines that learn from examples which word follows which.
    #[must_use]
    pub fn examples(&self) -> Vec<String> {
        let (before, after) = (self.shortest_before(), self.shortest_after());
        let mut pairs: BTreeSet<(&str, &str)> = BTreeSet::new();
        let mut sentences = BTreeSet::new();
        for (state, arcs) in self.arcs.iter().enumerate() {
            let Some(lead) = &before[state] else { continue };
            for (word, to) in arcs {
                let mut sentence = |words: &[&str], tail: &[&str]| {
                    sentences.insert([lead.as_slice(), words, tail].concat().join(" "));
                };
                if lead.is_empty() && pairs.insert(("", word)) {
                    sentence(&[word], after[*to].as_deref().unwrap_or_default());
                }
                if self.ends.contains(to) && pairs.insert((word, "")) {
                    sentence(&[word], &[]);
                }
                for (next, then) in self.following(*to) {
                    if pairs.insert((word, next)) {
                        sentence(&[word, next], after[then].as_deref().unwrap_or_default());
                    }
                }
            }
        }
        sentences.into_iter().collect()
    }

    /// The fewest words from a start to each state; none where it cannot be reached.
    fn shortest_before(&self) -> Vec<Option<Vec<&str>>> {
        let mut lead: Vec<Option<Vec<&str>>> = vec![None; self.arcs.len()];
        let mut open: VecDeque<usize> = self.starts.all().into_iter().collect();
        open.iter().for_each(|start| lead[*start] = Some(Vec::new()));
        while let Some(state) = open.pop_front() {
            let words = lead[state].clone().unwrap_or_default();
            for (word, to) in &self.arcs[state] {
                if lead[*to].is_none() {
                    lead[*to] = Some([words.as_slice(), &[word.as_str()]].concat());
                    open.push_back(*to);
                }
            }
            if let Some(to) = self.again[state].filter(|to| lead[*to].is_none()) {
                lead[to] = Some(words);
                open.push_back(to);
            }
        }
        lead
    }

    /// The fewest words from each state to an end.
    fn shortest_after(&self) -> Vec<Option<Vec<&str>>> {
        let mut tail: Vec<Option<Vec<&str>>> = vec![None; self.arcs.len()];
        self.ends.iter().for_each(|end| tail[*end] = Some(Vec::new()));
        let mut grew = true;
        while grew {
            grew = false;
            // A round reaches one word further; what it finds counts from the next round on.
            let known = tail.clone();
            for state in (0..self.arcs.len()).filter(|state| known[*state].is_none()) {
                let found = self.arcs[state].iter().find_map(|(word, to)| Some((word, known[*to].as_ref()?)));
                if let Some((word, rest)) = found {
                    tail[state] = Some([&[word.as_str()], rest.as_slice()].concat());
                    grew = true;
                }
            }
        }
        tail
    }
}

/// A graph while it is made: its words are numbers, its arcs sorted by them.
#[derive(Debug)]
struct Draft {
    arcs: Vec<Vec<(usize, usize)>>,
    /// Where another phrase may begin after each state.
    again: Vec<Option<usize>>,
    ends: Vec<bool>,
    starts: Starts,
}

/// What a state can go on with: its group, the state it repeats, and its arcs as word and group.
type Shape = (usize, Option<usize>, Vec<(usize, usize)>);

impl Draft {
    /// Joins states that allow the same continuations, by refining groups until nothing splits.
    fn smallest(&self) -> Draft {
        let mut group: Vec<usize> = self.ends.iter().map(|is_end| usize::from(*is_end)).collect();
        let mut n_groups = 0;
        loop {
            let mut ids: FxHashMap<Shape, usize> = FxHashMap::default();
            let mut finer = Vec::with_capacity(group.len());
            for (state, arcs) in self.arcs.iter().enumerate() {
                let shape = arcs.iter().map(|(word, to)| (*word, group[*to])).collect();
                let again = self.again[state].map(|to| group[to]);
                let next = ids.len();
                // State 0 comes first, so its group is 0.
                finer.push(*ids.entry((group[state], again, shape)).or_insert(next));
            }
            // A group never joins what was apart, so where their number stays nothing was split.
            let settled = ids.len() == n_groups;
            (group, n_groups) = (finer, ids.len());
            if settled {
                break;
            }
        }
        let starts = self.starts.moved(|state| group[state]);
        let mut small = Draft {
            arcs: vec![Vec::new(); n_groups],
            again: vec![None; n_groups],
            ends: vec![false; n_groups],
            starts,
        };
        for (state, arcs) in self.arcs.iter().enumerate() {
            small.arcs[group[state]] = arcs.iter().map(|(word, to)| (*word, group[*to])).collect();
            small.again[group[state]] = self.again[state].map(|to| group[to]);
            small.ends[group[state]] = self.ends[state];
        }
        small
    }

    fn spelled(self, words: &[String]) -> WordGraph {
        let spell = |arcs: Vec<(usize, usize)>| {
            arcs.into_iter().map(|(word, to)| (words[word].clone(), to)).collect()
        };
        let ends =
            self.ends.iter().enumerate().filter(|(_, is_end)| **is_end).map(|(state, _)| state).collect();
        WordGraph::from_arcs(self.arcs.into_iter().map(spell).collect(), self.again, ends, self.starts)
    }
}

impl WordStates for WordGraph {
    fn words(&self) -> &[String] {
        &self.words
    }

    fn number(&self, word: &str) -> Option<usize> {
        self.words.binary_search_by(|known| known.as_str().cmp(word)).ok()
    }

    fn start(&self, now: Moment<'_>) -> usize {
        self.starts.of(now)
    }

    fn begins(&self) -> BTreeSet<usize> {
        self.begins.clone()
    }

    fn is_begin(&self, state: usize) -> bool {
        self.begins.contains(&state)
    }

    fn state(&self, state: usize) -> Arc<WordState> {
        self.states[state].clone()
    }

    fn is_end(&self, state: usize) -> bool {
        self.ends.contains(&state)
    }
}
