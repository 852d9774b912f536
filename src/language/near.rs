//! Which phrases of the language sound almost like given sounds.
//!
//! Takes: a `WordGraph`, and how its words sound.
//! Gives: every phrase within a few sounds of the given ones.
//! Never: meaning; whether two phrases may be near each other, others decide.
//! Tested in: `tests/it/own_words.rs`.

use std::collections::BTreeMap;

use crate::language::word_states::{Moment, WordStates};

/// How each word sounds, in phones; several are variants.
pub type Sounds = BTreeMap<String, Vec<Vec<String>>>;

/// The phrases of `graph` that differ from `wanted` in at most `apart_max` sounds: one said for another, left out or put in.
///
/// Words that have no sound are passed over.
#[must_use]
pub fn near(graph: &dyn WordStates, sounds: &Sounds, wanted: &[&str], apart_max: usize) -> Vec<Vec<String>> {
    let start = graph.start(Moment::default());
    let mut found = Vec::new();
    // How far the sounds so far are from each beginning of the wanted ones.
    let mut open: Vec<(usize, Vec<usize>, Vec<&str>)> =
        vec![(start, (0..=wanted.len()).collect(), Vec::new())];
    while let Some((state, apart, said)) = open.pop() {
        let here = graph.state(state);
        let again = here.again.filter(|_| !said.is_empty()).map(|again| graph.state(again));
        let arcs = here.arcs.iter().chain(again.iter().flat_map(|again| &again.arcs));
        for (word, to) in arcs.map(|(word, to)| (&graph.words()[*word], *to)) {
            for variant in sounds.get(word).into_iter().flatten() {
                let apart = variant.iter().fold(apart.clone(), |apart, phone| step(&apart, wanted, phone));
                if apart.iter().all(|apart| *apart > apart_max) {
                    continue;
                }
                let said = [said.as_slice(), &[word.as_str()]].concat();
                if apart.last().is_some_and(|apart| *apart <= apart_max) && graph.is_end(to) {
                    found.push(said.iter().map(|word| (*word).to_owned()).collect());
                }
                open.push((to, apart, said));
            }
        }
    }
    found.sort();
    found.dedup();
    found
}

/// By how many sounds two words differ, as people say the nearest of their variants; none where one has no sound.
#[must_use]
pub fn sounds_apart(sounds: &Sounds, one: &str, other: &str) -> Option<usize> {
    let (one, other) = (sounds.get(one)?, sounds.get(other)?);
    let pairs = one.iter().flat_map(|a| other.iter().map(move |b| (a, b)));
    pairs
        .filter_map(|(a, b)| {
            let b: Vec<&str> = b.iter().map(String::as_str).collect();
            let first = (0..=b.len()).collect();
            a.iter().fold(first, |apart: Vec<usize>, phone| step(&apart, &b, phone)).last().copied()
        })
        .min()
}

/// One line more of the table of edit distances (Levenshtein 1966).
fn step(apart: &[usize], wanted: &[&str], phone: &str) -> Vec<usize> {
    let mut next: Vec<usize> = vec![apart.first().map_or(1, |first| first + 1)];
    for (idx, other) in wanted.iter().enumerate() {
        let changed = apart[idx] + usize::from(*other != phone);
        next.push(changed.min(apart[idx + 1] + 1).min(next[idx] + 1));
    }
    next
}
