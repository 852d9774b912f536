//! Words for people who do not scan.
//!
//! Takes: `plain.toml` of the protocols, where there is one.
//! Gives: `Plain`.
//! Never: what a finding means for the horse.
//! Tested in: `tests/it/owner.rs`.

use std::collections::BTreeMap;

use serde::Deserialize;

use crate::code::{LimbCode, StructureCode, ZoneCode};

/// Plain words by code and term; what is not here is called by its name in the other files.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Plain {
    /// What the scan shows, as a clause.
    pub about: String,
    /// Limbs by code.
    pub limbs: BTreeMap<LimbCode, String>,
    /// Structures by code.
    pub structures: BTreeMap<StructureCode, PlainStructure>,
    /// Where a zone is, by scheme and zone.
    pub zones: BTreeMap<String, BTreeMap<ZoneCode, String>>,
    /// Findings by term, each a clause.
    pub findings: BTreeMap<String, String>,
    /// Positions within a structure.
    pub positions: BTreeMap<String, String>,
    /// When a change is reported at all.
    pub change: PlainChange,
    /// Shares of a cross-section in words, the smallest first.
    pub share: Vec<PlainShare>,
    /// By how much something is larger, in words, the smallest first.
    pub more: Vec<PlainMore>,
}

/// When a change between two exams is reported as one.
#[derive(Debug, Clone, Copy, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlainChange {
    /// Percentage points up to which the share of a lesion is "about the same".
    pub same_within_points: f64,
}

/// A structure in plain words.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlainStructure {
    /// In a sentence.
    pub name: String,
    /// What it is.
    pub what: String,
}

/// A share of a cross-section in words.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlainShare {
    /// Largest percentage that is reported so, 0 to 100.
    pub up_to_percent: f64,
    /// Such as "about a third".
    pub words: String,
}

/// By how much something is larger, in words.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlainMore {
    /// More than this many percent.
    pub over_percent: f64,
    /// Such as "more than a fifth".
    pub words: String,
}

impl Plain {
    /// The largest step that `percent` passes, in words; none where it passes none.
    #[must_use]
    pub fn more(&self, percent: f64) -> Option<&str> {
        self.more.iter().rfind(|more| percent > more.over_percent).map(|more| more.words.as_str())
    }

    /// A percentage of a cross-section in words; none outside the table.
    #[must_use]
    pub fn share(&self, percent: f64) -> Option<&str> {
        self.share.iter().find(|share| percent <= share.up_to_percent).map(|share| share.words.as_str())
    }
}
