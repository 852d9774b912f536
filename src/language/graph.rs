//! The grammar as a graph of words: the smallest deterministic automaton, for engines that search one.
//!
//! Takes: an `Automaton`.
//! Gives: `WordGraph`; the same word sequences, no tags and no empty arcs.
//! Never: meaning. Empty arcs are what makes a search slow: with them PocketSphinx needed ten times as long.
//! Tested in: `tests/language.rs`.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::fmt::Write as _;

use crate::language::automaton::Automaton;

/// Which words may follow which.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WordGraph {
    /// Arcs out of each state; state 0 is the start.
    pub arcs: Vec<BTreeMap<String, usize>>,
    /// States in which a breath may end.
    pub ends: BTreeSet<usize>,
}

impl WordGraph {
    /// The smallest graph that allows what `automaton` reads.
    #[must_use]
    pub fn new(automaton: &Automaton) -> Self {
        smallest(&deterministic(automaton))
    }

    /// True when the words can be said.
    #[must_use]
    pub fn allows(&self, words: &[&str]) -> bool {
        let step = |state: usize, word: &&str| self.arcs[state].get(*word).copied();
        words.iter().try_fold(0, step).is_some_and(|state| self.ends.contains(&state))
    }

    /// The graph in the text format of the Sphinx engines, every arc out of a state equally likely.
    #[must_use]
    pub fn fsg(&self) -> String {
        let end = self.arcs.len();
        let mut text = format!("FSG_BEGIN exam\nNUM_STATES {}\nSTART_STATE 0\nFINAL_STATE {end}\n", end + 1);
        for (from, arcs) in self.arcs.iter().enumerate() {
            for (word, to) in arcs {
                let _ = writeln!(text, "TRANSITION {from} {to} 1.0 {word}");
            }
            if self.ends.contains(&from) {
                let _ = writeln!(text, "TRANSITION {from} {end} 1.0");
            }
        }
        text.push_str("FSG_END\n");
        text
    }
}

/// One state for each set of automaton states that can be reached by the same words.
fn deterministic(automaton: &Automaton) -> WordGraph {
    let start = automaton.closure([automaton.start()]);
    let mut known = HashMap::from([(start.clone(), 0)]);
    let mut open = vec![start];
    let mut graph = WordGraph { arcs: Vec::new(), ends: BTreeSet::new() };
    while let Some(set) = open.get(graph.arcs.len()).cloned() {
        let mut next: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for state in &set {
            for (word, to) in automaton.words_from(*state) {
                next.entry(word.to_owned()).or_default().push(to);
            }
        }
        if set.contains(&automaton.end()) {
            graph.ends.insert(graph.arcs.len());
        }
        let mut arcs = BTreeMap::new();
        for (word, states) in next {
            let target = automaton.closure(states);
            let id = *known.entry(target.clone()).or_insert_with(|| {
                open.push(target);
                open.len() - 1
            });
            arcs.insert(word, id);
        }
        graph.arcs.push(arcs);
    }
    graph
}

/// Joins states that allow the same continuations, by refining groups until nothing splits.
fn smallest(graph: &WordGraph) -> WordGraph {
    let mut group: Vec<usize> =
        (0..graph.arcs.len()).map(|state| usize::from(graph.ends.contains(&state))).collect();
    loop {
        let mut ids = HashMap::new();
        let mut finer = Vec::with_capacity(group.len());
        for (state, arcs) in graph.arcs.iter().enumerate() {
            let shape: Vec<(&String, usize)> = arcs.iter().map(|(word, to)| (word, group[*to])).collect();
            let next = ids.len();
            // State 0 comes first, so its group is 0.
            finer.push(*ids.entry((group[state], shape)).or_insert(next));
        }
        let settled = finer == group;
        group = finer;
        if settled {
            break;
        }
    }
    let n_groups = group.iter().max().map_or(0, |most| most + 1);
    let mut small = WordGraph { arcs: vec![BTreeMap::new(); n_groups], ends: BTreeSet::new() };
    for (state, arcs) in graph.arcs.iter().enumerate() {
        small.arcs[group[state]] = arcs.iter().map(|(word, to)| (word.clone(), group[*to])).collect();
        if graph.ends.contains(&state) {
            small.ends.insert(group[state]);
        }
    }
    small
}
