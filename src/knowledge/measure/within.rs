//! Measures of one strand by itself: zones, totals, class, worst zone, lengths and scores.
//!
//! Takes: `StrandFacts`.
//! Gives: rows, zones first, then totals; what is missing is named.
//! Never: a total over fewer zones than the region has.
//! Tested in: `tests/it/measure.rs`.

use crate::knowledge::measure::against::is_over;
use crate::knowledge::measure::quantity::{Area, Length};
use crate::knowledge::measure::reading::{Basis, Known, Readings};
use crate::knowledge::measure::row::{MeasureRow, NORMAL_SAID, Name};
use crate::knowledge::measure::strand::{Score, StrandFacts, Why, ZoneFacts};
use crate::protocol::measuring::{Measuring, Strand};

impl StrandFacts {
    pub(crate) fn row(&self, name: Name, unit: &str, zone: Option<&str>) -> MeasureRow {
        MeasureRow {
            scheme: Some(self.scheme.clone()),
            structure: Some(self.strand.clone()),
            zone: zone.map(Into::into),
            ..MeasureRow::new(&self.limb, name, unit)
        }
    }

    fn total(&self, name: Name, unit: &str, source: &str) -> MeasureRow {
        let zones = self.zones.iter().map(|zone| zone.zone.clone()).collect();
        MeasureRow { zones, source: Some(source.to_owned()), ..self.row(name, unit, None) }
    }
}

impl MeasureRow {
    pub(crate) fn standing_on(mut self, basis: &Basis) -> MeasureRow {
        self.from = basis.seqs.iter().copied().collect();
        self.stills = basis.stills.iter().cloned().collect();
        self.how = basis.how.iter().map(|how| how.word().to_owned()).collect();
        self.by = basis.by.iter().cloned().collect();
        self.off_weight = basis.off_weight;
        self.scale_by_hand = basis.scale_by_hand;
        self.implied = basis.implied;
        self
    }

    pub(crate) fn known(self, value: f64, basis: &Basis) -> MeasureRow {
        MeasureRow { value: Some(value), ..self.standing_on(basis) }
    }

    /// On the word `normal` alone: there is no number, and none is made up.
    pub(crate) fn normal(self, basis: &Basis) -> MeasureRow {
        MeasureRow { word: Some(NORMAL_SAID.to_owned()), ..self.standing_on(basis) }
    }

    /// The number, unless all of it comes from a spoken `normal`.
    fn known_or_normal(self, value: f64, basis: &Basis, is_normal: bool) -> MeasureRow {
        if is_normal { self.normal(basis) } else { self.known(value, basis) }
    }

    pub(crate) fn because(self, why: String) -> MeasureRow {
        MeasureRow { why_not: Some(why), ..self }
    }
}

/// Every measure of one strand by itself.
pub(crate) fn within(
    facts: &StrandFacts,
    readings: &Readings,
    strand: &Strand,
    measuring: &Measuring,
) -> Vec<MeasureRow> {
    let mut rows = Vec::new();
    for zone in &facts.zones {
        zone_rows(facts, zone, measuring, &mut rows);
    }
    sums(facts, measuring, &mut rows);
    rows.push(worst_zone(facts, measuring));
    rows.extend(lesion_zones(facts));
    rows.extend(lesion_length(facts, readings, strand, measuring));
    for (idx, term) in measuring.terms.scores.iter().enumerate() {
        scores(facts, idx, term, measuring, &mut rows);
    }
    rows
}

