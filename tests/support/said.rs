//! What was said in an exam as numbers, for the tests of the measures; an invented horse among them.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::collections::BTreeMap;
use std::sync::LazyLock;

use zonecall::exam::place::Place;
use zonecall::exam::seq::Seq;
use zonecall::knowledge::measure::row::{MeasureRow, Name};
use zonecall::knowledge::measure::{Against, Earlier, How, Occasion, Readings, Stated, Statement, measure};
use zonecall::protocol::Protocols;

pub static PROTOCOLS: LazyLock<Protocols> = LazyLock::new(|| Protocols::built_in().unwrap());
pub const ZONES: [&str; 7] = ["1A", "1B", "2A", "2B", "3A", "3B", "3C"];

// Our own invented horse: areas and lesion areas in mm2, scores.
pub const INJURED: [f64; 7] = [108.0, 112.0, 135.0, 150.0, 128.0, 104.0, 130.0];
pub const LESION: [f64; 7] = [0.0, 0.0, 22.0, 51.0, 30.0, 0.0, 0.0];
pub const OTHER: [f64; 7] = [106.0, 108.0, 104.0, 102.0, 103.0, 100.0, 127.0];
pub const SCAN_2: ([f64; 7], [f64; 7]) =
    ([108.0, 111.0, 126.0, 134.0, 122.0, 103.0, 130.0], [0.0, 0.0, 8.0, 20.0, 11.0, 0.0, 0.0]);
pub const SCAN_3: ([f64; 7], [f64; 7]) =
    ([109.0, 113.0, 131.0, 150.0, 131.0, 104.0, 131.0], [0.0, 0.0, 12.0, 33.0, 18.0, 0.0, 0.0]);

/// What was said and entered in one exam.
#[derive(Clone, Default)]
pub struct Said {
    pub calls: Vec<Statement>,
    pub entries: Vec<Statement>,
    pub stills: Vec<(String, Place)>,
}

pub fn place(codes: &str) -> Place {
    let mut parts = codes.split(' ').map(|part| (part != "-").then_some(part));
    let mut next = || parts.next().flatten();
    Place {
        limb: next().map(Into::into),
        zone: next().map(Into::into),
        plane: next().map(Into::into),
        structure: next().map(Into::into),
    }
}

impl Said {
    fn said(&self, codes: &str, what: Stated) -> Statement {
        Statement {
            seq: Seq((self.calls.len() + self.entries.len() + 1) as u64),
            corrected_by: Vec::new(),
            place: place(codes),
            what,
            how: How::Spoken,
            by: None,
            still: None,
            scale_by_hand: false,
            off_weight: false,
        }
    }

    pub fn value(mut self, codes: &str, term: &str, number: f64, unit: &str) -> Said {
        let scale = PROTOCOLS.value(term).and_then(|kind| kind.scale.clone());
        let unit = (!unit.is_empty()).then(|| unit.to_owned());
        self.calls.push(self.said(codes, Stated::Value { term: term.to_owned(), number, unit, scale }));
        self
    }

    pub fn finding(mut self, codes: &str, class: &str, term: &str) -> Said {
        let what = Stated::Finding { class: class.to_owned(), term: term.to_owned(), is_possible: false };
        self.calls.push(self.said(codes, what));
        self
    }

    pub fn traced(mut self, codes: &str, term: &str, number: f64, by: &str) -> Said {
        let (term, unit, scale) = (term.to_owned(), Some("mm2".to_owned()), None);
        let said = self.said(codes, Stated::Value { term, number, unit, scale });
        let (by, still) = (Some(by.to_owned()), Some("2.25.7".to_owned()));
        self.entries.push(Statement { how: How::Traced, by, still, ..said });
        self
    }

    pub fn column(mut self, limb: &str, structure: &str, term: &str, zones: &[&str], mm2: &[f64]) -> Said {
        for (zone, number) in zones.iter().zip(mm2) {
            self = self.value(&format!("{limb} {zone} T {structure}"), term, *number, "mm2");
        }
        self
    }

    pub fn against(&self, against: &Against) -> Vec<MeasureRow> {
        let statements = [self.calls.clone(), self.entries.clone()].concat();
        let scales = std::collections::BTreeMap::new();
        let readings = Readings { statements, stills: self.stills.clone(), scales };
        let schemes = BTreeMap::from([
            ("fore".to_owned(), "thirds".to_owned()),
            ("hind".to_owned(), "tarsometatarsal".to_owned()),
        ]);
        let at = "2026-05-04T08:00:00Z".parse().unwrap();
        let occasion = Occasion { at, utc_offset_s: 7200, schemes: &schemes };
        measure(&readings, &occasion, against, &PROTOCOLS)
    }

    pub fn rows(&self) -> Vec<MeasureRow> {
        self.against(&Against::default())
    }

    pub fn earlier(&self, at: &str) -> Against {
        let earlier =
            Earlier { id: at.to_owned(), at: at.parse().unwrap(), utc_offset_s: 0, rows: self.rows() };
        Against { earlier: vec![earlier], ..Against::default() }
    }
}

/// Areas zone by zone, then lesion areas; a zero is said as one, and what the list lacks is not said at all.
pub fn sdft(limb: &str, areas: &[f64], lesions: &[f64]) -> Said {
    let said = Said::default().column(limb, "SDFT", "area", &ZONES, areas);
    said.column(limb, "SDFT", "lesion area", &ZONES, lesions)
}

/// Changes a number: how much, its unit and its scale.
pub fn with_number(
    said: &mut Statement,
    change: impl FnOnce(&mut f64, &mut Option<String>, &mut Option<String>),
) {
    let Stated::Value { number, unit, scale, .. } = &mut said.what else { panic!("a number: {said:?}") };
    change(number, unit, scale);
}

#[track_caller]
pub fn row<'a>(
    rows: &'a [MeasureRow],
    limb: &str,
    structure: &str,
    zone: Option<&str>,
    name: Name,
) -> &'a MeasureRow {
    let fits = |row: &&MeasureRow| {
        row.limb == limb
            && row.structure.as_deref() == Some(structure)
            && row.zone.as_deref() == zone
            && row.name == name
    };
    rows.iter()
        .find(fits)
        .unwrap_or_else(|| panic!("no {name:?} of {structure} in {zone:?} on {limb}: {rows:#?}"))
}

#[track_caller]
pub fn value(rows: &[MeasureRow], limb: &str, structure: &str, zone: Option<&str>, name: Name) -> f64 {
    let row = row(rows, limb, structure, zone, name);
    row.value.unwrap_or_else(|| panic!("no value: {row:#?}"))
}

#[track_caller]
pub fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} is not {wanted} within {within}");
}
