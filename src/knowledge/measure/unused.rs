//! Numbers that were said, typed or traced and that no measure is made from, each with the reason.
//!
//! Takes: a `Record` and the protocols.
//! Gives: `Unused`, in the order of the journal.
//! Never: a number that was taken back, or silence about one that was not.
//! Tested in: `tests/it/report_measures.rs`.

use std::collections::BTreeSet;

use serde::Serialize;

use crate::exam::closed_sets::CallKind;
use crate::exam::comparator::Comparator;
use crate::exam::place::Place;
use crate::exam::seq::Seq;
use crate::knowledge::measure::row::{MeasureRow, Name};
use crate::knowledge::record::{CallRow, EntryRow, Record, standing};
use crate::protocol::Protocols;

/// A number that no measure is made from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Unused {
    /// Its line in the journal.
    pub seq: Seq,
    /// Limb, zone, plane and structure.
    #[serde(flatten)]
    pub place: Place,
    /// What was measured.
    pub term: String,
    /// The number is a bound.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub comparator: Option<Comparator>,
    /// The number.
    pub number: f64,
    /// The end of a range that begins with it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<f64>,
    /// The other distance of a pair.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<f64>,
    /// UCUM unit; none for scores.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// Why nothing is made from it.
    pub why: String,
}

/// The record's numbers that are used are in its measures; these are not.
#[must_use]
pub fn unused(record: &Record, protocols: &Protocols) -> Vec<Unused> {
    let used: BTreeSet<Seq> = record.measures.iter().flat_map(|row| row.from.iter().copied()).collect();
    let said = standing(&record.calls).filter(|call| call.kind == CallKind::Value).filter_map(of_call);
    let all: Vec<Unused> = said.chain(record.entries.iter().map(of_entry)).collect();
    let mut found: Vec<Unused> = all.iter().filter(|one| !used.contains(&one.seq)).cloned().collect();
    for one in found.iter_mut().filter(|one| one.why.is_empty()) {
        one.why = why(one, &all, record, protocols);
    }
    found.sort_by_key(|one| one.seq);
    found
}

fn of_call(call: &CallRow) -> Option<Unused> {
    let (term, number) = (call.term.clone()?, call.number?);
    Some(Unused {
        seq: call.seq,
        place: call.place.clone(),
        term,
        comparator: call.comparator,
        number,
        to: call.to,
        by: call.by,
        unit: call.unit.clone(),
        why: if call.comparator.is_some() || call.to.is_some() || call.by.is_some() {
            "a bound, a range or two distances cannot be computed with".to_owned()
        } else {
            String::new()
        },
    })
}

fn of_entry(entry: &EntryRow) -> Unused {
    Unused {
        seq: entry.seq,
        place: entry.place.clone(),
        term: entry.term.clone(),
        comparator: None,
        number: entry.number,
        to: None,
        by: None,
        unit: entry.unit.clone(),
        why: String::new(),
    }
}

fn why(one: &Unused, all: &[Unused], record: &Record, protocols: &Protocols) -> String {
    let Place { limb: Some(limb), zone: Some(code), structure: Some(structure), .. } = &one.place else {
        return "no limb, zone or structure was set".to_owned();
    };
    let schemes = &record.exam.schemes;
    let Some(scheme) = protocols.scheme_for(limb, code, schemes) else {
        return format!("zone {code} is in no scheme of this exam");
    };
    if !is_measured(&one.term, protocols) {
        return format!("no measure uses a {}", one.term);
    }
    let rivals = all.iter().filter(|other| other.seq != one.seq && other.term == one.term);
    let counts = |seq: Seq| record.measures.iter().any(|row| row.from.contains(&seq));
    let same = |other: &&Unused| {
        (&other.place.limb, &other.place.zone, &other.place.structure)
            == (&one.place.limb, &one.place.zone, &one.place.structure)
    };
    if let Some(other) = rivals.filter(same).find(|other| counts(other.seq)) {
        return format!("line {} for the same place is used", other.seq);
    }
    if !scheme.zone(code).is_some_and(|zone| protocols.expects(zone, structure)) {
        return format!("{structure} is not expected in zone {code} of the scheme `{}`", scheme.name);
    }
    let strands = &protocols.measuring.strand;
    let of_strand = |row: &&MeasureRow| {
        let strand = strands.iter().find(|strand| Some(&strand.code) == row.structure.as_ref());
        row.limb == *limb && strand.is_some_and(|strand| strand.holds(structure))
    };
    let rows: Vec<&MeasureRow> = record.measures.iter().filter(of_strand).collect();
    let is_other = |row: &&&MeasureRow| {
        let same_term = row.of.as_ref() == Some(&one.term)
            || (row.name == Name::LesionLength && one.term == protocols.measuring.terms.length);
        same_term && row.value.is_some() && row.zone.as_ref().is_none_or(|zone| zone == code)
    };
    if let Some(other) = rows.iter().find(is_other).and_then(|row| row.from.first()) {
        return format!("line {other} is used for the whole structure");
    }
    // A zone that could not be computed says what prevents it.
    let mut here = rows.iter().filter(|row| row.zone.as_ref() == Some(code));
    here.find_map(|row| row.why_not.clone()).unwrap_or_else(|| {
        format!("no total includes {structure} in zone {code} of the scheme `{}`", scheme.name)
    })
}

/// Whether a measure is made from numbers of this term.
pub(crate) fn is_measured(term: &str, protocols: &Protocols) -> bool {
    let terms = &protocols.measuring.terms;
    let single = [&terms.area, &terms.lesion_area, &terms.lesion_percent, &terms.length];
    single.into_iter().chain(&terms.scores).any(|known| known == term)
        || protocols.value(term).is_some_and(|kind| kind.between.is_some())
}
