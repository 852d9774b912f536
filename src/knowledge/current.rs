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
        let how = if entry.traced { "traced" } else { "typed" };
        return Some(CurrentValue { number: entry.number, unit: entry.unit.as_deref(), how });
    }
    let later = record.calls.iter().find(|later| later.seq == seq)?;
    Some(CurrentValue { number: later.number?, unit: later.unit.as_deref(), how: "said later" })
}

/// A value of one thing, in the order in which they were given.
struct Given<'a> {
    seq: Seq,
    by_hand: bool,
    /// One number, a bound, a range and two sides do not replace each other.
    shape: (bool, bool, bool),
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
            by_hand: false,
            shape: (comparator.is_some(), to.is_some(), by.is_some()),
            of: [limb.as_deref(), zone.as_deref(), structure.as_deref(), Some(value.term.as_str())],
        })
    });
    let by_hand = exam.entries.iter().map(|entry| {
        let one = &entry.entered;
        Given {
            seq: entry.seq,
            by_hand: true,
            shape: (false, false, false),
            of: [
                Some(one.limb.as_str()),
                Some(one.zone.as_str()),
                Some(one.structure.as_str()),
                Some(one.term.as_str()),
            ],
        }
    });
    let given: Vec<Given> = said.chain(by_hand).collect();
    let counting = |one: &Given| {
        let same = |other: &&Given| other.of == one.of;
        let last_by_hand = given.iter().rfind(|other| same(other) && other.by_hand);
        last_by_hand.or_else(|| given.iter().rfind(|other| same(other) && other.shape == one.shape))
    };
    let pair = |one: &Given| Some((one.seq, counting(one)?.seq)).filter(|(own, counts)| own != counts);
    given.iter().filter_map(pair).collect()
}
