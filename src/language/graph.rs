//! The grammar as a graph of words: the smallest deterministic automaton, for engines that search one.
//!
//! Takes: an `Automaton`, and the zones of each limb.
//! Gives: `WordGraph`; the same word sequences, without tags; the only empty arcs are those to the next phrase.
//! Never: meaning. Empty arcs are what makes a search slow: with them PocketSphinx needed ten times as long.
//! Tested in: `tests/it/language.rs`.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::fmt::Write as _;

use rustc_hash::{FxHashMap, FxHashSet};

use crate::language::automaton::Automaton;

/// The zones that can be named on each limb, by code.
pub type ZonesByLimb = BTreeMap<String, BTreeSet<String>>;

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
}

/// How a phrase can go on.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Continuations<'a> {
    /// One word or two of which the first begins no phrase: they can be nothing but more of this one.
    pub only: Vec<Vec<&'a str>>,
    /// One word or two that end it, of which the first could begin a phrase of its own as well.
    pub or_begins: Vec<Vec<&'a str>>,
}

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
    calls: ByLimb,
    /// The same while a question waits for an answer.
    calls_or_answers: ByLimb,
}

#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct ByLimb {
    /// While no limb is current, or one that is not known: every zone can be said.
    any: usize,
    limb: BTreeMap<String, usize>,
}

impl ByLimb {
    fn moved(&self, to: impl Fn(usize) -> usize) -> ByLimb {
        let limb = self.limb.iter().map(|(limb, state)| (limb.clone(), to(*state)));
        ByLimb { any: to(self.any), limb: limb.collect() }
    }
}

impl Starts {
    /// The state for a moment.
    #[must_use]
    pub fn of(&self, now: Moment<'_>) -> usize {
        let starts = if now.asked { &self.calls_or_answers } else { &self.calls };
        now.limb.and_then(|limb| starts.limb.get(limb)).copied().unwrap_or(starts.any)
    }

    /// The states in which an utterance can begin, each once.
    fn all(&self) -> BTreeSet<usize> {
        let both = [&self.calls, &self.calls_or_answers];
        both.into_iter().flat_map(|starts| starts.limb.values().copied().chain([starts.any])).collect()
    }

    fn moved(&self, to: impl Fn(usize) -> usize) -> Starts {
        Starts { calls: self.calls.moved(&to), calls_or_answers: self.calls_or_answers.moved(&to) }
    }
}

impl WordGraph {
    /// States in which a phrase begins.
    #[must_use]
    pub fn begins(&self) -> BTreeSet<usize> {
        self.starts.all().into_iter().chain(self.again.iter().flatten().copied()).collect()
    }

    /// Words that begin a phrase, are none by themselves, and are never followed by themselves there: whoever says one twice
    /// starts anew.
    #[must_use]
    pub fn only_begin(&self) -> BTreeSet<&str> {
        let begins = self.begins();
        let arcs = || begins.iter().flat_map(|state| &self.arcs[*state]);
        let stands = |word: &str, to: usize| {
            self.ends.contains(&to) || self.following(to).any(|(next, _)| next == word)
        };
        let stand: BTreeSet<&String> =
            arcs().filter(|(word, to)| stands(word, **to)).map(|(word, _)| word).collect();
        arcs().map(|(word, _)| word).filter(|word| !stand.contains(word)).map(String::as_str).collect()
    }

    /// The smallest graph that allows what `calls` reads, and while a question waits what `calls_or_answers` reads;
    /// the zones follow the limb.
    #[must_use]
    pub fn new(calls: &Automaton, calls_or_answers: &Automaton, zones: &ZonesByLimb) -> Self {
        let mut words = Words::default();
        // Each made small before they are joined: unjoined states take more memory than all the rest of the program.
        let mut alone = |automaton: &Automaton| {
            let mut graph = Follow::new(automaton, zones).deterministic(&mut words);
            graph.drop_dead_ends();
            graph.smallest()
        };
        let (mut graph, waiting) = (alone(calls), alone(calls_or_answers));
        let n_calls = graph.arcs.len();
        let moved = |state: usize| state + n_calls;
        graph.starts.calls_or_answers = waiting.starts.calls.moved(moved);
        graph.ends.extend(waiting.ends);
        let arcs = waiting.arcs.into_iter();
        graph.arcs.extend(arcs.map(|arcs| arcs.into_iter().map(|(word, to)| (word, moved(to))).collect()));
        graph.again.extend(waiting.again.into_iter().map(|again| again.map(moved)));
        graph.smallest().spelled(&words)
    }

