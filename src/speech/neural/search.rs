//! The search: which sentences of the language fit the frames of one utterance, and how well.
//!
//! Takes: a `Lattice` and the head's log-probabilities, frame by frame.
//! Gives: `Hypothesis`s, best first: words and the natural logarithm of their probability over all alignments.
//! Never: I/O, meaning, or a sentence that the grammar does not have.
//! Tested in: `tests/it/neural_search.rs`, against sums over every alignment of small cases.
//!
//! Prefix beam search for connectionist temporal classification (Graves et al. 2006; Hannun et al. 2014, algorithm 1):
//! each partial sentence keeps the probability of ending in a blank apart from that of ending in its last unit,
//! because only the first lets the same unit follow as a new one.

use rustc_hash::FxHashMap;

use crate::speech::neural::lattice::Lattice;
use crate::speech::neural::lexicon::BLANK;

/// The head's answer for one utterance: for each frame the natural logarithm of each unit's probability.
#[derive(Debug, Clone, PartialEq)]
pub struct Frames {
    values: Vec<f32>,
    n_units: usize,
}

impl Frames {
    /// Rows of `n_units` values; an incomplete last row is left out.
    #[must_use]
    pub fn new(mut values: Vec<f32>, n_units: usize) -> Self {
        let whole = values.len() - values.len() % n_units.max(1);
        values.truncate(whole);
        Self { values, n_units: n_units.max(1) }
    }

    /// Natural logarithm of the probability of the best sequence of any units.
    #[must_use]
    pub fn free(&self) -> f64 {
        self.rows().map(|row| f64::from(row.iter().copied().fold(f32::NEG_INFINITY, f32::max))).sum()
    }

    /// One row a frame.
    pub fn rows(&self) -> impl ExactSizeIterator<Item = &[f32]> {
        self.values.chunks_exact(self.n_units)
    }
}

/// How much is searched.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Width {
    /// Partial sentences kept after each frame.
    pub kept_max: usize,
    /// Those are dropped that are worse than the best by more than this, as a natural logarithm.
    pub behind_max: f64,
    /// A unit less probable than this in a frame, as a natural logarithm, cannot begin there.
    pub unit_min: f32,
}

impl Width {
    /// For listening: set by judgement; what a wider search would change has not been measured.
    pub const LISTENING: Width = Width { kept_max: 160, behind_max: 18.0, unit_min: -13.0 };
    /// Everything: exact, for small cases only.
    pub const EXACT: Width =
        Width { kept_max: usize::MAX, behind_max: f64::INFINITY, unit_min: f32::NEG_INFINITY };
}

/// A sentence that fits.
#[derive(Debug, Clone, PartialEq)]
pub struct Hypothesis {
    /// Its words.
    pub words: Vec<String>,
    /// Natural logarithm of its probability, over all alignments and ways to say its words, and what rare words cost.
    pub score: f64,
    /// What rare words add to the score, 0 or less: it says nothing of how well the sounds fit.
    pub rare: f64,
}

/// Readings given back at most.
pub const READINGS_MAX: usize = 40;
/// Node number of the beginning, before any unit.
const NOWHERE: usize = usize::MAX;

/// The words said before, shared between partial sentences: each entry adds one word to another.
#[derive(Debug)]
struct Histories {
    entries: Vec<(usize, usize, usize)>,
    known: FxHashMap<(usize, usize), usize>,
}

impl Histories {
    fn new() -> Self {
        Self { entries: vec![(0, NOWHERE, 0)], known: FxHashMap::default() }
    }

    /// `before` and one more word, which leads to `state`.
    fn with(&mut self, before: usize, word: usize, state: usize) -> usize {
        *self.known.entry((before, word)).or_insert_with(|| {
            self.entries.push((before, word, state));
            self.entries.len() - 1
        })
    }