fn zone_rows(facts: &StrandFacts, zone: &ZoneFacts, measuring: &Measuring, rows: &mut Vec<MeasureRow>) {
    let row = |name, unit| facts.row(name, unit, Some(&zone.zone));
    let areas = [(Name::Area, &zone.area), (Name::LesionArea, &zone.lesion)];
    for (name, area) in areas {
        match area {
            Ok(area) => {
                let row = row(name, "mm2");
                rows.push(row.known_or_normal(area.value.mm2(), &area.basis, is_normal(area)));
            }
            Err(Why::Unfit(why)) => rows.push(row(name, "mm2").because(why.clone())),
            Err(Why::Silent) => {}
        }
    }
    if let (Ok(area), Ok(lesion), Some(share)) = (&zone.area, &zone.lesion, zone.share()) {
        let basis = area.basis.clone().join(&lesion.basis);
        let percent = row(Name::LesionPercent, "%");
        let mut percent = percent.known_or_normal(share.percent(), &basis, is_normal(lesion));
        if zone.edgeless {
            percent.cautions.push(measuring.edge_source.clone());
        }
        rows.push(percent);
    }
    for (term, score) in measuring.terms.scores.iter().zip(&zone.scores) {
        if let Ok(score) = score {
            let scored = row(Name::Score, "1");
            let is_normal = score.basis.implied && score.value.points == measuring.normal_scores;
            let scored = scored.known_or_normal(score.value.points, &score.basis, is_normal);
            rows.push(MeasureRow { of: Some(term.clone()), scale: score.value.scale.clone(), ..scored });
        }
    }
}

/// Everything known, or why not: which zones are silent, and what is unfit in others.
fn all<'a, T: 'a>(
    what: &str,
    zones: impl Iterator<Item = (&'a str, &'a Result<Known<T>, Why>)>,
) -> Result<Vec<&'a Known<T>>, String> {
    let (mut known, mut silent, mut unfit) = (Vec::new(), Vec::new(), Vec::new());
    for (zone, fact) in zones {
        match fact {
            Ok(fact) => known.push(fact),
            Err(Why::Silent) => silent.push(zone),
            Err(Why::Unfit(why)) => unfit.push(format!("{zone}: {why}")),
        }
    }
    if !silent.is_empty() {
        unfit.insert(0, format!("no {what} in {}", silent.join(", ")));
    }
    if unfit.is_empty() { Ok(known) } else { Err(unfit.join("; ")) }
}

/// Nothing, and that on the word `normal`.
fn is_normal(area: &Known<Area>) -> bool {
    area.basis.implied && area.value == Area::from_mm2(0.0)
}

/// That the zeros in a sum come from a spoken `normal`; none where the sum has none of them.
fn normal_counts(basis: &Basis) -> Option<String> {
    basis.implied.then(|| "`normal` is used as 0".to_owned())
}

fn sum(known: &[&Known<Area>]) -> Known<Area> {
    let basis = known.iter().fold(Basis::default(), |basis, one| basis.join(&one.basis));
    Known { value: known.iter().map(|one| one.value).sum(), basis }
}

fn sums(facts: &StrandFacts, measuring: &Measuring, rows: &mut Vec<MeasureRow>) {
    let source = &measuring.total.source;
    let terms = &measuring.terms;
    let area = all(&terms.area, facts.zones.iter().map(|zone| (zone.zone.as_str(), &zone.area)));
    let lesion = all(&terms.lesion_area, facts.zones.iter().map(|zone| (zone.zone.as_str(), &zone.lesion)));
    let (area, lesion) = (area.map(|known| sum(&known)), lesion.map(|known| sum(&known)));
    for (name, total) in [(Name::AreaTotal, &area), (Name::LesionTotal, &lesion)] {
        let row = facts.total(name, "mm2", source);
        rows.push(match total {
            Ok(total) => {
                let row = row.known_or_normal(total.value.mm2(), &total.basis, is_normal(total));
                let caution = row.value.and(normal_counts(&total.basis));
                MeasureRow { cautions: caution.into_iter().collect(), ..row }
            }
            Err(why) => row.because(why.clone()),
        });
    }
    // The classes were made for some strands; the share itself is the sums'.
    let graded = measuring.severity.strands.contains(&facts.strand);
    let source = if graded { &measuring.severity.source } else { source };
    let row = facts.total(Name::LesionPercentTotal, "%", source);
    rows.push(match (&area, &lesion) {
        (Ok(area), Ok(lesion)) => match lesion.value.share_of(area.value) {
            Some(share) => {
                let basis = area.basis.clone().join(&lesion.basis);
                let scale = &measuring.severity;
                if is_normal(lesion) {
                    rows.push(row.normal(&basis));
                    return;
                }
                let word = class(share.percent(), measuring).filter(|_| graded).map(str::to_owned);
                let mut row = MeasureRow { word, ..row.known(share.percent(), &basis) };
                row.cautions.extend(normal_counts(&basis));
                if graded && !scale.groups.contains(&facts.group) {
                    row.cautions.push(scale.elsewhere.clone());
                }
                if facts.zones.iter().any(|zone| zone.edgeless) {
                    row.cautions.push(measuring.edge_source.clone());
                }
                row
            }
            None => row.because("the total area is zero".to_owned()),
        },
        (Err(why), _) | (_, Err(why)) => row.because(why.clone()),
    });
}

