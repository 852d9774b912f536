//! One structure followed down one limb: what is known of it in each zone.
//!
//! Takes: the readings of an exam, the zone scheme and the strands of `measures.toml`.
//! Gives: `StrandFacts`, zone by zone, proximal first.
//! Never: takes silence for nothing: a lesion that nobody measured is not known, unless `normal` was said.
//! Tested in: `tests/it/measure.rs`.

use crate::code::{LimbCode, PlaneCode, StructureCode, ZoneCode};
use crate::knowledge::measure::quantity::{Area, Share};
use crate::knowledge::measure::reading::{Basis, Known, Readings, Stated, Statement};
use crate::protocol::measuring::{Measuring, Strand};
use crate::protocol::{Protocols, Scheme, Zone};

/// Class of a finding that says that nothing is wrong.
const NORMAL: &str = "normal";
/// Class of a finding that says that something is wrong with a structure.
const LESION: &str = "lesion";

/// Why a lesion has no percentage.
pub(crate) const LARGER: &str = "the lesion is larger than the structure";

/// Why a number is not known.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Why {
    /// Nothing was said.
    Silent,
    /// What was said cannot be used.
    Unfit(String),
}

/// A score on its scale.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Score {
    pub(crate) points: f64,
    pub(crate) scale: Option<String>,
}

/// What is known in one zone.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct ZoneFacts {
    pub(crate) zone: ZoneCode,
    pub(crate) area: Result<Known<Area>, Why>,
    pub(crate) lesion: Result<Known<Area>, Why>,
    /// By term, in the order of `measures.toml`.
    pub(crate) scores: Vec<Result<Known<Score>, Why>>,
    /// A lesion without an edge was said here.
    pub(crate) edgeless: bool,
    /// A lesion was said here only to be possible.
    pub(crate) possible: bool,
}

impl ZoneFacts {
    /// The lesion as a share of the cross-section; none where either is not known.
    pub(crate) fn share(&self) -> Option<Share> {
        let (area, lesion) = (self.area.as_ref().ok()?, self.lesion.as_ref().ok()?);
        lesion.value.share_of(area.value)
    }
}

/// One strand on one limb in one scheme.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StrandFacts {
    pub(crate) limb: LimbCode,
    /// Group of the limb.
    pub(crate) group: String,
    pub(crate) scheme: String,
    pub(crate) strand: StructureCode,
    pub(crate) zones: Vec<ZoneFacts>,
}

/// Looks one strand up, or none where nothing was said of it.
pub(crate) fn strand_facts(
    readings: &Readings,
    limb: &str,
    scheme: &Scheme,
    strand: &Strand,
    protocols: &Protocols,
) -> Option<StrandFacts> {
    let measuring = &protocols.measuring;
    let mut zones = Vec::new();
    for zone in &scheme.zones {
        let counted = scheme.total_zones.is_empty() || scheme.total_zones.contains(&zone.code);
        if counted && zone.structures.iter().any(|structure| strand.holds(structure)) {
            zones.push(StrandLook { readings, limb, zone, strand, measuring, protocols }.facts());
        }
    }
    let said = zones.iter().any(|zone| {
        zone.area.is_ok()
            || zone.scores.iter().any(|score| score.is_ok())
            || matches!(zone.lesion, Ok(_) | Err(Why::Unfit(_)))
    });
    let group = protocols.limb(limb).map(|limb| limb.group.clone()).unwrap_or_default();
    let (limb, scheme, strand) = (limb.into(), scheme.name.clone(), strand.code.clone());
    said.then_some(StrandFacts { limb, group, scheme, strand, zones })
}

/// What a part counts as that was called normal and has no number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum NormalCounts {
    /// As having none of it: a lesion.
    AsNone,
    /// As not known: a size.
    Not,
}

