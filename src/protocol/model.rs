//! What the protocols hold: limbs, planes, structures, values, schemes and their zones.
//!
//! Takes: nothing; these are the types that the files in `protocols/` are read into.
//! Gives: `Protocols` and its parts, found by their codes.
//! Never: a clinical word; every name, number and source is in the files.
//! Tested in: `tests/it/protocol.rs`.

use serde::Deserialize;

use crate::code::{LimbCode, PlaneCode, StructureCode, ZoneCode};
use crate::protocol::measuring::Measuring;
use crate::protocol::plain::Plain;
use crate::protocol::rules::Rules;
use crate::protocol::unit::convert;

/// Everything in the protocol folder.
#[derive(Debug, Clone, PartialEq)]
pub struct Protocols {
    /// Limbs in the order they are shown.
    pub limbs: Vec<Limb>,
    /// What the file of a still may say that it shows.
    pub stated_parts: Vec<StatedPart>,
    /// Planes in the order they are scanned.
    pub planes: Vec<Plane>,
    /// Structures that can be named.
    pub structures: Vec<Structure>,
    /// Findings that only some structures can have.
    pub only_of: Vec<OnlyOf>,
    /// Things that can be measured or scored, with their bounds.
    pub values: Vec<ValueKind>,
    /// Findings that have a width and a depth of their own, by term.
    pub sized: Vec<String>,
    /// Findings that a plane may describe, by term.
    pub directed: Vec<String>,
    /// What is computed, and with which cut-offs.
    pub measuring: Measuring,
    /// What is checked, and the practice's habits.
    pub rules: Rules,
    /// Words for people who do not scan.
    pub plain: Plain,
    /// Zone schemes.
    pub schemes: Vec<Scheme>,
    /// SHA-256 over all files, in hexadecimal.
    pub sha256: String,
}

/// One limb.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Limb {
    /// Its code in the record, such as `LF`.
    pub code: LimbCode,
    /// Its name in words.
    pub name: String,
    /// The group whose schemes apply to it, such as `fore`.
    pub group: String,
    /// `left` or `right`.
    pub side: String,
    /// Directions that do not exist on it.
    #[serde(default)]
    pub foreign_positions: Vec<String>,
    /// Landmarks of other limbs.
    #[serde(default)]
    pub foreign_landmarks: Vec<String>,
}

/// A part of the body as files of stills name it, and the limbs that have it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StatedPart {
    /// Groups of limbs that have it.
    pub groups: Vec<String>,
    /// Values of Body Part Examined, and codes as `SCHEME:CODE`.
    pub words: Vec<String>,
}

/// One plane.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Plane {
    /// Its code in the record, such as `T`.
    pub code: PlaneCode,
    /// Its name in words.
    pub name: String,
    /// Codes that the file of a still may give for it, as `SCHEME:CODE`.
    #[serde(default)]
    pub stated: Vec<String>,
    /// Where the probe's marker points by default.
    pub marker: Marker,
    /// Source of the default, or "common practice, no source".
    pub source: String,
}

/// Where the probe's marker points.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(untagged)]
pub enum Marker {
    /// The same way on every limb.
    Everywhere(String),
    /// By the side of the limb: what is at the horse's left stays at the left.
    BySide {
        /// On left limbs.
        left: String,
        /// On right limbs.
        right: String,
    },
}

impl Marker {
    /// The ways that are usual on limbs of this side; all of them where no side is known.
    #[must_use]
    pub fn usual(&self, side: Option<&str>) -> Vec<&str> {
        match (self, side) {
            (Marker::Everywhere(way), _) => vec![way],
            (Marker::BySide { left, .. }, Some("left")) => vec![left],
            (Marker::BySide { right, .. }, Some(_)) => vec![right],
            (Marker::BySide { left, right }, None) => vec![left, right],
        }
    }