/// The class of a percentage: the first whose upper end it does not pass.
#[must_use]
pub fn class(percent: f64, measuring: &Measuring) -> Option<&str> {
    let class = measuring.severity.class.iter().find(|class| !is_over(percent, class.up_to));
    class.map(|class| class.name.as_str())
}

/// The zone with the largest percentage; of equal ones that with the larger lesion, then the more proximal one.
fn worst_zone(facts: &StrandFacts, measuring: &Measuring) -> MeasureRow {
    let mut row = facts.row(Name::WorstZone, "%", None);
    row.source = Some(format!("for equal percentages, {}", measuring.total.tie));
    let mut worst: Option<(f64, Area, &ZoneFacts)> = None;
    for zone in &facts.zones {
        let (Some(share), Ok(lesion)) = (zone.share(), &zone.lesion) else { continue };
        let larger = worst.is_none_or(|(percent, area, _)| {
            share.percent() > percent || (share.percent() == percent && lesion.value > area)
        });
        if larger && lesion.value > Area::from_mm2(0.0) {
            worst = Some((share.percent(), lesion.value, zone));
        }
    }
    let unfit = facts.zones.iter().any(|zone| matches!(zone.lesion, Err(Why::Unfit(_))));
    let has_no_share = |zone: &&ZoneFacts| {
        zone.share().is_none() && zone.lesion.as_ref().is_ok_and(|lesion| lesion.value > Area::from_mm2(0.0))
    };
    let unshared: Vec<&str> =
        facts.zones.iter().filter(has_no_share).map(|zone| zone.zone.as_str()).collect();
    if !unshared.is_empty() {
        let zones = unshared.join(", ");
        row.cautions.push(format!(
            "the lesion in {zones} has no percentage: the cross-section there has no usable area"
        ));
    }
    match worst {
        Some((percent, _, zone)) => {
            let bases = [zone.area.as_ref().ok(), zone.lesion.as_ref().ok()];
            let basis =
                bases.into_iter().flatten().fold(Basis::default(), |basis, one| basis.join(&one.basis));
            let mut row = MeasureRow { word: Some(zone.zone.to_string()), ..row.known(percent, &basis) };
            if unfit {
                row.cautions.push("a lesion in another zone has no usable area".to_owned());
            }
            row
        }
        None if unfit => row.because("no lesion has a usable area".to_owned()),
        None if !unshared.is_empty() => row.because("no lesion has a percentage".to_owned()),
        None => row.because("no lesion was measured".to_owned()),
    }
}

fn lesion_zones(facts: &StrandFacts) -> Option<MeasureRow> {
    let affected = |zone: &&ZoneFacts| match &zone.lesion {
        Ok(lesion) => !zone.possible && lesion.value > Area::from_mm2(0.0),
        // What may be one is counted neither as there nor as not there.
        Err(Why::Unfit(_)) => !zone.possible,
        Err(Why::Silent) => false,
    };
    let zones: Vec<&ZoneFacts> = facts.zones.iter().filter(affected).collect();
    let known = zones.iter().filter_map(|zone| zone.lesion.as_ref().ok());
    let basis = known.fold(Basis::default(), |basis, one| basis.join(&one.basis));
    let codes: Vec<&str> = zones.iter().map(|zone| zone.zone.as_str()).collect();
    let count = f64::from(u32::try_from(zones.len()).unwrap_or(u32::MAX));
    let row = facts.row(Name::LesionZones, "1", None).known(count, &basis);
    (!zones.is_empty()).then(|| MeasureRow { word: Some(codes.join(", ")), ..row })
}

