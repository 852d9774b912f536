//! Straight distances: each zone's own number for each structure, said, typed or set on a still.
//!
//! Takes: the readings of an exam, a limb, its zone scheme, and which values are distances.
//! Gives: rows zone by zone; a structure that is no strand has them, too.
//! Never: a sum of distances.
//! Tested in: `tests/it/measure.rs`.

use crate::knowledge::measure::quantity::Length;
use crate::knowledge::measure::reading::Readings;
use crate::knowledge::measure::row::{MeasureRow, Name};
use crate::protocol::{Protocols, Scheme};

/// The distances of one limb in one scheme.
pub(crate) fn distances(
    readings: &Readings,
    limb: &str,
    scheme: &Scheme,
    protocols: &Protocols,
) -> Vec<MeasureRow> {
    let mut rows = Vec::new();
    for kind in protocols.values.iter().filter(|kind| kind.between.is_some()) {
        let places = readings.places(&kind.term);
        for structure in &protocols.structures {
            let zones = scheme.zones.iter().map(|zone| zone.code.as_str());
            for zone in zones.filter(|zone| places.contains(&[limb, zone, &structure.code])) {
                let Some(reading) = readings.counting(limb, zone, &structure.code, &kind.term) else {
                    continue;
                };
                let row = MeasureRow {
                    scheme: Some(scheme.name.clone()),
                    structure: Some(structure.code.clone()),
                    zone: Some(zone.into()),
                    of: Some(kind.term.clone()),
                    ..MeasureRow::new(limb, Name::Distance, "cm")
                };
                let length = reading.unit.and_then(|unit| Length::from_unit(reading.number, unit));
                rows.push(match length {
                    Some(length) => row.known(length.cm(), &reading.basis),
                    None => row.because(format!("{} has no unit of length", kind.term)),
                });
            }
        }
    }
    rows
}
