//! The grammar's word graph, its words spelled out in units: what the search walks.
//!
//! Takes: a `WordGraph` and a `Lexicon`.
//! Gives: `Lattice`: for each state of the graph a tree of the units that can follow.
//! Never: meaning, scores or time.
//! Tested in: `tests/it/neural_search.rs`.

use std::ops::Range;

use rustc_hash::{FxHashMap, FxHashSet};

use crate::language::graph::{Moment, Starts, WordGraph};
use crate::language::usage::{BEGINNING, CountedWord, Usage, UsageOdds};
use crate::speech::neural::lexicon::Lexicon;

/// What a word outside the core of the language adds to the score of a reading, as a natural logarithm.
///
/// A wide language has a word for every sound: "er" before a limb was "air". Such words are said far less often than those
/// of the core. Tried against 0 on four tuning voices: in pink noise at 10 dB 94 of 120 calls right at once in place of 91.
const UNCOMMON: f64 = -3.0;

/// How much what is said often counts against what the sounds say. This, and the two below, were tried on 4,000 utterances of
/// tuning voices in quiet and in noise; between .3 and .7 little changes.
const USAGE_SHARE: f64 = 0.5;
/// A word as probable as this after the one before, as a natural logarithm, costs nothing.
const USUAL: f64 = -2.5;
/// No word costs more than this.
const LEAST_USUAL: f64 = -4.0;

/// What can be said, unit by unit.
///
/// There are hundreds of thousands of nodes: they lie flat, the nodes after one side by side.
#[derive(Debug, Clone)]
pub struct Lattice {
    words: Vec<String>,
    nodes: Vec<LatticeNode>,
    /// Words that are complete in a node, with the state they lead to.
    complete: Vec<(u32, u32)>,
    /// First nodes of the words that can be said in each state of the graph, without those of another phrase.
    roots: Vec<Range<u32>>,
    /// Where another phrase may begin after a state.
    again: Vec<Option<usize>>,
    ends: Vec<bool>,
    starts: Starts,
    start: usize,
    costs: Costs,
}

/// What words cost, because they are said rarely.
#[derive(Debug, Clone)]
enum Costs {
    /// No word is dearer than another.
    Alike,
    /// Each word has its own.
    Each(Vec<f64>),
    /// It depends on the word before.
    After(UsageOdds, Vec<CountedWord>),
}

/// A unit of a word; words that begin alike share their first nodes.
#[derive(Debug, Clone, Copy)]
struct LatticeNode {
    unit: u32,
    next: u32,
    n_next: u32,
    words: u32,
    n_words: u32,
}

/// The words of one state as a tree, while it grows.
#[derive(Debug, Default)]
struct Tree {
    roots: Vec<usize>,
    nodes: Vec<TreeNode>,
}

#[derive(Debug, Default)]
struct TreeNode {
    unit: usize,
    next: Vec<usize>,
    words: Vec<(usize, usize)>,
}

impl Tree {
    fn spell(&mut self, sound: &[usize], word: (usize, usize)) {
        let mut here: Option<usize> = None;
        for unit in sound {
            let among = here.map_or(&self.roots, |node| &self.nodes[node].next);
            let known = among.iter().copied().find(|node| self.nodes[*node].unit == *unit);
            let node = known.unwrap_or_else(|| {
                self.nodes.push(TreeNode { unit: *unit, ..TreeNode::default() });
                let added = self.nodes.len() - 1;
                match here {
                    Some(before) => self.nodes[before].next.push(added),
                    None => self.roots.push(added),
                }
                added
            });
            here = Some(node);
        }
        if let Some(last) = here {
            self.nodes[last].words.push(word);
        }
    }
}