/// The length as said; of several the longest, for nobody said that they are one lesion.
fn lesion_length(
    facts: &StrandFacts,
    readings: &Readings,
    strand: &Strand,
    measuring: &Measuring,
) -> Option<MeasureRow> {
    let term = &measuring.terms.length;
    let mut found: Vec<Known<Length>> = Vec::new();
    for zone in &facts.zones {
        for code in std::iter::once(&strand.code).chain(&strand.parts) {
            let Some(reading) = readings.counting(&facts.limb, &zone.zone, code, term) else { continue };
            let Some(unit) = reading.unit else { continue };
            if let Some(value) = Length::from_unit(reading.number, unit) {
                found.push(Known { value, basis: reading.basis });
            }
        }
    }
    let longest = found.iter().max_by(|a, b| a.value.cm().total_cmp(&b.value.cm()))?;
    let mut row = facts.row(Name::LesionLength, "cm", None).known(longest.value.cm(), &longest.basis);
    row.source = Some(measuring.total.length_source.clone());
    if found.len() > 1 {
        row.cautions.push(format!("the longest of {} lengths said", found.len()));
    }
    Some(row)
}

fn scores(facts: &StrandFacts, idx: usize, term: &str, measuring: &Measuring, rows: &mut Vec<MeasureRow>) {
    let silent = Err(Why::Silent);
    let zones = facts.zones.iter().map(|zone| (zone.zone.as_str(), zone.scores.get(idx).unwrap_or(&silent)));
    if !zones.clone().any(|(_, score)| score.is_ok()) {
        return;
    }
    let count = f64::from(u32::try_from(facts.zones.len()).unwrap_or(u32::MAX));
    let row = |name| MeasureRow {
        of: Some(term.to_owned()),
        ..facts.total(name, "1", &measuring.total.score_source)
    };
    match all(term, zones).and_then(|known| one_scale(&known).map(|scale| (known, scale))) {
        Ok((known, scale)) => {
            let basis = known.iter().fold(Basis::default(), |basis, one| basis.join(&one.basis));
            let sum: f64 = known.iter().map(|one| one.value.points).sum();
            let words = [
                (Name::ScoreTotal, sum, format!("sum of {count} zones")),
                (Name::ScoreMean, sum / count, format!("sum divided by {count} zones")),
            ];
            let is_normal = known.iter().all(|one| one.basis.implied);
            for (name, value, word) in words {
                if is_normal {
                    rows.push(MeasureRow { scale: Some(scale.clone()), ..row(name).normal(&basis) });
                    continue;
                }
                let mut row = row(name).known(value, &basis);
                row.cautions.extend(normal_counts(&basis));
                rows.push(MeasureRow { word: Some(word), scale: Some(scale.clone()), ..row });
            }
        }
        Err(why) => {
            let names = [Name::ScoreTotal, Name::ScoreMean];
            rows.extend(names.map(|name| row(name).because(why.clone())));
        }
    }
}

/// The scale that all scores share.
fn one_scale(known: &[&Known<Score>]) -> Result<String, String> {
    let mut scales: Vec<&Option<String>> = known.iter().map(|one| &one.value.scale).collect();
    scales.sort();
    scales.dedup();
    match scales.as_slice() {
        [Some(scale)] => Ok(scale.clone()),
        [] | [None] => Err("the scale is not known".to_owned()),
        _ => {
            let names: Vec<&str> = scales.iter().map(|scale| scale.as_deref().unwrap_or("unknown")).collect();
            Err(format!("scores on different scales ({}) are not added up", names.join(", ")))
        }
    }
}