    /// In words, such as `lateral on left limbs and medial on right ones`.
    #[must_use]
    pub fn in_words(&self, side: Option<&str>) -> String {
        match (self, side) {
            (Marker::BySide { left, right }, None) => {
                format!("{left} on left limbs and {right} on right ones")
            }
            _ => self.usual(side).concat(),
        }
    }
}

/// One structure.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Structure {
    /// Its code in the record, such as `SDFT`.
    pub code: StructureCode,
    /// Its name in words.
    pub name: String,
    /// The structure it is a part of, if any.
    #[serde(default)]
    pub part_of: Option<StructureCode>,
    /// Groups of limbs that have it; empty means all of them.
    #[serde(default)]
    pub groups: Vec<String>,
    /// It runs along the whole limb or lies outside the zones: no zone asks about it.
    #[serde(default)]
    pub anywhere: bool,
    /// What it is called in short, where its neighbours make clear which is meant.
    #[serde(default)]
    pub short: Option<String>,
    /// The scheme in whose zones the short name means it; absent: in all others.
    #[serde(default)]
    pub short_in: Option<String>,
    /// The short name means it where what it is a part of, or another part of that, was named last; elsewhere only in the
    /// scheme of `short_in`.
    #[serde(default)]
    pub short_after_whole: bool,
}

impl Structure {
    /// Whether limbs of this group have it.
    #[must_use]
    pub fn is_of(&self, group: &str) -> bool {
        self.groups.is_empty() || self.groups.iter().any(|own| own == group)
    }
}

/// Findings that only some structures can have.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OnlyOf {
    /// Their terms, as the grammar writes them.
    pub terms: Vec<String>,
    /// The structures that can have them.
    pub structures: Vec<StructureCode>,
}

/// Something that can be measured or scored.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ValueKind {
    /// Its term, as the grammar writes it.
    pub term: String,
    /// Unit taken where none was said; none for scores.
    #[serde(default)]
    pub unit: Option<String>,
    /// Unit that people are shown, whichever was said; the default unit where it is absent.
    #[serde(default)]
    pub shown: Option<String>,
    /// Unit taken instead for a whole number from `from` on.
    #[serde(default)]
    pub unit_of_large: Option<UnitOfLarge>,
    /// Units that make sense for it, the default among them.
    #[serde(default)]
    pub units: Vec<String>,
    /// Smallest value that needs no question, in `bound_unit`.
    pub min: f64,
    /// Largest value that needs no question, in `bound_unit`.
    pub max: f64,
    /// Unit of the bounds; none for scores.
    #[serde(default)]
    pub bound_unit: Option<String>,
    /// Whole numbers only.
    #[serde(default)]
    pub whole: bool,
    /// Planes it can be read in; empty means any.
    #[serde(default)]
    pub planes: Vec<PlaneCode>,
    /// Name of the current scale, where there is one.
    #[serde(default)]
    pub scale: Option<String>,
    /// The scales that an exam can be set to, that one among them; empty where there is no choice.
    #[serde(default)]
    pub scales: Vec<ScoreScale>,
    /// Where a value that is a straight distance begins and ends; absent where it is none.
    #[serde(default)]
    pub between: Option<String>,
    /// What of an outline it is; absent where an outline says nothing of it.
    #[serde(default)]
    pub outline: Option<OfOutline>,
    /// Its name where it is of a finding, not of the structure that the finding is in; absent where there is none.
    #[serde(default)]
    pub of_lesion: Option<String>,
    /// Just after a lesion a smaller number, in `bound_unit`, may be that of the lesion; absent where none may be.
    #[serde(default)]
    pub lesions_below: Option<f64>,
    /// Source of bounds and planes.
    pub source: String,
}

/// A scale of a score.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScoreScale {
    /// Its name, such as `0-3`.
    pub name: String,
    /// Its highest step.
    pub max: f64,
}

