//! A word graph that is made when it is first needed: recorded words need none.
//!
//! Takes: a `Grammar`, its roots and the zones of each limb.
//! Gives: `LazyGraph`, which stands for its `WordGraph`.
//! Never: makes it twice; clones share it.
//! Tested in: `tests/it/language.rs`.

use std::ops::Deref;
use std::sync::{Arc, OnceLock};

use crate::language::automaton::Automaton;
use crate::language::grammar::Grammar;
use crate::language::graph::{WordGraph, ZonesByLimb};

/// A word graph, made when it is first looked at.
#[derive(Debug, Clone)]
pub struct LazyGraph {
    grammar: Grammar,
    calls: String,
    answers: String,
    zones: ZonesByLimb,
    made: Arc<OnceLock<WordGraph>>,
}

impl LazyGraph {
    /// The graph of what the rule `calls` allows, and while a question waits `answers` too.
    #[must_use]
    pub fn new(grammar: &Grammar, calls: &str, answers: &str, zones: &ZonesByLimb) -> Self {
        Self {
            grammar: grammar.clone(),
            calls: calls.to_owned(),
            answers: answers.to_owned(),
            zones: zones.clone(),
            made: Arc::default(),
        }
    }

    fn make(&self) -> WordGraph {
        // Only what decides which zones can be said matters to an ear; without the other tags far less differs.
        let spoken = self.grammar.with_tags(&|tag| tag.starts_with("limb=") || tag.starts_with("zone="));
        let calls = Automaton::new(&spoken, &[&self.calls]);
        let calls_or_answers = Automaton::new(&spoken, &[&self.calls, &self.answers]);
        WordGraph::new(&calls, &calls_or_answers, &self.zones)
    }
}

impl Deref for LazyGraph {
    type Target = WordGraph;

    fn deref(&self) -> &WordGraph {
        self.made.get_or_init(|| self.make())
    }
}

impl PartialEq for LazyGraph {
    fn eq(&self, other: &Self) -> bool {
        **self == **other
    }
}

impl Eq for LazyGraph {}
