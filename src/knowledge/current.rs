//! Which number counts where several were given for one thing.
//!
//! Takes: `Record` and a value that was said.
//! Gives: the number that counts, and how it came.
//! Never: drops the others; they are shown with it.
//! Tested in: `tests/it/report.rs`.

use crate::exam::closed_sets::CallKind;
use crate::knowledge::record::{CallRow, Record, standing};

/// A number that counts.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CurrentValue<'a> {
    pub(crate) number: f64,
    pub(crate) unit: Option<&'a str>,
    /// `typed`, `traced`, or `said later`.
    pub(crate) how: &'static str,
}

/// The number that counts in place of the one that `call` said; none where its own counts.
///
/// As the measures have it: what was typed or traced last for this structure in this zone, else what was said last.
pub(crate) fn current<'a>(record: &'a Record, call: &CallRow) -> Option<CurrentValue<'a>> {
    if call.kind != CallKind::Value || call.place.limb.is_none() || call.place.structure.is_none() {
        return None;
    }
    let here = |place: &crate::exam::place::Place| {
        (&place.limb, &place.zone, &place.structure)
            == (&call.place.limb, &call.place.zone, &call.place.structure)
    };
    let by_hand =
        record.entries.iter().filter(|entry| Some(&entry.term) == call.term.as_ref() && here(&entry.place));
    if let Some(entry) = by_hand.max_by_key(|entry| entry.seq) {
        let how = if entry.traced { "traced" } else { "typed" };
        return Some(CurrentValue { number: entry.number, unit: entry.unit.as_deref(), how });
    }
    let said = standing(&record.calls)
        .filter(|other| other.kind == CallKind::Value && other.term == call.term && here(&other.place));
    let last = said.filter(|other| other.number.is_some()).max_by_key(|other| other.seq)?;
    (last.seq != call.seq).then(|| CurrentValue {
        number: last.number.unwrap_or_default(),
        unit: last.unit.as_deref(),
        how: "said later",
    })
}
