//! The grammar's word graph, its words spelled out in units: what the search walks.
//!
//! Takes: a `WordGraph` and a `Lexicon`.
//! Gives: `Lattice`: for each state of the graph a tree of the units that can follow.
//! Never: meaning, scores or time.
//! Tested in: `tests/it/neural_search.rs`.

use std::collections::HashMap;

use crate::language::graph::{Moment, Starts, WordGraph};
use crate::speech::neural::lexicon::Lexicon;

/// What can be said, unit by unit.
#[derive(Debug, Clone)]
pub struct Lattice {
    words: Vec<String>,
    /// First nodes of the words that can be said in each state of the graph.
    roots: Vec<Vec<usize>>,
    ends: Vec<bool>,
    nodes: Vec<LatticeNode>,
    starts: Starts,
    start: usize,
}

/// A unit of a word; words that begin alike share their first nodes.
#[derive(Debug, Clone)]
pub(super) struct LatticeNode {
    pub(super) unit: usize,
    pub(super) next: Vec<usize>,
    /// Words that are complete here, with the state they lead to.
    pub(super) words: Vec<(usize, usize)>,
}

impl Lattice {
    /// Spells `graph` out; a word without a sound can never be heard.
    #[must_use]
    pub fn new(graph: &WordGraph, lexicon: &Lexicon) -> Self {
        let mut this = Self {
            words: Vec::new(),
            roots: vec![Vec::new(); graph.arcs.len()],
            ends: (0..graph.arcs.len()).map(|state| graph.ends.contains(&state)).collect(),
            nodes: Vec::new(),
            starts: graph.starts.clone(),
            start: graph.starts.of(Moment::default()),
        };
        let mut ids: HashMap<&str, usize> = HashMap::new();
        for (state, arcs) in graph.arcs.iter().enumerate() {
            for (word, to) in arcs {
                let id = *ids.entry(word).or_insert_with(|| {
                    this.words.push(word.clone());
                    this.words.len() - 1
                });
                for sound in lexicon.sounds(word) {
                    this.spell(state, sound, (id, *to));
                }
            }
        }
        // Where a phrase may end, the next one's words can follow.
        let own = this.roots.clone();
        for (state, again) in graph.again.iter().enumerate() {
            if let Some(again) = again {
                this.roots[state].extend(&own[*again]);
            }
        }
        this
    }

    /// An utterance begins with what can be said at this moment.
    pub fn follow(&mut self, now: Moment<'_>) {
        self.start = self.starts.of(now);
    }

    pub(super) fn start(&self) -> usize {
        self.start
    }

    /// How many nodes the search walks over in all; for a look at its size.
    #[must_use]
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// True when nothing can be said.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }

    fn spell(&mut self, state: usize, sound: &[usize], word: (usize, usize)) {
        let mut here: Option<usize> = None;
        for unit in sound {
            let among = here.map_or(&self.roots[state], |node| &self.nodes[node].next);
            let known = among.iter().copied().find(|node| self.nodes[*node].unit == *unit);
            let node = known.unwrap_or_else(|| {
                self.nodes.push(LatticeNode { unit: *unit, next: Vec::new(), words: Vec::new() });
                let added = self.nodes.len() - 1;
                match here {
                    Some(before) => self.nodes[before].next.push(added),
                    None => self.roots[state].push(added),
                }
                added
            });
            here = Some(node);
        }
        if let Some(last) = here {
            self.nodes[last].words.push(word);
        }
    }

    pub(super) fn word(&self, id: usize) -> &str {
        &self.words[id]
    }

    pub(super) fn node(&self, id: usize) -> &LatticeNode {
        &self.nodes[id]
    }

    pub(super) fn roots(&self, state: usize) -> &[usize] {
        &self.roots[state]
    }

    pub(super) fn ends(&self, state: usize) -> bool {
        self.ends[state]
    }
}