    fn words(&self, mut at: usize, lattice: &Lattice) -> Vec<String> {
        let mut words = Vec::new();
        while at != 0 {
            let (before, word, _) = self.entries[at];
            words.push(lattice.word(word).to_owned());
            at = before;
        }
        words.reverse();
        words
    }

    fn cost(&self, mut at: usize, lattice: &Lattice) -> f64 {
        let mut cost = 0.0;
        while at != 0 {
            let (before, word, _) = self.entries[at];
            cost += lattice.cost(self.last(before), word);
            at = before;
        }
        cost
    }

    /// The last word said; none at the beginning.
    fn last(&self, at: usize) -> Option<usize> {
        Some(self.entries[at].1).filter(|word| *word != NOWHERE)
    }
}

/// A partial sentence: whole words, and a node inside the word being said.
type LatticePlace = (usize, usize);

/// Log-probabilities of a partial sentence.
#[derive(Debug, Clone, Copy)]
struct BeamToken {
    blank: f64,
    unit: f64,
}

impl BeamToken {
    fn total(self) -> f64 {
        add(self.blank, self.unit)
    }
}

/// Tokens in the order they were made, so that equal input gives equal sums.
#[derive(Debug, Default)]
struct Beam {
    tokens: Vec<(LatticePlace, BeamToken)>,
    at: FxHashMap<LatticePlace, usize>,
}

impl Beam {
    fn token(&mut self, place: LatticePlace) -> &mut BeamToken {
        let idx = *self.at.entry(place).or_insert(self.tokens.len());
        if idx == self.tokens.len() {
            self.tokens.push((place, BeamToken { blank: f64::NEG_INFINITY, unit: f64::NEG_INFINITY }));
        }
        &mut self.tokens[idx].1
    }

    fn pruned(mut self, width: Width) -> Vec<(LatticePlace, BeamToken)> {
        let best = self.tokens.iter().map(|(_, token)| token.total()).fold(f64::NEG_INFINITY, f64::max);
        self.tokens.retain(|(_, token)| {
            let total = token.total();
            total > f64::NEG_INFINITY && total >= best - width.behind_max
        });
        if self.tokens.len() > width.kept_max {
            self.tokens.sort_by(|a, b| b.1.total().total_cmp(&a.1.total()));
            self.tokens.truncate(width.kept_max);
        }
        self.tokens
    }
}

/// What a search finds.
#[derive(Debug, Clone, PartialEq)]
pub struct Searched {
    /// Sentences that fit, best first.
    pub whole: Vec<Hypothesis>,
    /// Beginnings of sentences, up to the end of a word, whose words are no sentence by themselves; likeliest first.
    pub begun: Vec<Hypothesis>,
}

/// The sentences of `lattice` that fit `frames`, best first.
#[must_use]
pub fn search(lattice: &mut Lattice, frames: &Frames, width: Width) -> Vec<Hypothesis> {
    search_begun(lattice, frames, width).whole
}

/// The same, and beginnings of others.
#[must_use]
pub fn search_begun(lattice: &mut Lattice, frames: &Frames, width: Width) -> Searched {
    lattice.begin();
    let mut histories = Histories::new();
    let mut tokens = vec![((0, NOWHERE), BeamToken { blank: 0.0, unit: f64::NEG_INFINITY })];
    for row in frames.rows() {
        let mut beam = Beam::default();
        for (place, token) in tokens {
            step(lattice, &mut histories, &mut beam, (place, token), row, width.unit_min);
        }
        tokens = beam.pruned(width);
    }
    let whole = ended(lattice, &mut histories, &tokens, SentenceEnd::Whole);
    // Words that are a sentence on one path and the beginning of one on another speak for no more than was said.
    let is_whole = |begun: &Hypothesis| whole.iter().any(|one| one.words == begun.words);
    let mut begun = ended(lattice, &mut histories, &tokens, SentenceEnd::Begun);
    begun.retain(|one| !is_whole(one));
    Searched { whole, begun }
}

