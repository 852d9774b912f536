//! What an engine needs to know of the spoken language.
//!
//! Takes: nothing; this is the type between the grammar pack and the engines.
//! Gives: `EngineLanguage`.
//! Never: meaning; engines deal in words only.
//! Tested in: `tests/it/language.rs`.

use std::path::PathBuf;
use std::sync::Arc;

use crate::language::on_demand_graph::OnDemandGraph;
use crate::language::usage::Usage;

pub use crate::language::grammar::GrammarWord;

/// The language as an engine sees it: which word sequences can be said, and how words sound.
#[derive(Debug, Clone)]
pub struct EngineLanguage {
    /// Which words may follow which: only what this exam's schemes allow.
    pub graph: OnDemandGraph,
    /// Each word that can be said, once, with the place where the grammar first uses it.
    pub words: Vec<GrammarWord>,
    /// Pronunciations of the pack, in file order; several for one word are variants.
    pub pronunciations: Vec<Pronunciation>,
    /// The smaller language, for an ear that cannot carry the whole one.
    pub core: Option<Box<EngineLanguage>>,
    /// How often words follow each other; none where nobody counted.
    pub usage: Option<Arc<Usage>>,
}

/// How a word sounds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pronunciation {
    /// The word, lower case.
    pub word: String,
    /// Its phones, in the model's own alphabet (ARPAbet for en-us), separated by spaces.
    pub phones: String,
    /// The dictionary file.
    pub file: PathBuf,
    /// Line number from 1.
    pub line: usize,
}
