//! The grammar as a graph of words that is made where it is walked: what is never said costs nothing.
//!
//! Takes: an `Automaton` with two starts, for calls and for calls or answers; the zones of each limb.
//! Gives: `OnDemandGraph`: one state for each set of places in the automaton that the same words lead to.
//! Never: meaning; of the tags it follows those that name a limb or a zone, for they decide what can be said.
//! Tested in: `tests/it/language.rs`.
//!
//! Determinization on demand (Mohri, Pereira and Riley, Computer Speech and Language 16, 2002). The whole graph has tens of
//! thousands of states and took seconds to make; an exam walks through a few thousand.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use rustc_hash::{FxHashMap, FxHashSet};

use crate::language::automaton::Automaton;
use crate::language::word_states::{Moment, Starts, WordState, WordStates};

/// The zones that can be named on each limb, by code.
pub type ZonesByLimb = BTreeMap<String, BTreeSet<String>>;

/// States that are kept ready; beyond that they are made again when they are needed.
const READY_MAX: usize = 20_000;

/// Which words may follow which, found when it is asked for; clones share what was found.
#[derive(Debug, Clone)]
pub struct OnDemandGraph {
    automaton: Arc<Automaton>,
    zones: Arc<SpokenZones>,
    starts: Arc<Starts>,
    found: Arc<Mutex<FoundStates>>,
}

/// A state of the automaton, and which set of zones is current there.
type Place = (usize, usize);

/// The places that words lead to, before those that need no further word; and whether a phrase begins there.
type Way = (Vec<Place>, bool);

/// What was walked through so far. The numbers of states are kept for good; there are at most some hundred thousand.
#[derive(Debug, Default)]
struct FoundStates {
    ways: Vec<Way>,
    numbers: FxHashMap<Way, usize>,
    ready: FxHashMap<usize, Arc<WordState>>,
    ends: FxHashMap<usize, bool>,
}

impl FoundStates {
    fn number(&mut self, mut way: Vec<Place>, begins: bool) -> usize {
        way.sort_unstable();
        way.dedup();
        let ways = &mut self.ways;
        *self.numbers.entry((way, begins)).or_insert_with_key(|way| {
            ways.push(way.clone());
            ways.len() - 1
        })
    }
}

impl OnDemandGraph {
    /// The graph of what `automaton` reads: from its first start without a question, from its last with one.
    #[must_use]
    pub fn new(automaton: Arc<Automaton>, zones: &ZonesByLimb) -> Self {
        let zones = SpokenZones::new(&automaton, zones);
        let mut found = FoundStates::default();
        let starts = Starts::new(zones.set_of.keys(), |now| {
            let start = if now.asked { automaton.starts().last() } else { automaton.starts().first() };
            let set = now.limb.map_or(0, |limb| zones.set_of[limb]);
            found.number(start.map(|start| (*start, set)).into_iter().collect(), true)
        });
        for state in
            (0..automaton.len()).filter_map(|state| automaton.again_from(state)).collect::<BTreeSet<_>>()
        {
            (0..zones.n_sets).for_each(|set| _ = found.number(vec![(state, set)], true));
        }
        Self {
            automaton,
            zones: Arc::new(zones),
            starts: Arc::new(starts),
            found: Arc::new(Mutex::new(found)),
        }
    }

    /// How many states were met so far; their numbers are smaller.
    pub(crate) fn len(&self) -> usize {
        self.found().ways.len()
    }

    /// The starts, by moment.
    pub(crate) fn starts(&self) -> &Starts {
        &self.starts
    }

    /// Nothing else happens while it is held, so what a thread that broke off left is whole.
    fn found(&self) -> MutexGuard<'_, FoundStates> {
        self.found.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// All that can be reached from the places of a way without a word; only where a word leads on, or where the end is.
    fn closure(&self, way: &[Place]) -> Vec<Place> {
        let mut reached: FxHashSet<Place> = way.iter().copied().collect();
        let mut open: Vec<Place> = way.to_vec();
        let mut leading = Vec::new();
        while let Some((state, set)) = open.pop() {
            let leads = self.automaton.is_end(state)
                || self.automaton.again_from(state).is_some()
                || self.automaton.words_from(state).next().is_some();
            if leads {
                leading.push((state, set));
            }
            for (tag, to) in self.automaton.tags_from(state) {
                if let Some(set) = self.zones.after(tag, set)
                    && reached.insert((to, set))
                {
                    open.push((to, set));
                }
            }
        }
        leading
    }