/// One strand in one zone of one limb.
struct StrandLook<'a> {
    readings: &'a Readings,
    limb: &'a str,
    zone: &'a Zone,
    strand: &'a Strand,
    measuring: &'a Measuring,
    protocols: &'a Protocols,
}

impl StrandLook<'_> {
    fn facts(&self) -> ZoneFacts {
        let area = self.area(&self.measuring.terms.area, NormalCounts::Not);
        let lesion = self.lesion(&area);
        let is_edgeless =
            |one: &Statement| self.measuring.lesions_without_edge.iter().any(|term| term == one.what.term());
        let lesions = || self.codes().into_iter().flat_map(|code| self.found(code, LESION));
        let edgeless = lesions().any(is_edgeless);
        let is_possible = |one: &Statement| matches!(one.what, Stated::Finding { is_possible: true, .. });
        let possible = lesions().next().is_some() && lesions().all(is_possible);
        let scores = self.measuring.terms.scores.iter().map(|term| self.score(term)).collect();
        ZoneFacts { zone: self.zone.code.clone(), area, lesion, scores, edgeless, possible }
    }

    /// The strand itself, then the parts of it that the zone lists.
    fn codes(&self) -> Vec<&str> {
        let parts = self.strand.parts.iter().filter(|part| self.zone.structures.contains(part));
        std::iter::once(&self.strand.code).chain(parts).map(StructureCode::as_str).collect()
    }

    fn found(&self, code: &str, class: &str) -> Vec<&Statement> {
        self.readings.findings(self.limb, &self.zone.code, code, class).collect()
    }

    /// The area said for the whole; else the sum of the parts, all of which are needed.
    ///
    /// A part that was called normal may count as having none of it.
    fn area(&self, term: &str, normal: NormalCounts) -> Result<Known<Area>, Why> {
        let codes = self.codes();
        let (whole, parts) = codes.split_first().ok_or(Why::Silent)?;
        let whole = self.one_area(whole, term)?;
        let mut parts: Vec<(&str, Option<Known<Area>>)> =
            parts.iter().map(|part| Ok((*part, self.one_area(part, term)?))).collect::<Result<_, Why>>()?;
        let given = parts.iter().filter(|part| part.1.is_some()).count();
        if normal == NormalCounts::AsNone && given > 0 {
            for (part, area) in parts.iter_mut().filter(|part| part.1.is_none()) {
                *area = self.none_of_normal(&[part]);
            }
        }
        let known = parts.iter().filter(|part| part.1.is_some()).count();
        match (whole, given) {
            (Some(_), 1..) => Err(Why::Unfit("said for the whole and for a part of it".to_owned())),
            (Some(whole), 0) => Ok(whole),
            (None, 0) => Err(Why::Silent),
            (None, _) if known < parts.len() => {
                let missing = parts.iter().filter(|part| part.1.is_none()).map(|part| part.0);
                Err(Why::Unfit(format!("not said for {}", missing.collect::<Vec<_>>().join(" and "))))
            }
            (None, _) => {
                let known: Vec<Known<Area>> = parts.into_iter().filter_map(|part| part.1).collect();
                let basis = known.iter().fold(Basis::default(), |basis, part| basis.join(&part.basis));
                Ok(Known { value: known.iter().map(|part| part.value).sum(), basis })
            }
        }
    }

    /// Nothing, on the word of a finding `normal`; none where nobody said it.
    fn none_of_normal(&self, codes: &[&str]) -> Option<Known<Area>> {
        let said: Vec<_> = codes.iter().flat_map(|code| self.found(code, NORMAL)).collect();
        let basis = said.iter().fold(Basis::default(), |basis, call| basis.join(&self.readings.basis(call)));
        (!said.is_empty()).then(|| Known { value: Area::from_mm2(0.0), basis })
    }

    fn one_area(&self, code: &str, term: &str) -> Result<Option<Known<Area>>, Why> {
        let Some(reading) = self.readings.counting(self.limb, &self.zone.code, code, term) else {
            return Ok(None);
        };
        let area = reading.unit.and_then(|unit| Area::from_unit(reading.number, unit));
        match area.filter(|area| area.mm2() >= 0.0) {
            Some(value) => Ok(Some(Known { value, basis: reading.basis })),
            None => Err(Why::Unfit(format!("{term} of {code} has no unit of area"))),
        }
    }

    /// The lesion's area as said, or from its percentage, or nothing where the structure was called normal.
    fn lesion(&self, area: &Result<Known<Area>, Why>) -> Result<Known<Area>, Why> {
        let terms = &self.measuring.terms;
        let said = self.area(&terms.lesion_area, NormalCounts::AsNone);
        let known = match said {
            Err(Why::Silent) => self.lesion_by_percent(area, &terms.lesion_percent)?,
            other => Some(other?),
        };
        let codes = self.codes();
        let with_area = |one: &&Statement| self.measuring.has_extent(one.what.term());
        let unmeasured = codes.iter().flat_map(|code| self.found(code, LESION)).find(with_area);
        match (known, area, unmeasured) {
            (Some(lesion), Ok(area), _) if lesion.value > area.value => Err(Why::Unfit(LARGER.to_owned())),
            (Some(lesion), ..) => Ok(lesion),
            (None, _, Some(one)) => {
                Err(Why::Unfit(format!("`{}` was said without an area", one.what.term())))
            }
            (None, Ok(_), None)
                if self.readings.has_unplaced_lesion(self.limb, &self.zone.code, self.measuring) =>
            {
                Err(Why::Unfit("a lesion was said there without its structure".to_owned()))
            }
            (None, _, None) => self.none_of_normal(&codes).ok_or(Why::Silent),
        }
    }

    fn lesion_by_percent(
        &self,
        area: &Result<Known<Area>, Why>,
        term: &str,
    ) -> Result<Option<Known<Area>>, Why> {
        let found = self
            .codes()
            .into_iter()
            .find_map(|code| self.readings.counting(self.limb, &self.zone.code, code, term));
        let Some(reading) = found else { return Ok(None) };
        match area {
            Ok(area) => {
                let value = Share::from_percent(reading.number).of(area.value);
                Ok(Some(Known { value, basis: reading.basis.join(&area.basis) }))
            }
            Err(_) => Err(Why::Unfit(format!("{term} was said without the area it is a share of"))),
        }
    }

    /// The score as said; else that of `normal`, where it was said in a plane that the score is read in.
    fn score(&self, term: &str) -> Result<Known<Score>, Why> {
        let codes = self.codes();
        let mut worst: Option<Known<Score>> = None;
        for code in &codes {
            let Some(reading) = self.readings.counting(self.limb, &self.zone.code, code, term) else {
                continue;
            };
            let scale = reading.scale.map(str::to_owned);
            if worst.as_ref().is_none_or(|worst| worst.value.points < reading.number) {
                worst = Some(Known { value: Score { points: reading.number, scale }, basis: reading.basis });
            }
        }
        if let Some(worst) = worst {
            return Ok(worst);
        }
        let kind = self.protocols.value(term).ok_or(Why::Silent)?;
        let readable = |plane: &Option<PlaneCode>| match plane {
            Some(plane) => kind.planes.is_empty() || kind.planes.contains(plane),
            None => false,
        };
        let lesion = codes.iter().any(|code| !self.found(code, LESION).is_empty());
        let normal = codes.iter().flat_map(|code| self.found(code, NORMAL));
        match normal.into_iter().find(|call| !lesion && readable(&call.place.plane)) {
            Some(call) => {
                let scale = self.readings.scales.get(term).or(kind.scale.as_ref()).cloned();
                let value = Score { points: self.measuring.normal_scores, scale };
                Ok(Known { value, basis: self.readings.basis(call) })
            }
            None => Err(Why::Silent),
        }
    }
}
