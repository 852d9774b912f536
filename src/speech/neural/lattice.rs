//! The grammar's graph of words, its words spelled out in units where the search walks.
//!
//! Takes: a graph of words and a `Lexicon`.
//! Gives: `Lattice`: for each state of the graph that a search opens, a tree of the units that can follow.
//! Never: meaning, scores or time.
//! Tested in: `tests/it/neural_search.rs`.

use rustc_hash::{FxHashMap, FxHashSet};

use crate::language::usage::{BEGINNING, CountedWord, Usage, UsageOdds};
use crate::language::word_states::{Moment, WordStates};
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

/// Nodes that are kept from one search to the next; beyond that all are made again where they are needed: 40 MB.
const NODES_KEPT_MAX: usize = 2_000_000;

/// What can be said, unit by unit.
///
/// There are hundreds of thousands of nodes: they lie flat, the nodes after one side by side.
pub struct Lattice {
    graph: Box<dyn WordStates + Send>,
    lexicon: Lexicon,
    nodes: Vec<LatticeNode>,
    /// Words that are complete in a node, with the state they lead to.
    complete: Vec<(u32, u32)>,
    open: FxHashMap<usize, OpenState>,
    start: usize,
    costs: Costs,
}

/// A state of the graph that a search has come to.
#[derive(Debug, Clone, Copy)]
pub(super) struct OpenState {
    /// First nodes of the words that can be said there, without those of another phrase.
    own: (u32, u32),
    /// Where another phrase may begin.
    again: Option<usize>,
    /// First nodes of that phrase's words.
    next: (u32, u32),
}

impl OpenState {
    /// First nodes of the words that can be said; where a phrase may end, the next one's words can follow.
    pub(super) fn roots(self) -> impl Iterator<Item = usize> + Clone {
        (self.own.0..self.own.1).chain(self.next.0..self.next.1).map(|node| node as usize)
    }
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
    /// Spells `graph` with `lexicon`; a word without a sound can never be heard.
    #[must_use]
    pub fn new(graph: Box<dyn WordStates + Send>, lexicon: Lexicon) -> Self {
        let start = graph.start(Moment::default());
        Self {
            graph,
            lexicon,
            nodes: Vec::new(),
            complete: Vec::new(),
            open: FxHashMap::default(),
            start,
            costs: Costs::Alike,
        }
    }

    /// A search begins: nodes met by earlier ones are kept while they are few.
    pub(super) fn begin(&mut self) {
        if self.nodes.len() > NODES_KEPT_MAX {
            self.nodes.clear();
            self.complete.clear();
            self.open.clear();
        }
    }

    /// The state in which an utterance begins, with its words spelled out.
    pub(super) fn opened_start(&mut self) -> OpenState {
        self.opened(self.start)
    }

    /// The state with its words spelled out.
    pub(super) fn opened(&mut self, state: usize) -> OpenState {
        let mut open = self.spelled(state);
        if let Some(again) = open.again {
            open.next = self.spelled(again).own;
        }
        open
    }

    fn spelled(&mut self, state: usize) -> OpenState {
        if let Some(open) = self.open.get(&state) {
            return *open;
        }
        let here = self.graph.state(state);
        let begins = self.graph.is_begin(state);
        let mut tree = Tree::default();
        for (id, to) in &here.arcs {
            let word = &self.graph.words()[*id];
            let anew = if begins { self.lexicon.begun_anew(word) } else { &[] };
            self.lexicon.sounds(word).iter().chain(anew).for_each(|sound| tree.spell(sound, (*id, *to)));
        }
        let open = OpenState { own: self.plant(&tree), again: here.again, next: (0, 0) };
        self.open.insert(state, open);
        open
    }

    /// Lays a tree flat, level by level; where its roots are.
    fn plant(&mut self, tree: &Tree) -> (u32, u32) {
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
        (short(first), short(first + tree.roots.len()))
    }

    /// From now on words that are not among `common` must fit better, by `UNCOMMON`.
    pub fn prefer(&mut self, common: &FxHashSet<&str>) {
        let cost = |word: &String| if common.contains(word.as_str()) { 0.0 } else { UNCOMMON };
        self.costs = Costs::Each(self.graph.words().iter().map(cost).collect());
    }

    /// From now on words that seldom follow the one before must fit better.
    pub fn expect(&mut self, usage: &Usage) {
        let words = self.graph.words();
        self.costs =
            Costs::After(usage.odds(words.len()), words.iter().map(|word| usage.counted(word)).collect());
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
        self.start = self.graph.start(now);
    }

    /// How many nodes have been made so far; for a look at its size.
    #[must_use]
    pub fn len(&self) -> usize {
        self.nodes.len()
    }

    /// True before the first search.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.nodes.is_empty()
    }

    /// How the words sound.
    #[must_use]
    pub fn lexicon(&self) -> &Lexicon {
        &self.lexicon
    }

    pub(super) fn word(&self, id: usize) -> &str {
        &self.graph.words()[id]
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

    /// The words that are complete in a node, as places for `completed`.
    pub(super) fn complete(&self, node: usize) -> impl Iterator<Item = usize> + use<> {
        let LatticeNode { words, n_words, .. } = self.nodes[node];
        (words..words + n_words).map(|at| at as usize)
    }

    /// A word that is complete, and the state that it leads to.
    pub(super) fn completed(&self, at: usize) -> (usize, usize) {
        let (word, state) = self.complete[at];
        (word as usize, state as usize)
    }

    pub(super) fn ends(&self, state: usize) -> bool {
        self.graph.is_end(state)
    }
}

/// A number of nodes, words or states; four billion of them would not fit into memory.
fn short(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}
