//! The grammar as a graph of words: the smallest deterministic automaton, for engines that search one.
//!
//! Takes: an `Automaton`, and the zones of each limb.
//! Gives: `WordGraph`; the same word sequences, no tags and no empty arcs.
//! Never: meaning. Empty arcs are what makes a search slow: with them PocketSphinx needed ten times as long.
//! Tested in: `tests/it/language.rs`.

use std::collections::{BTreeMap, BTreeSet, HashMap, VecDeque};
use std::fmt::Write as _;

use crate::language::automaton::Automaton;

/// The zones that can be named on each limb, by code.
pub type ZonesByLimb = BTreeMap<String, BTreeSet<String>>;

/// Which words may follow which.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WordGraph {
    /// Arcs out of each state.
    pub arcs: Vec<BTreeMap<String, usize>>,
    /// States in which an utterance may end.
    pub ends: BTreeSet<usize>,
    /// Where an utterance begins.
    pub starts: Starts,
}

/// What decides which phrases can be said next.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Moment<'a> {
    /// The limb in force: only its zones can be said, until a limb is named in the utterance itself.
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
    /// While no limb is in force, or one that is not known: every zone can be said.
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
    /// The smallest graph that allows what `calls` reads, and while a question waits what `calls_or_answers` reads;
    /// the zones follow the limb.
    #[must_use]
    pub fn new(calls: &Automaton, calls_or_answers: &Automaton, zones: &ZonesByLimb) -> Self {
        // Each made small before they are joined: unjoined states take more memory than all the rest of the program.
        let alone = |automaton: &Automaton| {
            let mut graph = Follow::new(automaton, zones).deterministic();
            graph.drop_dead_ends();
            smallest(&graph)
        };
        let (mut graph, waiting) = (alone(calls), alone(calls_or_answers));
        let moved = |state: usize| state + graph.arcs.len();
        let arcs = waiting.arcs.iter();
        let arcs: Vec<_> =
            arcs.map(|arcs| arcs.iter().map(|(word, to)| (word.clone(), moved(*to))).collect()).collect();
        graph.starts.calls_or_answers = waiting.starts.calls.moved(moved);
        graph.ends.extend(waiting.ends.iter().map(|end| end + graph.arcs.len()));
        graph.arcs.extend::<Vec<BTreeMap<String, usize>>>(arcs);
        smallest(&graph)
    }

    /// True when the words can be said at this moment.
    #[must_use]
    pub fn allows(&self, now: Moment<'_>, words: &[&str]) -> bool {
        let step = |state: usize, word: &&str| self.arcs[state].get(*word).copied();
        words.iter().try_fold(self.starts.of(now), step).is_some_and(|state| self.ends.contains(&state))
    }

    /// The ways in which the phrase that ends the words could go on rather than another one begin: one word
    /// or two; none where the words cannot be said at this moment, or where more than two would be needed.
    #[must_use]
    pub fn continuations(&self, now: Moment<'_>, words: &[&str]) -> Option<Vec<Vec<&str>>> {
        let start = self.starts.of(now);
        let step = |state: usize, word: &&str| self.arcs[state].get(*word).copied();
        let here = words.iter().try_fold(start, step).filter(|state| self.ends.contains(state))?;
        let mut found = Vec::new();
        for (word, to) in self.arcs[here].iter().filter(|(word, _)| !self.arcs[start].contains_key(*word)) {
            if self.ends.contains(to) {
                found.push(vec![word.as_str()]);
                continue;
            }
            let ends: Vec<_> = self.arcs[*to].iter().filter(|(_, end)| self.ends.contains(end)).collect();
            if ends.is_empty() {
                return None;
            }
            found.extend(ends.into_iter().map(|(next, _)| vec![word.as_str(), next.as_str()]));
        }
        Some(found)
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
                for (next, then) in &self.arcs[*to] {
                    if pairs.insert((word, next)) {
                        sentence(&[word, next], after[*then].as_deref().unwrap_or_default());
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

    /// Takes out the arcs after which no utterance can end, such as to a zone that the limb lacks.
    fn drop_dead_ends(&mut self) {
        let mut alive = self.ends.clone();
        loop {
            let leads = |arcs: &BTreeMap<String, usize>| arcs.values().any(|to| alive.contains(to));
            let more: Vec<usize> = (0..self.arcs.len())
                .filter(|state| !alive.contains(state) && leads(&self.arcs[*state]))
                .collect();
            if more.is_empty() {
                break;
            }
            alive.extend(more);
        }
        self.arcs.iter_mut().for_each(|arcs| arcs.retain(|_, to| alive.contains(to)));
    }
}

/// A state of the automaton, and which set of zones is in force there.
type Here = (usize, usize);

/// The automaton walked with an eye on the limb: its tag changes which zones can be said after it.
struct Follow<'a> {
    automaton: &'a Automaton,
    /// The sets of zones that differ; none stands for all, while no limb is known.
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
    fn after(&self, tag: Option<&str>, set: usize) -> Option<usize> {
        let Some((key, code)) = tag.and_then(|tag| tag.split_once('=')) else { return Some(set) };
        match key {
            "limb" => Some(self.set_of.get(code).copied().unwrap_or(0)),
            "zone" => self.sets[set].is_none_or(|own| own.contains(code)).then_some(set),
            _ => Some(set),
        }
    }

    /// `places` and all that can be reached from them without a word, sorted.
    fn closure(&self, places: impl IntoIterator<Item = Here>) -> Vec<Here> {
        let mut found: BTreeSet<Here> = BTreeSet::new();
        let mut open: Vec<Here> = places.into_iter().collect();
        while let Some((state, set)) = open.pop() {
            if found.insert((state, set)) {
                let free = self.automaton.wordless_from(state);
                open.extend(free.filter_map(|(tag, to)| Some((to, self.after(tag, set)?))));
            }
        }
        found.into_iter().collect()
    }

    /// One state for each set of places that can be reached by the same words.
    fn deterministic(&self) -> WordGraph {
        let mut open: Vec<Vec<Here>> = Vec::new();
        let mut known: HashMap<Vec<Here>, usize> = HashMap::new();
        let mut id_of = |places: Vec<Here>, open: &mut Vec<Vec<Here>>| {
            *known.entry(places.clone()).or_insert_with(|| {
                open.push(places);
                open.len() - 1
            })
        };
        let starts: Vec<usize> = (0..self.sets.len())
            .map(|set| id_of(self.closure([(self.automaton.start(), set)]), &mut open))
            .collect();
        let limb = self.set_of.iter().map(|(limb, set)| ((*limb).to_owned(), starts[*set])).collect();
        let calls = ByLimb { any: starts[0], limb };
        let starts = Starts { calls_or_answers: calls.clone(), calls };
        let mut graph = WordGraph { arcs: Vec::new(), ends: BTreeSet::new(), starts };
        while let Some(places) = open.get(graph.arcs.len()).cloned() {
            let mut next: BTreeMap<String, Vec<Here>> = BTreeMap::new();
            for (state, set) in &places {
                for (word, to) in self.automaton.words_from(*state) {
                    next.entry(word.to_owned()).or_default().push((to, *set));
                }
            }
            if places.iter().any(|(state, _)| *state == self.automaton.end()) {
                graph.ends.insert(graph.arcs.len());
            }
            let arcs = next.into_iter().map(|(word, places)| (word, id_of(self.closure(places), &mut open)));
            let arcs = arcs.collect();
            graph.arcs.push(arcs);
        }
        graph
    }
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
    let starts = graph.starts.moved(|state| group[state]);
    let mut small = WordGraph { arcs: vec![BTreeMap::new(); n_groups], ends: BTreeSet::new(), starts };
    for (state, arcs) in graph.arcs.iter().enumerate() {
        small.arcs[group[state]] = arcs.iter().map(|(word, to)| (word.clone(), group[*to])).collect();
        if graph.ends.contains(&state) {
            small.ends.insert(group[state]);
        }
    }
    small
}