/// One partial sentence, one frame on: it stays, or one unit begins.
fn step(
    lattice: &mut Lattice,
    histories: &mut Histories,
    beam: &mut Beam,
    ((history, at), token): (LatticePlace, BeamToken),
    row: &[f32],
    unit_min: f32,
) {
    let total = token.total();
    let stays = beam.token((history, at));
    stays.blank = add(stays.blank, total + f64::from(row[BLANK]));
    if at == NOWHERE {
        let last = (BLANK, token);
        let start = lattice.opened_start();
        return begin(lattice, beam, history, start.roots(), last, row, unit_min);
    }
    let unit = lattice.unit(at);
    stays.unit = add(stays.unit, token.unit + f64::from(row[unit]));
    let last = (unit, token);
    begin(lattice, beam, history, lattice.next(at), last, row, unit_min);
    let before = histories.last(history);
    for complete in lattice.complete(at) {
        let (word, state) = lattice.completed(complete);
        let roots = lattice.opened(state).roots();
        if roots.clone().any(|root| row[lattice.unit(root)] >= unit_min) {
            let cost = lattice.cost(before, word);
            let longer = histories.with(history, word, state);
            let token = BeamToken { blank: token.blank + cost, unit: token.unit + cost };
            begin(lattice, beam, longer, roots, (unit, token), row, unit_min);
        }
    }
}

/// Begins each of `nodes` in this frame, after a token whose last unit was `last`.
fn begin(
    lattice: &Lattice,
    beam: &mut Beam,
    history: usize,
    nodes: impl Iterator<Item = usize>,
    (last, token): (usize, BeamToken),
    row: &[f32],
    unit_min: f32,
) {
    for next in nodes {
        let unit = lattice.unit(next);
        if row[unit] < unit_min {
            continue;
        }
        let from = if unit == last { token.blank } else { token.total() };
        if from > f64::NEG_INFINITY {
            let begun = beam.token((history, next));
            begun.unit = add(begun.unit, from + f64::from(row[unit]));
        }
    }
}

/// Which partial sentences are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SentenceEnd {
    /// Those that are a whole phrase.
    Whole,
    /// Those that only begin one.
    Begun,
}

/// Partial sentences at the end of a word that are whole ones, or that are none yet, the ways to say the same words added
/// up.
fn ended(
    lattice: &Lattice,
    histories: &mut Histories,
    tokens: &[(LatticePlace, BeamToken)],
    ending: SentenceEnd,
) -> Vec<Hypothesis> {
    let mut whole: Vec<(usize, f64)> = Vec::new();
    let mut at: FxHashMap<usize, usize> = FxHashMap::default();
    for ((history, place), token) in tokens.iter().filter(|((_, place), _)| *place != NOWHERE) {
        let complete = lattice.complete(*place).map(|at| lattice.completed(at));
        for (word, state) in
            complete.filter(|(_, state)| lattice.ends(*state) == (ending == SentenceEnd::Whole))
        {
            let cost = lattice.cost(histories.last(*history), word);
            let sentence = histories.with(*history, word, state);
            let idx = *at.entry(sentence).or_insert(whole.len());
            if idx == whole.len() {
                whole.push((sentence, f64::NEG_INFINITY));
            }
            whole[idx].1 = add(whole[idx].1, token.total() + cost);
        }
    }
    whole.sort_by(|a, b| b.1.total_cmp(&a.1));
    whole.truncate(READINGS_MAX);
    whole
        .into_iter()
        .map(|(sentence, score)| Hypothesis {
            words: histories.words(sentence, lattice),
            score,
            rare: histories.cost(sentence, lattice),
        })
        .collect()
}

/// The logarithm of the sum of two numbers given as logarithms.
#[must_use]
pub fn add(a: f64, b: f64) -> f64 {
    let (high, low) = if a >= b { (a, b) } else { (b, a) };
    if low == f64::NEG_INFINITY { high } else { high + (low - high).exp().ln_1p() }
}
