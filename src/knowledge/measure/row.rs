//! One computed measure, as the record holds it.
//!
//! Takes: nothing; these are the types between the measures and everything that shows them.
//! Gives: `MeasureRow`.
//! Never: a value without what it came from; what could not be computed says why.
//! Tested in: `tests/it/measure.rs`; described by `schema/record.schema.json`.

use serde::{Deserialize, Serialize};

use crate::code::{LimbCode, StructureCode, ZoneCode};
use crate::exam::seq::Seq;

/// Which measure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Name {
    /// Cross-section in one zone.
    Area,
    /// Cross-section of the lesion in one zone.
    LesionArea,
    /// Lesion as a percentage of the cross-section of its zone.
    LesionPercent,
    /// A score in one zone.
    Score,
    /// A straight distance in one zone, such as a width; which one, in `of`.
    Distance,
    /// Sum of the cross-sections over all zones.
    AreaTotal,
    /// Sum of the lesion areas over all zones.
    LesionTotal,
    /// Lesion total as a percentage of the area total; its class in `word`.
    LesionPercentTotal,
    /// The zone with the largest percentage.
    WorstZone,
    /// How many zones have a lesion.
    LesionZones,
    /// Length of the lesion from normal border to normal border.
    LesionLength,
    /// Sum of the zone scores.
    ScoreTotal,
    /// That sum divided by the number of zones.
    ScoreMean,
    /// Area of one strand divided by that of another.
    AreaRatio,
    /// Area minus that of the other limb.
    AreaMinusOtherLimb,
    /// Difference as a percentage of the other limb's area.
    AreaAgainstOtherLimb,
    /// Difference as a percentage of the reference mean.
    AreaAgainstReference,
    /// Change of the area as a percentage of the earlier one.
    AreaChange,
    /// Change of the lesion area.
    LesionChange,
    /// Change of a percentage, in points.
    LesionPercentChange,
    /// Change of a distance.
    DistanceChange,
    /// Change of a score.
    ScoreChange,
    /// Days since the injury.
    SinceInjury,
}

/// In place of a number that nobody said: the structure was called normal.
pub const NORMAL_SAID: &str = "normal (said)";

/// One computed measure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MeasureRow {
    /// Limb.
    pub limb: LimbCode,
    /// Zone scheme; absent where no zone is involved.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scheme: Option<String>,
    /// Structure, or both with a colon between in a ratio; absent where none is involved.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub structure: Option<StructureCode>,
    /// Zone; absent where the measure runs over all zones.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<ZoneCode>,
    /// Which measure.
    pub name: Name,
    /// Which score or distance.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
    /// Its value in `unit`; absent where it could not be computed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<f64>,
    /// UCUM unit; `1` for scores, ratios and counts.
    pub unit: String,
    /// The value in words: a class, a zone, a convention.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub word: Option<String>,
    /// Scale of a score.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<String>,
    /// The zones that a total runs over.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub zones: Vec<ZoneCode>,
    /// What it is held against: a limb, a reference set, an earlier exam.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub against: Option<String>,
    /// The threshold that it passes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over: Option<String>,
    /// What to keep in mind with this value.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// Why there is no value.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why_not: Option<String>,
    /// Source of the formula or the cut-off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
    /// How the numbers came: `spoken`, `typed`, `traced`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub how: Vec<String>,
    /// Who typed or traced them.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub by: Vec<String>,
    /// Some of it was taken without weight on the leg: not compared with loaded legs.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub off_weight: bool,
    /// Some of it was measured on a still that states no scale: a person set it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub scale_by_hand: bool,
    /// Some of it is no number that was said, but comes from a spoken `normal`.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub implied: bool,
    /// The calls and entries of the journal it was computed from.
    pub from: Vec<Seq>,
    /// The stills of those views.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stills: Vec<String>,
}

impl MeasureRow {
    /// A measure of `limb` without a value yet.
    #[must_use]
    pub fn new(limb: &str, name: Name, unit: &str) -> MeasureRow {
        MeasureRow {
            limb: limb.into(),
            scheme: None,
            structure: None,
            zone: None,
            name,
            of: None,
            value: None,
            unit: unit.to_owned(),
            word: None,
            scale: None,
            zones: Vec::new(),
            against: None,
            over: None,
            cautions: Vec::new(),
            why_not: None,
            source: None,
            how: Vec::new(),
            by: Vec::new(),
            off_weight: false,
            scale_by_hand: false,
            implied: false,
            from: Vec::new(),
            stills: Vec::new(),
        }
    }

    /// The same measure of the same place, whatever its value.
    #[must_use]
    pub fn same_place(&self, other: &MeasureRow) -> bool {
        self.limb == other.limb && self.same_but_limb(other)
    }

    /// The same measure of the same place, on whichever limb.
    #[must_use]
    pub fn same_but_limb(&self, other: &MeasureRow) -> bool {
        (&self.scheme, &self.structure, &self.zone, self.name, &self.of)
            == (&other.scheme, &other.structure, &other.zone, other.name, &other.of)
    }
}
