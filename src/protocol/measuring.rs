//! Cut-offs and reference sets: what computed numbers are held against.
//!
//! Takes: `measures.toml` of the protocols, and the files of `references/`.
//! Gives: `Measuring` and `Reference`.
//! Never: a reference set that was not named; each cut-off carries its source.
//! Tested in: `tests/it/measure.rs`, `tests/it/measure_laws.rs`.

use std::collections::BTreeMap;
use std::path::Path;

use serde::Deserialize;

use crate::code::{StructureCode, ZoneCode};
use crate::plain_file;
use crate::protocol::error::{FILE_BYTES_MAX, ProtocolError};
use crate::protocol::source::{SourceFile, parse};
use crate::protocol::unit::convert;

/// What is computed, and with which cut-offs: `measures.toml`.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Measuring {
    /// Findings whose extent is an area.
    pub lesions_with_area: Vec<String>,
    /// Findings that have no edge to trace.
    pub lesions_without_edge: Vec<String>,
    /// Source of that.
    pub edge_source: String,
    /// What a structure called normal scores.
    pub normal_scores: f64,
    /// Source of that.
    pub normal_source: String,
    /// What is added up as one.
    pub strand: Vec<Strand>,
    /// Sources of the totals.
    pub total: Totals,
    /// Classes of the percentage of the total.
    pub severity: SeverityScale,
    /// Against the other limb.
    pub other_limb: OtherLimb,
    /// Against an earlier exam.
    pub earlier: EarlierRules,
    /// Which values the sums are made of.
    pub terms: Terms,
    /// Ratios between two strands of one limb.
    #[serde(default)]
    pub ratio: Vec<Ratio>,
}

impl Measuring {
    /// Whether a finding has an extent within its structure, be it with or without an edge.
    #[must_use]
    pub fn has_extent(&self, term: &str) -> bool {
        self.lesions_with_area.iter().chain(&self.lesions_without_edge).any(|known| known == term)
    }
}

/// Terms of the values that the sums are made of.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Terms {
    /// Of a cross-section.
    pub area: String,
    /// Of the part of it that is not sound.
    pub lesion_area: String,
    /// That part as a percentage.
    pub lesion_percent: String,
    /// Of a length from normal border to normal border.
    pub length: String,
    /// Of the scores.
    pub scores: Vec<String>,
}

/// A structure that is followed over the zones of a region.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Strand {
    /// Its code, that of a structure.
    pub code: StructureCode,
    /// Codes of its parts that count for it.
    #[serde(default)]
    pub parts: Vec<StructureCode>,
}

impl Strand {
    /// Whether `structure` counts for this strand.
    #[must_use]
    pub fn holds(&self, structure: &str) -> bool {
        self.code == structure || self.parts.iter().any(|part| part == structure)
    }
}

/// Sources of the totals.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Totals {
    /// Source of the sums over the zones.
    pub source: String,
    /// Source of sum and mean of the scores.
    pub score_source: String,
    /// Source of lengths.
    pub length_source: String,
    /// Which of two zones with equal percentages is the worst.
    pub tie: String,
}

/// Classes by percentage, lowest first.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SeverityScale {
    /// Strands that the classes are given for.
    pub strands: Vec<StructureCode>,
    /// Groups of limbs that they were made for.
    pub groups: Vec<String>,
    /// What is said on other limbs.
    pub elsewhere: String,
    /// Where the cut-offs come from.
    pub source: String,
    /// The classes.
    pub class: Vec<SeverityClass>,
}

/// One class.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SeverityClass {
    /// Its name.
    pub name: String,
    /// The largest percentage that still belongs to it.
    pub up_to: f64,
}

/// Threshold against the other limb.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OtherLimb {
    /// Larger by more than this is reported, in percent of the other limb.
    pub over_percent: f64,
    /// Where it comes from.
    pub source: String,
}

/// Thresholds against an earlier exam.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EarlierRules {
    /// Larger by more than this is reported, in percent of the earlier exam.
    pub over_percent: f64,
    /// Where it comes from.
    pub source: String,
    /// The second threshold.
    pub far_over_percent: f64,
    /// Where that comes from.
    pub far_source: String,
    /// Why a change of tracer is reported.
    pub tracer_source: String,
}

/// A ratio between two strands.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ratio {
    /// Divided.
    pub of: StructureCode,
    /// By this.
    pub to: StructureCode,
    /// Where it comes from.
    pub source: String,
}

/// Values by structure and zone.
pub type ByZone = BTreeMap<StructureCode, BTreeMap<ZoneCode, f64>>;

/// One reference set.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reference {
    /// Its name, by which it is asked for.
    pub name: String,
    /// What it is.
    pub title: String,
    /// Breed of the horses.
    pub breed: String,
    /// How many horses.
    pub n: u32,
    /// Groups of limbs it holds for.
    pub groups: Vec<String>,
    /// The zone scheme its zones belong to.
    pub scheme: String,
    /// UCUM unit of all its numbers.
    pub unit: String,
    /// Where it comes from.
    pub source: String,
    /// Means, where the set gives means.
    #[serde(default)]
    pub mean: ByZone,
    /// Standard deviations to the means.
    #[serde(default)]
    pub sd: ByZone,
    /// Lower ends, where the set gives ranges.
    #[serde(default)]
    pub low: ByZone,
    /// Upper ends.
    #[serde(default)]
    pub high: ByZone,
}

const BUILT_IN: [(&str, &str); 2] = [
    ("mangalarga-marchador.toml", include_str!("../../references/mangalarga-marchador.toml")),
    ("national-hunt-thoroughbred.toml", include_str!("../../references/national-hunt-thoroughbred.toml")),
];

impl Reference {
    /// The reference sets that come with the program.
    ///
    /// # Errors
    /// When a built-in file is malformed; a test keeps them free of faults.
    pub fn built_in() -> Result<Vec<Reference>, ProtocolError> {
        let files = BUILT_IN.map(|(name, text)| SourceFile { path: name.into(), text: text.to_owned() });
        files.iter().map(parse).collect()
    }

    /// The reference set in the file at `path`.
    ///
    /// # Errors
    /// When the file cannot be read, is too large or malformed.
    pub fn read(path: &Path) -> Result<Reference, ProtocolError> {
        let unreadable = |source| ProtocolError::Unreadable { path: path.to_owned(), source };
        let bytes = std::fs::metadata(path).map_err(unreadable)?.len();
        if bytes > FILE_BYTES_MAX {
            return Err(ProtocolError::TooLarge { path: path.to_owned(), bytes });
        }
        let unreadable = |source| ProtocolError::Unreadable { path: path.to_owned(), source };
        let text = plain_file::read_to_string(path).map_err(unreadable)?;
        parse(&SourceFile { path: path.to_owned(), text })
    }

    /// A number of the set in square millimetres.
    #[must_use]
    pub fn mm2(&self, of: &ByZone, structure: &str, zone: &str) -> Option<f64> {
        let number = of.get(structure)?.get(zone)?;
        convert(*number, &self.unit, "mm2")
    }
}