    fn made(&self, found: &mut FoundStates, state: usize) -> WordState {
        let places = self.closure(&found.ways[state].0);
        let mut next: Vec<(usize, Place)> = Vec::new();
        for (from, set) in &places {
            let words = self.automaton.words_from(*from).map(|(word, to)| (word, (to, *set)));
            next.extend(words.filter(|(_, to)| self.zones.is_open(*to)));
        }
        next.sort_unstable();
        let arcs = next.chunk_by(|one, other| one.0 == other.0).map(|same| {
            let way = same.iter().map(|(_, to)| *to).collect();
            (same[0].0, found.number(way, false))
        });
        let arcs = arcs.collect();
        let again = places.iter().filter_map(|(from, set)| Some((self.automaton.again_from(*from)?, *set)));
        let again: Vec<Place> = again.collect();
        WordState { arcs, again: (!again.is_empty()).then(|| found.number(again, true)) }
    }
}

impl WordStates for OnDemandGraph {
    fn words(&self) -> &[String] {
        self.automaton.texts()
    }

    fn number(&self, word: &str) -> Option<usize> {
        self.automaton.number(word)
    }

    fn start(&self, now: Moment<'_>) -> usize {
        self.starts.of(now)
    }

    fn begins(&self) -> BTreeSet<usize> {
        let found = self.found();
        (0..found.ways.len()).filter(|state| found.ways[*state].1).collect()
    }

    fn is_begin(&self, state: usize) -> bool {
        self.found().ways[state].1
    }

    fn state(&self, state: usize) -> Arc<WordState> {
        let mut found = self.found();
        if let Some(ready) = found.ready.get(&state) {
            return ready.clone();
        }
        if found.ready.len() >= READY_MAX {
            found.ready.clear();
        }
        let made = Arc::new(self.made(&mut found, state));
        found.ready.insert(state, made.clone());
        made
    }

    fn is_end(&self, state: usize) -> bool {
        let mut found = self.found();
        if let Some(known) = found.ends.get(&state) {
            return *known;
        }
        let is_end =
            self.closure(&found.ways[state].0).iter().any(|(state, _)| self.automaton.is_end(*state));
        found.ends.insert(state, is_end);
        is_end
    }
}

/// Which zones can be said on which limb, and what each tag changes.
#[derive(Debug)]
struct SpokenZones {
    /// Sets of zones that differ; the first is that of no known limb: all zones.
    n_sets: usize,
    set_of: BTreeMap<String, usize>,
    tags: Vec<TagEffect>,
    /// Whether an utterance can end after a place: nothing leads to a zone that the limb lacks.
    open: Vec<bool>,
}

/// What a tag does to the current set of zones.
#[derive(Debug)]
enum TagEffect {
    Nothing,
    /// A limb is named: its set is current from here on.
    Limb(usize),
    /// A zone is named: it can be passed in these sets only.
    Zone(Vec<bool>),
}

impl SpokenZones {
    fn new(automaton: &Automaton, zones: &ZonesByLimb) -> Self {
        let mut sets: Vec<Option<&BTreeSet<String>>> = vec![None];
        let mut set_of = BTreeMap::new();
        for (limb, own) in zones {
            let known = sets.iter().position(|set| *set == Some(own));
            let set = known.unwrap_or(sets.len());
            if known.is_none() {
                sets.push(Some(own));
            }
            set_of.insert(limb.clone(), set);
        }
        let effect = |tag: &String| match tag.split_once('=') {
            Some(("limb", code)) => TagEffect::Limb(set_of.get(code).copied().unwrap_or(0)),
            Some(("zone", code)) => {
                TagEffect::Zone(sets.iter().map(|set| set.is_none_or(|own| own.contains(code))).collect())
            }
            _ => TagEffect::Nothing,
        };
        let tags = automaton.names().iter().map(effect).collect();
        let mut this = Self { n_sets: sets.len(), set_of, tags, open: Vec::new() };
        this.open = this.opened(automaton);
        this
    }

    /// The set after a tag; none where the tag names a zone outside the set.
    fn after(&self, tag: usize, set: usize) -> Option<usize> {
        match &self.tags[tag] {
            TagEffect::Nothing => Some(set),
            TagEffect::Limb(set) => Some(*set),
            TagEffect::Zone(allowed) => allowed[set].then_some(set),
        }
    }

    fn is_open(&self, (state, set): Place) -> bool {
        self.open[state * self.n_sets + set]
    }

    /// From the last states to the first, since most arcs lead onwards, until nothing more is found.
    fn opened(&self, automaton: &Automaton) -> Vec<bool> {
        let n_sets = self.n_sets;
        let mut open = vec![false; automaton.len() * n_sets];
        let mut grew = true;
        while grew {
            grew = false;
            for place in (0..open.len()).rev().filter(|place| !open[*place]).collect::<Vec<_>>() {
                let (state, set) = (place / n_sets, place % n_sets);
                let leads = automaton.is_end(state)
                    || automaton.words_from(state).any(|(_, to)| open[to * n_sets + set])
                    || automaton
                        .tags_from(state)
                        .any(|(tag, to)| self.after(tag, set).is_some_and(|set| open[to * n_sets + set]));
                if leads {
                    (open[place], grew) = (true, true);
                }
            }
        }
        open
    }
}
