//! Measures held against something: the other limb, another structure, a reference set, an earlier exam, an injury.
//!
//! Takes: rows of one exam, and what to hold them against.
//! Gives: more rows, each naming what it is held against and the threshold it passes.
//! Never: compares unlike things: other zones, another scheme, another scale; it says so instead.
//! Tested in: `tests/it/measure.rs`, `tests/it/measure_laws.rs`.

use std::collections::BTreeMap;

use chrono::{DateTime, FixedOffset, NaiveDate, Utc};

use crate::knowledge::measure::quantity::Area;
use crate::knowledge::measure::row::{MeasureRow, NORMAL_SAID, Name};
use crate::protocol::Protocols;
use crate::protocol::measuring::{EarlierRules, Measuring, Reference};

/// A number that only rounding lifts over a cut-off has not passed it.
const ROUNDING: f64 = 1e-9;

/// What an exam is held against; nothing by default.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Against {
    /// A reference set, only if one was named.
    pub reference: Option<Reference>,
    /// Earlier exams of the same horse, the latest last.
    pub earlier: Vec<Earlier>,
    /// When each limb was injured, as far as a person said.
    pub injured: BTreeMap<String, NaiveDate>,
}

/// An earlier exam.
#[derive(Debug, Clone, PartialEq)]
pub struct Earlier {
    /// The exam's own name.
    pub id: String,
    /// When it began.
    pub at: DateTime<Utc>,
    /// Seconds east of UTC at its place.
    pub utc_offset_s: i32,
    /// What was measured then, held against nothing.
    pub rows: Vec<MeasureRow>,
}

impl Earlier {
    /// The day it began, by the calendar at its place, such as `2026-03-01`.
    #[must_use]
    pub fn day(&self) -> String {
        local_day(self.at, self.utc_offset_s).to_string()
    }
}

/// The day by the calendar at a place; that of UTC where the offset is impossible.
fn local_day(at: DateTime<Utc>, utc_offset_s: i32) -> NaiveDate {
    FixedOffset::east_opt(utc_offset_s).map_or(at.date_naive(), |zone| at.with_timezone(&zone).date_naive())
}

/// Whether `number` is over `limit` by more than rounding.
#[must_use]
pub fn is_over(number: f64, limit: f64) -> bool {
    number > limit + ROUNDING
}

/// The rows that `row` gives when it is held against `other`: joined basis, nothing else.
fn held(row: &MeasureRow, name: Name, unit: &str, against: &str, other: &MeasureRow) -> MeasureRow {
    let joined = |a: &[String], b: &[String]| {
        let mut all: Vec<String> = a.iter().chain(b).cloned().collect();
        all.sort();
        all.dedup();
        all
    };
    let mut from = row.from.clone();
    if other.limb != row.limb || other.structure != row.structure {
        from.extend(&other.from);
        from.sort_unstable();
        from.dedup();
    }
    MeasureRow {
        name,
        unit: unit.to_owned(),
        value: None,
        word: None,
        why_not: None,
        over: None,
        source: None,
        cautions: Vec::new(),
        against: Some(against.to_owned()),
        how: joined(&row.how, &other.how),
        by: joined(&row.by, &other.by),
        scale_by_hand: row.scale_by_hand || other.scale_by_hand,
        implied: row.implied || other.implied,
        from,
        ..row.clone()
    }
}

/// By how much `now` is more than `then`, in percent of `then`; none where that is nothing.
fn more_percent(now: f64, then: f64) -> Option<f64> {
    let (now, then) = (Area::from_mm2(now), Area::from_mm2(then));
    (now - then).share_of(then).map(|share| share.percent())
}

/// Left against right, zone by zone and in total.
pub(crate) fn other_limb(rows: &[MeasureRow], protocols: &Protocols) -> Vec<MeasureRow> {
    let rule = &protocols.measuring.other_limb;
    let mut found = Vec::new();
    for row in rows.iter().filter(|row| matches!(row.name, Name::Area | Name::AreaTotal)) {
        let Some(area) = row.value else { continue };
        let Some(limb) = protocols.limb(&row.limb) else { continue };
        let facing = |other: &&MeasureRow| {
            let of_group = protocols
                .limb(&other.limb)
                .is_some_and(|other| other.group == limb.group && other.side != limb.side);
            of_group && other.same_but_limb(row)
        };
        let Some(other) = rows.iter().find(facing) else { continue };
        if let Some(why) = unlike_stance(row, other) {
            found.push(held(row, Name::AreaAgainstOtherLimb, "%", &other.limb, other).because(why));
            continue;
        }
        let minus = held(row, Name::AreaMinusOtherLimb, "mm2", &other.limb, other);
        let percent = held(row, Name::AreaAgainstOtherLimb, "%", &other.limb, other);
        let Some(facing) = other.value else {
            found.push(percent.because(format!(
                "{}: {}",
                other.limb,
                other.why_not.as_deref().unwrap_or("no area")
            )));
            continue;
        };
        let more = more_percent(area, facing);
        // In total a local change is hidden, so the threshold is for zones only.
        let over = row.zone.is_some() && more.is_some_and(|more| is_over(more, rule.over_percent));
        found.push(MeasureRow { value: Some(area - facing), ..minus });
        found.push(MeasureRow {
            value: more,
            over: over.then(|| format!("more than {} % larger than {}", rule.over_percent, other.limb)),
            source: Some(rule.source.clone()),
            ..percent
        });
    }
    found
}