/// Large numbers are said in a smaller unit.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct UnitOfLarge {
    /// The smallest such number.
    pub from: f64,
    /// UCUM code.
    pub unit: String,
    /// Numbers with a point count, too.
    #[serde(default)]
    pub with_point: bool,
}

/// How a number was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NumberSaid {
    /// Without a point.
    Whole,
    /// With a point, such as "one point four".
    WithPoint,
}

impl ValueKind {
    /// The unit taken for a number that was said without one.
    #[must_use]
    pub fn unit_for(&self, number: f64, said: NumberSaid) -> Option<String> {
        let large = self.unit_of_large.as_ref();
        let counts =
            |large: &&UnitOfLarge| number >= large.from && (said == NumberSaid::Whole || large.with_point);
        let large = large.filter(counts);
        large.map(|large| large.unit.clone()).or_else(|| self.unit.clone())
    }

    /// Whether a number said just after a lesion may be that of the lesion.
    #[must_use]
    pub fn may_be_lesions(&self, number: f64, unit: Option<&str>) -> bool {
        let (Some(below), Some(bound)) = (self.lesions_below, self.bound_unit.as_deref()) else {
            return false;
        };
        unit.map_or(Some(number), |unit| convert(number, unit, bound)).is_some_and(|number| number < below)
    }
}

/// A length that the outline of a whole structure has.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OfOutline {
    /// All the way around it.
    Around,
    /// From its left to its right, as it lies on the still.
    Width,
    /// From its top to its bottom, as it lies on the still.
    Depth,
}

/// One way of dividing a region into zones.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Scheme {
    /// Name of the file it is in.
    #[serde(skip)]
    pub file: String,
    /// Its name, such as `thirds`.
    pub name: String,
    /// What it is, in words.
    pub title: String,
    /// Groups of limbs it can be used on.
    pub groups: Vec<String>,
    /// Which stretch of the limb it divides; one scheme per region is current on a limb.
    pub region: String,
    /// In force on its groups where an exam names no other scheme of its region.
    #[serde(default)]
    pub default: bool,
    /// It is covered only where one of its zones was called in the exam.
    #[serde(default)]
    pub when_called: bool,
    /// Where levels in centimetres are counted from.
    pub landmark: String,
    /// Source of the division.
    pub source: String,
    /// Source of the centimetres per zone; absent where there are none.
    #[serde(default)]
    pub cm_source: Option<String>,
    /// Length of a limb that the centimetres were made for, from the landmark to the end of the zones that share it out.
    #[serde(default)]
    pub length_cm: Option<f64>,
    /// The setting by which the length of the limb at hand is said.
    #[serde(default)]
    pub length_setting: Option<String>,
    /// Stretches of the limb, by the last words of their landmarks, that lie in its zones and in no other scheme's; said with
    /// a zone of another one they are a slip.
    #[serde(default)]
    pub places: Vec<String>,
    /// Outlines of the bones beside its zones, for the drawing of the limb.
    #[serde(default)]
    pub bone: Vec<Bone>,
    /// Zones that totals run over; empty means all of them.
    #[serde(default)]
    pub total_zones: Vec<ZoneCode>,
    /// Its zones from proximal to distal.
    pub zones: Vec<Zone>,
}

/// A bone as it is drawn beside the zones: schematic, no measure is taken from it.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bone {
    /// What it is, for whoever changes the drawing.
    pub name: String,
    /// Corners: how far out from the soft structures, 0 to 1, and how far down, in zones from the upper end of the first one.
    pub outline: Vec<(f64, f64)>,
}

/// One zone.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Zone {
    /// Its code in the record, such as `2A`.
    pub code: ZoneCode,
    /// Planes that must be covered.
    pub planes: Vec<PlaneCode>,
    /// Structures expected in it.
    pub structures: Vec<StructureCode>,
    /// Structures that want a still of their own here.
    #[serde(default)]
    pub own_still: Vec<StructureCode>,
    /// From (included) and to (not included), in centimetres below the landmark.
    #[serde(default)]
    pub cm: Option<(f64, f64)>,
    /// Source of the structures and of `own_still`.
    pub source: String,
}

