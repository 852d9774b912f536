//! Which number counts where several were given for one thing.
//!
//! Takes: `Exam`; or `Record` and a value that was said.
//! Gives: the values that do not count, each with the line of the one that does; the number that counts, and how it came.
//! Never: drops the others; they are shown with it.
//! Tested in: `tests/it/report.rs` and `tests/it/exchange/fhir.rs`.

use std::collections::BTreeMap;

use crate::exam::call::{Act, ValueSaid};
use crate::exam::fold::Exam;
use crate::exam::place::Place;
use crate::exam::seq::Seq;
use crate::knowledge::record::{CallRow, Record};

/// A number that counts.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CurrentValue<'a> {
    pub(crate) number: f64,
    pub(crate) unit: Option<&'a str>,
    /// `typed`, `traced`, or `said later`.
    pub(crate) how: &'static str,
}

/// The number that counts in place of the one that `call` said; none where its own counts.
pub(crate) fn current<'a>(record: &'a Record, call: &CallRow) -> Option<CurrentValue<'a>> {
    let seq = call.replaced_by?;
    if let Some(entry) = record.entries.iter().find(|entry| entry.seq == seq) {
        return Some(CurrentValue { number: entry.number, unit: entry.unit.as_deref(), how: entry.how() });
    }
    let later = record.calls.iter().find(|later| later.seq == seq)?;
    Some(CurrentValue { number: later.number?, unit: later.unit.as_deref(), how: "said later" })
}

/// A value of one thing, in the order in which they were given.
struct Given<'a> {
    seq: Seq,
    /// One number, a bound, a range and two sides do not replace each other; none of what was typed or traced, which replaces
    /// them all.
    shape: Option<(bool, bool, bool)>,
    of: [Option<&'a str>; 4],
}

/// The values that do not count, each with the line of the one that does.
///
/// As the measures have it: what was typed or traced last for this structure in this zone, else what was said last.
pub(crate) fn replaced(exam: &Exam) -> BTreeMap<Seq, Seq> {
    let said = exam.standing_calls().filter_map(|call| {
        let Act::Value(value) = &call.act else { return None };
        let Place { limb, zone, structure, .. } = &call.context.place;
        // What has no place is in no other's way: a rule asks about it.
        if limb.is_none() || structure.is_none() {
            return None;
        }
        let ValueSaid { comparator, to, by, .. } = &value.said;
        Some(Given {
            seq: call.seq,
            shape: Some((comparator.is_some(), to.is_some(), by.is_some())),
            of: [limb.as_deref(), zone.as_deref(), structure.as_deref(), Some(value.term.as_str())],
        })
    });
    let by_hand = exam.entries.iter().map(|entry| {
        let one = &entry.entered;
        Given {
            seq: entry.seq,
            shape: None,
            of: [
                Some(one.limb.as_str()),
                Some(one.zone.as_str()),
                Some(one.structure.as_str()),
                Some(one.term.as_str()),
            ],
        }
    });
    let given: Vec<Given> = said.chain(by_hand).collect();
    let last: BTreeMap<_, Seq> = given.iter().map(|one| ((one.of, one.shape), one.seq)).collect();
    let mut found = BTreeMap::new();
    for Given { seq, shape, of } in &given {
        let counts = last.get(&(*of, None)).or_else(|| last.get(&(*of, *shape)));
        if let Some(counts) = counts.filter(|counts| *counts != seq) {
            found.insert(*seq, *counts);
        }
    }
    found
}