    /// True when the words can be said at this moment.
    #[must_use]
    pub fn allows(&self, now: Moment<'_>, words: &[&str]) -> bool {
        self.walked(now, words).iter().any(|state| self.ends.contains(state))
    }

    /// The states that the words lead to.
    fn walked(&self, now: Moment<'_>, words: &[&str]) -> BTreeSet<usize> {
        words.iter().fold(BTreeSet::from([self.starts.of(now)]), |states, word| {
            let begins = states.iter().flat_map(|state| [Some(*state), self.again[*state]]).flatten();
            begins.filter_map(|state| self.arcs[state].get(*word).copied()).collect()
        })
    }

    /// The words that can follow in a state, another phrase's included.
    fn following(&self, state: usize) -> impl Iterator<Item = (&str, usize)> {
        let begins = [Some(state), self.again[state]].into_iter().flatten();
        begins.flat_map(|state| self.arcs[state].iter().map(|(word, to)| (word.as_str(), *to)))
    }

    /// The ways in which the phrase that ends the words could go on with one word or two; none where the words cannot be
    /// said at this moment, or where more than two words that begin no phrase would be needed.
    #[must_use]
    pub fn continuations(&self, now: Moment<'_>, words: &[&str]) -> Option<Continuations<'_>> {
        let start = self.starts.of(now);
        let here = self.walked(now, words);
        if !here.iter().any(|state| self.ends.contains(state)) {
            return None;
        }
        let (mut only, mut or_begins) = (BTreeSet::new(), BTreeSet::new());
        for (word, to) in here.iter().flat_map(|state| &self.arcs[*state]) {
            let begins = self.arcs[start].contains_key(word);
            let found = if begins { &mut or_begins } else { &mut only };
            if self.ends.contains(to) {
                found.insert(vec![word.as_str()]);
                continue;
            }
            let ends: Vec<_> = self.arcs[*to].iter().filter(|(_, end)| self.ends.contains(end)).collect();
            if ends.is_empty() && !begins {
                return None;
            }
            found.extend(ends.into_iter().map(|(next, _)| vec![word.as_str(), next.as_str()]));
        }
        Some(Continuations { only: only.into_iter().collect(), or_begins: or_begins.into_iter().collect() })
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

/// The words that arcs carry, numbered.
#[derive(Debug, Default)]
struct Words {
    texts: Vec<String>,
    known: FxHashMap<String, usize>,
}

impl Words {
    fn number(&mut self, word: &str) -> usize {
        if let Some(known) = self.known.get(word) {
            return *known;
        }
        self.texts.push(word.to_owned());
        self.known.insert(word.to_owned(), self.texts.len() - 1);
        self.texts.len() - 1
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
    /// Takes out the arcs after which no utterance can end, such as to a zone that the limb lacks.
    fn drop_dead_ends(&mut self) {
        let mut before: Vec<Vec<usize>> = vec![Vec::new(); self.arcs.len()];
        for (from, arcs) in self.arcs.iter().enumerate() {
            arcs.iter().for_each(|(_, to)| before[*to].push(from));
        }
        let mut alive = self.ends.clone();
        let mut open: Vec<usize> = (0..alive.len()).filter(|state| alive[*state]).collect();
        while let Some(state) = open.pop() {
            for from in &before[state] {
                if !std::mem::replace(&mut alive[*from], true) {
                    open.push(*from);
                }
            }
        }
        self.arcs.iter_mut().for_each(|arcs| arcs.retain(|(_, to)| alive[*to]));
    }

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

    fn spelled(self, words: &Words) -> WordGraph {
        let spell = |arcs: Vec<(usize, usize)>| {
            arcs.into_iter().map(|(word, to)| (words.texts[word].clone(), to)).collect()
        };
        let ends =
            self.ends.iter().enumerate().filter(|(_, is_end)| **is_end).map(|(state, _)| state).collect();
        WordGraph {
            arcs: self.arcs.into_iter().map(spell).collect(),
            again: self.again,
            ends,
            starts: self.starts,
        }
    }
}

/// A state of the automaton, and which set of zones is current there.
type Here = (usize, usize);

/// The automaton walked with an eye on the limb: its tag changes which zones can be said after it.
struct Follow<'a> {
    automaton: &'a Automaton,
    /// The sets of zones that differ; none means all, while no limb is known.
    sets: Vec<Option<&'a BTreeSet<String>>>,
    set_of: BTreeMap<&'a str, usize>,
}

impl<'a> Follow<'a> {
    fn new(automaton: &'a Automaton, zones: &'a ZonesByLimb) -> Self {
        let mut this = Self { automaton, sets: vec![None], set_of: BTreeMap::new() };
        for (limb, own) in zones {
            let known = this.sets.iter().position(|set| *set == Some(own));
            let idx = known.unwrap_or_else(|| {
                this.sets.push(Some(own));
                this.sets.len() - 1
            });
            this.set_of.insert(limb, idx);
        }
        this
    }

    /// The set of zones after a tag; none where the tag names a zone outside the set.
    fn after(&self, tag: &str, set: usize) -> Option<usize> {
        let Some((key, code)) = tag.split_once('=') else { return Some(set) };
        match key {
            "limb" => Some(self.set_of.get(code).copied().unwrap_or(0)),
            "zone" => self.sets[set].is_none_or(|own| own.contains(code)).then_some(set),
            _ => Some(set),
        }
    }

    /// All that can be reached from `places` without a word, sorted; only where a word leads on, or where the end is.
    fn closure(&self, places: &[Here]) -> Vec<Here> {
        let mut found: FxHashSet<Here> = FxHashSet::default();
        let mut open: Vec<Here> = places.to_vec();
        while let Some((state, set)) = open.pop() {
            if found.insert((state, set)) {
                let free = self.automaton.tags_from(state);
                open.extend(free.filter_map(|(tag, to)| Some((to, self.after(tag, set)?))));
            }
        }
        let leads = |(state, _): &Here| {
            self.automaton.is_end(*state)
                || self.automaton.again_from(*state).is_some()
                || self.automaton.words_from(*state).next().is_some()
        };
        let mut found: Vec<Here> = found.into_iter().filter(leads).collect();
        found.sort_unstable();
        found
    }

    /// One state for each set of places that can be reached by the same words.
    fn deterministic(&self, words: &mut Words) -> Draft {
        let mut states = States {
            follow: self,
            open: Vec::new(),
            by_places: FxHashMap::default(),
            by_way: FxHashMap::default(),
        };
        let starts: Vec<usize> =
            (0..self.sets.len()).map(|set| states.number(vec![(self.automaton.start(), set)])).collect();
        let limb = self.set_of.iter().map(|(limb, set)| ((*limb).to_owned(), starts[*set])).collect();
        let calls = ByLimb { any: starts[0], limb };
        let starts = Starts { calls_or_answers: calls.clone(), calls };
        let mut graph = Draft { arcs: Vec::new(), again: Vec::new(), ends: Vec::new(), starts };
        while let Some(places) = states.open.get(graph.arcs.len()).cloned() {
            let mut next: BTreeMap<usize, Vec<Here>> = BTreeMap::new();
            for (state, set) in &places {
                for (word, to) in self.automaton.words_from(*state) {
                    next.entry(words.number(word)).or_default().push((to, *set));
                }
            }
            graph.ends.push(places.iter().any(|(state, _)| self.automaton.is_end(*state)));
            let again: Vec<Here> = places
                .iter()
                .filter_map(|(state, set)| Some((self.automaton.again_from(*state)?, *set)))
                .collect();
            graph.again.push((!again.is_empty()).then(|| states.number(again)));
            graph.arcs.push(next.into_iter().map(|(word, places)| (word, states.number(places))).collect());
        }
        graph
    }
}

/// The states of a graph while it is made, by the places that they stand for.
struct States<'a> {
    follow: &'a Follow<'a>,
    open: Vec<Vec<Here>>,
    by_places: FxHashMap<Vec<Here>, usize>,
    /// By the places that a word leads to: most ways are taken often, and what follows is found once.
    by_way: FxHashMap<Vec<Here>, usize>,
}

impl States<'_> {
    fn number(&mut self, mut way: Vec<Here>) -> usize {
        way.sort_unstable();
        way.dedup();
        if let Some(known) = self.by_way.get(&way) {
            return *known;
        }
        let places = self.follow.closure(&way);
        let next = self.open.len();
        let number = *self.by_places.entry(places.clone()).or_insert(next);
        if number == next {
            self.open.push(places);
        }
        self.by_way.insert(way, number);
        number
    }
}