impl Protocols {
    /// The limb with this code.
    #[must_use]
    pub fn limb(&self, code: &str) -> Option<&Limb> {
        self.limbs.iter().find(|limb| limb.code == code)
    }

    /// The name of a limb; its code where it is not known.
    #[must_use]
    pub fn limb_name<'a>(&'a self, code: &'a str) -> &'a str {
        self.limb(code).map_or(code, |limb| &limb.name)
    }

    /// The name of a plane; its code where it is not known.
    #[must_use]
    pub fn plane_name<'a>(&'a self, code: &'a str) -> &'a str {
        self.plane(code).map_or(code, |plane| &plane.name)
    }

    /// The limb on the other side: of the same pair, or of the pair that is named.
    #[must_use]
    pub fn other_limb(&self, code: &str, pair: Option<&str>) -> Option<&Limb> {
        let here = self.limb(code)?;
        let pair = pair.unwrap_or(&here.group);
        self.limbs.iter().find(|limb| limb.group == pair && limb.side != here.side)
    }

    /// The plane with this code.
    #[must_use]
    pub fn plane(&self, code: &str) -> Option<&Plane> {
        self.planes.iter().find(|plane| plane.code == code)
    }

    /// The structure with this code.
    #[must_use]
    pub fn structure(&self, code: &str) -> Option<&Structure> {
        self.structures.iter().find(|structure| structure.code == code)
    }

    /// What the structure with this code is a part of; the code itself where it is whole.
    #[must_use]
    pub fn whole<'a>(&'a self, code: &'a str) -> &'a str {
        self.structure(code).and_then(|known| known.part_of.as_deref()).unwrap_or(code)
    }

    /// Whether a finding with this term can be one of this structure, as far as the files say.
    #[must_use]
    pub fn can_have(&self, structure: &StructureCode, term: &str) -> bool {
        let lists = self.only_of.iter().filter(|only| only.terms.iter().any(|known| known == term));
        lists.into_iter().all(|only| only.structures.contains(structure))
    }

    /// Whether a finding with this term says that nothing is wrong.
    #[must_use]
    pub fn is_no_lesion(&self, term: &str) -> bool {
        self.rules.habits.no_lesion.iter().any(|known| known == term)
    }

    /// The measure or score with this term.
    #[must_use]
    pub fn value(&self, term: &str) -> Option<&ValueKind> {
        self.values.iter().find(|value| value.term == term)
    }

    /// The scheme with this name.
    #[must_use]
    pub fn scheme(&self, name: &str) -> Option<&Scheme> {
        self.schemes.iter().find(|scheme| scheme.name == name)
    }

    /// A limb in plain words.
    #[must_use]
    pub fn plain_limb<'a>(&'a self, code: &'a str) -> &'a str {
        self.plain.limbs.get(code).map_or_else(|| self.limb_name(code), String::as_str)
    }

    /// A structure in plain words, and what it is; that is empty where the file does not say.
    #[must_use]
    pub fn plain_structure<'a>(&'a self, code: &'a str) -> (&'a str, &'a str) {
        let name = || (self.structure(code).map_or(code, |known| known.name.as_str()), "");
        self.plain.structures.get(code).map_or_else(name, |plain| (plain.name.as_str(), plain.what.as_str()))
    }

    /// Where a zone of a scheme is, in plain words.
    #[must_use]
    pub fn plain_zone(&self, scheme: &str, zone: &str) -> String {
        let known = self.plain.zones.get(scheme).and_then(|zones| zones.get(zone));
        known.cloned().unwrap_or_else(|| format!("zone {zone}"))
    }
}

impl Scheme {
    /// The zone with this code.
    #[must_use]
    pub fn zone(&self, code: &str) -> Option<&Zone> {
        self.zones.iter().find(|zone| zone.code == code)
    }
}
