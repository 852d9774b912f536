//! Which words can follow which: what every graph of words gives, whole or made as it is walked.
//!
//! Takes: a state, the moment at which an utterance begins.
//! Gives: `WordStates`: the words that lead on; whether words can be said, and how their phrase can go on.
//! Never: meaning.
//! Tested in: `tests/it/language.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// What decides which phrases can be said next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Moment<'a> {
    /// The current limb: only its zones can be said, until a limb is named in the utterance itself.
    pub limb: Option<&'a str>,
    /// A question of the program waits for an answer.
    pub asked: bool,
}

/// The state in which an utterance begins; limbs with the same zones begin at the same state.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Starts {
    calls: StartByLimb,
    /// The same while a question waits for an answer.
    calls_or_answers: StartByLimb,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct StartByLimb {
    /// While no limb is current, or one that is not known: every zone can be said.
    any: usize,
    limb: BTreeMap<String, usize>,
}

impl Starts {
    /// The starts without and with a question: `at` gives the state for a limb, or for none.
    pub(crate) fn new<'a>(
        limbs: impl Iterator<Item = &'a String> + Clone,
        mut at: impl FnMut(Moment<'_>) -> usize,
    ) -> Self {
        let mut by_limb = |asked| StartByLimb {
            any: at(Moment { limb: None, asked }),
            limb: limbs.clone().map(|limb| (limb.clone(), at(Moment { limb: Some(limb), asked }))).collect(),
        };
        Self { calls: by_limb(false), calls_or_answers: by_limb(true) }
    }

    /// The state for a moment.
    #[must_use]
    pub fn of(&self, now: Moment<'_>) -> usize {
        let starts = if now.asked { &self.calls_or_answers } else { &self.calls };
        now.limb.and_then(|limb| starts.limb.get(limb)).copied().unwrap_or(starts.any)
    }

    /// The states in which an utterance can begin, each once.
    pub(crate) fn all(&self) -> BTreeSet<usize> {
        let both = [&self.calls, &self.calls_or_answers];
        both.into_iter().flat_map(|starts| starts.limb.values().copied().chain([starts.any])).collect()
    }

    /// The same states under other numbers.
    pub(crate) fn moved(&self, to: impl Fn(usize) -> usize) -> Starts {
        let moved = |starts: &StartByLimb| StartByLimb {
            any: to(starts.any),
            limb: starts.limb.iter().map(|(limb, state)| (limb.clone(), to(*state))).collect(),
        };
        Starts { calls: moved(&self.calls), calls_or_answers: moved(&self.calls_or_answers) }
    }
}

/// How a phrase can go on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Continuations<'a> {
    /// One word or two of which the first begins no phrase: they can be nothing but more of this one.
    pub only: Vec<Vec<&'a str>>,
    /// One word or two that end it, of which the first could begin a phrase of its own as well.
    pub or_begins: Vec<Vec<&'a str>>,
}

/// A state of a graph of words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WordState {
    /// The words that lead on, as places in the graph's list of words, with the state that each leads to; in order.
    pub arcs: Vec<(usize, usize)>,
    /// Where another phrase may begin, without a word.
    pub again: Option<usize>,
}

impl WordState {
    fn after(&self, word: usize) -> Option<usize> {
        let at = self.arcs.binary_search_by_key(&word, |(known, _)| *known).ok()?;
        Some(self.arcs[at].1)
    }
}

/// Which words may follow which.
pub trait WordStates {
    /// All words that can be said, in an order of their own.
    fn words(&self) -> &[String];

    /// The place of a word in that list.
    fn number(&self, word: &str) -> Option<usize>;

    /// The state in which an utterance begins at a moment.
    fn start(&self, now: Moment<'_>) -> usize;

    /// States in which a phrase begins.
    fn begins(&self) -> BTreeSet<usize>;

    /// Whether a phrase begins in a state.
    fn is_begin(&self, state: usize) -> bool;

    /// A state that a start, or an arc of another state, led to.
    fn state(&self, state: usize) -> Arc<WordState>;

    /// Whether an utterance may end in a state.
    fn is_end(&self, state: usize) -> bool;

    /// True when the words can be said at this moment.
    fn allows(&self, now: Moment<'_>, words: &[&str]) -> bool {
        self.walked(now, words).into_iter().any(|state| self.is_end(state))
    }

    /// The states that the words lead to.
    fn walked(&self, now: Moment<'_>, words: &[&str]) -> BTreeSet<usize> {
        words.iter().fold(BTreeSet::from([self.start(now)]), |here, word| {
            let Some(word) = self.number(word) else { return BTreeSet::new() };
            let again = here.iter().filter_map(|state| self.state(*state).again);
            let from: BTreeSet<usize> = here.iter().copied().chain(again).collect();
            from.into_iter().filter_map(|state| self.state(state).after(word)).collect()
        })
    }

    /// The ways in which the phrase that ends the words could go on with one word or two; none where the words cannot be
    /// said at this moment, or where more than two words that begin no phrase would be needed.
    fn continuations(&self, now: Moment<'_>, words: &[&str]) -> Option<Continuations<'_>> {
        let start = self.state(self.start(now));
        let here = self.walked(now, words);
        if !here.iter().any(|state| self.is_end(*state)) {
            return None;
        }
        let text = |word: usize| self.words()[word].as_str();
        let (mut only, mut or_begins) = (BTreeSet::new(), BTreeSet::new());
        for here in here {
            for (word, to) in &self.state(here).arcs {
                let begins = start.after(*word).is_some();
                let found = if begins { &mut or_begins } else { &mut only };
                if self.is_end(*to) {
                    found.insert(vec![text(*word)]);
                    continue;
                }
                let next = self.state(*to);
                let ends = next.arcs.iter().filter(|(_, end)| self.is_end(*end));
                let ends: Vec<_> = ends.map(|(next, _)| vec![text(*word), text(*next)]).collect();
                if ends.is_empty() && !begins {
                    return None;
                }
                found.extend(ends);
            }
        }
        Some(Continuations { only: only.into_iter().collect(), or_begins: or_begins.into_iter().collect() })
    }

    /// Words that begin a phrase, are none by themselves, and are never followed by themselves there: whoever says one twice
    /// starts anew.
    fn only_begin(&self) -> BTreeSet<&str> {
        let begins: Vec<Arc<WordState>> = self.begins().into_iter().map(|state| self.state(state)).collect();
        let arcs = || begins.iter().flat_map(|state| state.arcs.iter().copied());
        let stands = |word: usize, to: usize| {
            let follows = |state: usize| self.state(state).after(word).is_some();
            self.is_end(to) || follows(to) || self.state(to).again.is_some_and(follows)
        };
        let stand: BTreeSet<usize> =
            arcs().filter(|(word, to)| stands(*word, *to)).map(|(word, _)| word).collect();
        let alone = arcs().map(|(word, _)| word).filter(|word| !stand.contains(word));
        alone.map(|word| self.words()[word].as_str()).collect()
    }
}