/// One strand divided by another on the same limb, zone by zone and in total.
pub(crate) fn ratios(rows: &[MeasureRow], measuring: &Measuring) -> Vec<MeasureRow> {
    let mut found = Vec::new();
    for ratio in &measuring.ratio {
        let areas = |row: &&MeasureRow| matches!(row.name, Name::Area | Name::AreaTotal);
        for row in rows.iter().filter(areas).filter(|row| row.structure.as_ref() == Some(&ratio.of)) {
            let mut turned = row.clone();
            turned.structure = Some(ratio.to.clone());
            let other = rows.iter().find(|other| other.same_place(&turned) && other.zones == row.zones);
            let Some(other) = other else { continue };
            let (Some(a), Some(b)) = (row.value, other.value) else { continue };
            let value = Area::from_mm2(a).times(Area::from_mm2(b));
            if let Some(why) = unlike_stance(row, other) {
                let mut divided = held(row, Name::AreaRatio, "1", &ratio.to, other);
                divided.structure = Some(format!("{}:{}", ratio.of, ratio.to).into());
                found.push(MeasureRow { against: None, ..divided }.because(why));
                continue;
            }
            let mut divided = held(row, Name::AreaRatio, "1", &ratio.to, other);
            divided.structure = Some(format!("{}:{}", ratio.of, ratio.to).into());
            found.push(MeasureRow { value, source: Some(ratio.source.clone()), against: None, ..divided });
        }
    }
    found
}

/// Each zone's area against the reference set that was named.
pub(crate) fn reference(rows: &[MeasureRow], set: &Reference, protocols: &Protocols) -> Vec<MeasureRow> {
    let mut found = Vec::new();
    let fits = |row: &&MeasureRow| {
        row.name == Name::Area
            && row.scheme.as_ref() == Some(&set.scheme)
            && protocols.limb(&row.limb).is_some_and(|limb| set.groups.contains(&limb.group))
    };
    for row in rows.iter().filter(fits) {
        let (Some(area), Some(structure), Some(zone)) = (row.value, &row.structure, &row.zone) else {
            continue;
        };
        let number = |of| set.mm2(of, structure, zone);
        let mut held = held(row, Name::AreaAgainstReference, "%", &set.name, row);
        held.source = Some(format!("{}, n = {}; {}", set.title, set.n, set.source));
        if row.off_weight {
            // Published sets are of loaded legs, unless they say so; none does.
            found.push(held.because("it was taken with the leg lifted".to_owned()));
            continue;
        }
        if let Some(mean) = number(&set.mean) {
            held.value = more_percent(area, mean);
            held.word = number(&set.sd).filter(|sd| *sd > 0.0).map(|sd| {
                let sds = (area - mean) / sd;
                format!("{:.1} standard deviations {}", sds.abs(), if sds < 0.0 { "below" } else { "above" })
            });
        } else if let (Some(low), Some(high)) = (number(&set.low), number(&set.high)) {
            let outside = is_over(area, high) || is_over(low, area);
            let range = format!("{low} to {high} mm2");
            held.word = Some(format!("{} {range}", if outside { "outside" } else { "within" }));
            held.over = outside.then(|| format!("outside {range}"));
        } else {
            continue;
        }
        found.push(held);
    }
    if found.is_empty() && rows.iter().any(|row| row.name == Name::Area) {
        let limb = rows.first().map(|row| row.limb.clone()).unwrap_or_default();
        let mut row = MeasureRow::new(&limb, Name::AreaAgainstReference, "%");
        row.against = Some(set.name.clone());
        found.push(row.because(format!(
            "the set is for {} limbs in the scheme `{}`; nothing measured here matches it",
            set.groups.join(" and "),
            set.scheme
        )));
    }
    found
}

