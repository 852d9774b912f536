//! A value that was typed or traced, as a row of the record.
//!
//! Takes: nothing; this is a type.
//! Gives: `EntryRow`.
//! Never: what was said; that is a call.
//! Tested in: `tests/it/exchange/fhir.rs`.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::exam::event::how_entered;
use crate::exam::place::Place;
use crate::exam::seq::Seq;

/// A value that a person typed, or traced on a still.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct EntryRow {
    /// Its event in the journal.
    pub seq: Seq,
    /// When it was entered.
    pub at: DateTime<Utc>,
    /// Limb, zone, plane and structure.
    #[serde(flatten)]
    pub place: Place,
    /// What was measured.
    pub term: String,
    /// How much, in `unit`.
    pub number: f64,
    /// UCUM unit; none for scores.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Scale of a score.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
    /// Traced on a still; else typed.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub traced: bool,
    /// Who entered it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The still states no scale: a person set it on its depth scale.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub scale_by_hand: bool,
    /// The still it was read from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub still: Option<String>,
    /// Where the still is a loop, the frame it was read from, counted from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub frame_number: Option<u32>,
    /// The line of the value that counts in its place; absent where its own counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub replaced_by: Option<Seq>,
    /// The lines that say the opposite of the same place.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub contradicted_by: Vec<Seq>,
}

impl EntryRow {
    /// How it came into the exam, in a word.
    #[must_use]
    pub fn how(&self) -> &'static str {
        how_entered(self.traced)
    }
}