impl Lattice {
    /// Spells `graph` out; a word without a sound can never be heard.
    #[must_use]
    pub fn new(graph: &WordGraph, lexicon: &Lexicon) -> Self {
        let mut this = Self {
            words: Vec::new(),
            nodes: Vec::new(),
            complete: Vec::new(),
            roots: Vec::with_capacity(graph.arcs.len()),
            again: graph.again.clone(),
            ends: (0..graph.arcs.len()).map(|state| graph.ends.contains(&state)).collect(),
            starts: graph.starts.clone(),
            start: graph.starts.of(Moment::default()),
            costs: Costs::Alike,
        };
        let mut ids: FxHashMap<&str, usize> = FxHashMap::default();
        let begins = graph.begins();
        for (state, arcs) in graph.arcs.iter().enumerate() {
            let mut tree = Tree::default();
            for (word, to) in arcs {
                let id = *ids.entry(word).or_insert_with(|| {
                    this.words.push(word.clone());
                    this.words.len() - 1
                });
                let anew = if begins.contains(&state) { lexicon.begun_anew(word) } else { &[] };
                lexicon.sounds(word).iter().chain(anew).for_each(|sound| tree.spell(sound, (id, *to)));
            }
            let roots = this.plant(&tree);
            this.roots.push(roots);
        }
        this
    }

    /// Lays a tree flat, level by level; where its roots are.
    fn plant(&mut self, tree: &Tree) -> Range<u32> {
        let first = self.nodes.len();
        let mut open = tree.roots.clone();
        let mut at = 0;
        while let Some(here) = open.get(at).map(|node| &tree.nodes[*node]) {
            self.nodes.push(LatticeNode {
                unit: short(here.unit),
                next: short(first + open.len()),
                n_next: short(here.next.len()),
                words: short(self.complete.len()),
                n_words: short(here.words.len()),
            });
            self.complete.extend(here.words.iter().map(|(word, state)| (short(*word), short(*state))));
            open.extend(&here.next);
            at += 1;
        }
        short(first)..short(first + tree.roots.len())
    }

    /// From now on words that are not among `common` must fit better, by `UNCOMMON`.
    pub fn prefer(&mut self, common: &FxHashSet<&str>) {
        let cost = |word: &String| if common.contains(word.as_str()) { 0.0 } else { UNCOMMON };
        self.costs = Costs::Each(self.words.iter().map(cost).collect());
    }

    /// From now on words that seldom follow the one before must fit better.
    pub fn expect(&mut self, usage: &Usage) {
        let counted = self.words.iter().map(|word| usage.counted(word)).collect();
        self.costs = Costs::After(usage.odds(self.words.len()), counted);
    }

    /// What a word adds to the score of a reading, as a natural logarithm: 0, or less for one that is said rarely, or
    /// rarely after the one `before`.
    pub(super) fn cost(&self, before: Option<usize>, word: usize) -> f64 {
        match &self.costs {
            Costs::Alike => 0.0,
            Costs::Each(costs) => costs[word],
            Costs::After(odds, counted) => {
                let expected = odds.ln(before.map_or(BEGINNING, |word| counted[word]), counted[word]);
                expected.map_or(0.0, |ln| (USAGE_SHARE * (ln - USUAL)).clamp(LEAST_USUAL, 0.0))
            }
        }
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

    pub(super) fn word(&self, id: usize) -> &str {
        &self.words[id]
    }

    /// The unit of a node.
    pub(super) fn unit(&self, node: usize) -> usize {
        self.nodes[node].unit as usize
    }

    /// The nodes that follow inside a word.
    pub(super) fn next(&self, node: usize) -> impl Iterator<Item = usize> + Clone {
        let LatticeNode { next, n_next, .. } = self.nodes[node];
        (next..next + n_next).map(|node| node as usize)
    }

    /// Words that are complete in a node, with the state they lead to.
    pub(super) fn complete(&self, node: usize) -> impl Iterator<Item = (usize, usize)> {
        let LatticeNode { words, n_words, .. } = self.nodes[node];
        let complete = &self.complete[words as usize..][..n_words as usize];
        complete.iter().map(|(word, state)| (*word as usize, *state as usize))
    }

    /// First nodes of the words that can be said in a state; where a phrase may end, the next one's words can follow.
    pub(super) fn roots(&self, state: usize) -> impl Iterator<Item = usize> + Clone {
        let again = self.again[state].map_or(0..0, |again| self.roots[again].clone());
        self.roots[state].clone().chain(again).map(|node| node as usize)
    }

    pub(super) fn ends(&self, state: usize) -> bool {
        self.ends[state]
    }
}

/// A number of nodes, words or states; four billion of them would not fit into memory.
fn short(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}