/// Change since an earlier exam.
pub(crate) fn earlier(rows: &[MeasureRow], earlier: &Earlier, measuring: &Measuring) -> Vec<MeasureRow> {
    let against = earlier.day();
    let mut found = Vec::new();
    for row in rows {
        let (name, unit) = match row.name {
            Name::Area | Name::AreaTotal => (Name::AreaChange, "%"),
            Name::LesionArea | Name::LesionTotal => (Name::LesionChange, "mm2"),
            Name::LesionPercent | Name::LesionPercentTotal => (Name::LesionPercentChange, "%"),
            Name::Score | Name::ScoreTotal => (Name::ScoreChange, "1"),
            Name::Distance => (Name::DistanceChange, "cm"),
            _ => continue,
        };
        let Some(now) = row.value else { continue };
        let Some(before) = earlier.rows.iter().find(|before| before.same_place(row)) else { continue };
        let mut change = held(row, name, unit, &against, before);
        if let Some(why) = unlike(row, before) {
            found.push(change.because(why));
            continue;
        }
        // Records of before held a 0 where nobody said a number.
        let said = |before: &&MeasureRow| !(before.implied && before.value == Some(0.0));
        let Some(then) = Some(before).filter(said).and_then(|before| before.value) else {
            let why = before.why_not.as_deref().or(before.word.as_deref()).unwrap_or(NORMAL_SAID);
            found.push(change.because(format!("on {against}: {why}")));
            continue;
        };
        change.value = if name == Name::AreaChange { more_percent(now, then) } else { Some(now - then) };
        if name == Name::AreaChange && row.zone.is_some() {
            put_threshold(&mut change, &measuring.earlier);
        }
        if (&row.by, &row.how) != (&before.by, &before.how) && name != Name::ScoreChange {
            change.cautions.push(format!(
                "measured by another person or in another way than on {against}: {}",
                measuring.earlier.tracer_source
            ));
        }
        found.push(change);
    }
    found.extend(other_schemes(rows, earlier, &against));
    found
}

/// Why two values are not compared.
fn unlike(now: &MeasureRow, then: &MeasureRow) -> Option<String> {
    let name = |scale: &Option<String>| scale.clone().unwrap_or_else(|| "unknown".to_owned());
    if now.zones != then.zones {
        return Some(format!(
            "the totals cover different zones: {} then, {} now",
            then.zones.join(" "),
            now.zones.join(" ")
        ));
    }
    if let Some(why) = unlike_stance(now, then) {
        return Some(why);
    }
    (now.scale != then.scale)
        .then(|| format!("scored on the scale {} then, on {} now", name(&then.scale), name(&now.scale)))
}

/// Tendons without load change their size and look darker: such values are compared among themselves only.
fn unlike_stance(one: &MeasureRow, other: &MeasureRow) -> Option<String> {
    (one.off_weight != other.off_weight)
        .then(|| "only one of the two was taken with the leg lifted".to_owned())
}

fn put_threshold(change: &mut MeasureRow, rules: &EarlierRules) {
    let Some(more) = change.value else { return };
    if is_over(more, rules.far_over_percent) {
        change.over = Some(format!("up by more than {} %", rules.far_over_percent));
        change.source = Some(rules.far_source.clone());
    } else if is_over(more, rules.over_percent) {
        change.over = Some(format!("up by more than {} %", rules.over_percent));
        change.source = Some(rules.source.clone());
    }
}

/// Strands that were measured both times, but in zones of different schemes.
fn other_schemes(rows: &[MeasureRow], earlier: &Earlier, against: &str) -> Vec<MeasureRow> {
    let totals = |rows: &[MeasureRow]| -> Vec<MeasureRow> {
        rows.iter().filter(|row| row.name == Name::AreaTotal).cloned().collect()
    };
    let before = totals(&earlier.rows);
    let mut found = Vec::new();
    for row in totals(rows) {
        let same = |other: &&MeasureRow| other.limb == row.limb && other.structure == row.structure;
        let then: Vec<&MeasureRow> = before.iter().filter(same).collect();
        if let [first, ..] = then.as_slice()
            && then.iter().all(|other| other.scheme != row.scheme)
        {
            let name = |row: &MeasureRow| row.scheme.clone().unwrap_or_default();
            let why = format!("zones of the scheme `{}` then, of `{}` now", name(first), name(&row));
            found.push(held(&row, Name::AreaChange, "%", against, first).because(why));
        }
    }
    found
}

/// Days from each limb's injury to the exam, by the calendar at the place of the exam.
pub(crate) fn since_injury(
    injured: &BTreeMap<String, NaiveDate>,
    at: DateTime<Utc>,
    utc_offset_s: i32,
) -> Vec<MeasureRow> {
    let local = local_day(at, utc_offset_s);
    let mut rows = Vec::new();
    for (limb, day) in injured {
        let days = (local - *day).num_days();
        let mut row = MeasureRow::new(limb, Name::SinceInjury, "d");
        row.against = Some(day.to_string());
        rows.push(match u32::try_from(days) {
            Ok(days) => MeasureRow { value: Some(f64::from(days)), ..row },
            Err(_) => row.because("the injury is dated after the exam".to_owned()),
        });
    }
    rows
}
