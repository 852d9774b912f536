//! The journal's first line: who, which horse, with what.
//!
//! Takes: nothing; these are the types of that line.
//! Gives: `Header`, with what was set for the exam.
//! Never: anything that happened in the exam.
//! Tested in: `tests/it/journal.rs` and `tests/it/set_for_exam.rs`.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::clock::WallQuality;
use crate::speech::recognise::EngineId;

/// The current place labels a still without a save for so many seconds after the last call, if nothing else was set.
pub const CONTEXT_S: f64 = 60.0;
/// The most that can be set.
pub const CONTEXT_S_MAX: f64 = 600.0;

/// The journal's first line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// `zonecall.journal/1`.
    pub schema: String,
    /// Version of the program that wrote it.
    pub program: String,
    /// The exam's own name, unique: start time and a random part.
    pub id: String,
    /// The engine and its model.
    pub engine: EngineId,
    /// SHA-256 of the grammar pack.
    pub grammar_sha256: String,
    /// Language of the grammar pack, such as `en`.
    pub language: String,
    /// SHA-256 of the protocols.
    pub protocols_sha256: String,
    /// Scheme chosen for each group of limbs: `fore` -> `thirds`.
    pub schemes: BTreeMap<String, String>,
    /// Samples a second.
    pub sample_rate_hz: u32,
    /// When sample 0 was recorded.
    pub started_at: DateTime<Utc>,
    /// Where `started_at` comes from.
    pub wall: WallQuality,
    /// Seconds east of UTC of the place of the exam; for scanners that state no time zone.
    pub utc_offset_s: i32,
    /// Who speaks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub person: Option<String>,
    /// Which horse.
    #[serde(default)]
    pub horse: Horse,
    /// What the practice's system knows the exam by.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<Order>,
    /// Length of the limbs in centimetres, by group, as far as it was set: levels are scaled by it.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub limb_lengths_cm: BTreeMap<String, f64>,
    /// The person saves first and says the place afterwards: the place that follows a save at once labels its still.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub save_first: bool,
    /// For how many seconds after the last call the place that is current labels a still without a save, as it was set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub context_s: Option<f64>,
    /// Scale of each score, as it was set; a score without one is on that of the protocols.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub scales: BTreeMap<String, String>,
}

impl Header {
    /// For how many seconds after the last call the current place labels a still without a save.
    #[must_use]
    pub fn context_s(&self) -> f64 {
        self.context_s.unwrap_or(CONTEXT_S).clamp(0.0, CONTEXT_S_MAX)
    }
}

/// The horse, as far as the person who started the exam named it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Horse {
    /// Its name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub name: Option<String>,
    /// The practice's number for it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// Its owner or keeper.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub owner: Option<String>,
    /// Its species, in the words of the practice.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub species: Option<String>,
    /// Its breed, in the words of the practice.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub breed: Option<String>,
    /// Its sex as DICOM writes it: `M`, `F` or `O`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sex: Option<String>,
}

/// What a practice's system knows an exam by, from its list of the day.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Order {
    /// Accession number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub accession: Option<String>,
    /// UID that the study of the exam is to have.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub study: Option<String>,
}
