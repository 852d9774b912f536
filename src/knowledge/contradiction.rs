//! What says at one place that nothing is wrong, and that something is.
//!
//! Takes: `Exam`.
//! Gives: each pair of statements that cannot both be right.
//! Never: decides between them.
//! Tested in: `tests/it/rules/lesions.rs` and `tests/it/review.rs`.

use std::collections::BTreeMap;

use crate::exam::call::{Act, Amount};
use crate::exam::fold::{Exam, LoggedCall, LoggedEntry};
use crate::exam::place::Place;
use crate::exam::seq::Seq;
use crate::knowledge::current::replaced;
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;

/// What says that something is wrong.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Abnormal<'a> {
    /// A finding or a number that was said.
    Call(&'a LoggedCall),
    /// A number that was typed or traced.
    Entry(&'a LoggedEntry),
}

/// Two statements about the same limb, zone and structure.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Contradiction<'a> {
    pub(crate) normal: &'a LoggedCall,
    pub(crate) finding: Abnormal<'a>,
}

/// Each normal that a finding or a number at the same place contradicts, in the order of these.
pub(crate) fn contradictions<'a>(exam: &'a Exam, protocols: &Protocols) -> Vec<Contradiction<'a>> {
    let replaced = replaced(exam);
    let said = exam.standing_calls().filter(|call| match &call.act {
        Act::Finding(found) => matches!(found.class, Class::Lesion | Class::Abnormal),
        Act::Value(value) => says_lesion(&value.term, &value.amount, protocols),
        _ => false,
    });
    let entered = exam.entries.iter().filter(|entry| {
        let one = &entry.entered;
        says_lesion(&one.term, &one.amount, protocols)
    });
    let all = said.map(Abnormal::Call).chain(entered.map(Abnormal::Entry));
    let mut found = Vec::new();
    for finding in all.filter(|finding| !replaced.contains_key(&finding.seq())) {
        let place = finding.place();
        let normals = exam.standing_calls().filter(|call| says_normal_of(call, &place));
        found.extend(normals.map(|normal| Contradiction { normal, finding }));
    }
    found
}

/// By line: the other lines that contradict it.
pub(crate) fn contradicted(exam: &Exam, protocols: &Protocols) -> BTreeMap<Seq, Vec<Seq>> {
    let mut found: BTreeMap<Seq, Vec<Seq>> = BTreeMap::new();
    for Contradiction { normal, finding } in contradictions(exam, protocols) {
        found.entry(normal.seq).or_default().push(finding.seq());
        found.entry(finding.seq()).or_default().push(normal.seq);
    }
    found
}

/// A number that only a structure has in which something is wrong: the size of a lesion, or a score worse than normal.
fn says_lesion(term: &str, amount: &Amount, protocols: &Protocols) -> bool {
    let measuring = &protocols.measuring;
    let is_score = measuring.terms.scores.iter().any(|known| known == term);
    is_lesion_size(term, amount.number, protocols) || is_score && amount.number > measuring.normal_scores
}

/// A size that only a lesion has, and that is not nought.
pub(crate) fn is_lesion_size(term: &str, number: f64, protocols: &Protocols) -> bool {
    let terms = &protocols.measuring.terms;
    let of_lesion = |kind: &crate::protocol::ValueKind| kind.of_lesion.as_deref() == Some(term);
    let is_size =
        [&terms.lesion_area, &terms.lesion_percent, &terms.length].iter().any(|known| *known == term)
            || protocols.values.iter().any(of_lesion);
    is_size && number > 0.0
}

fn says_normal_of(call: &LoggedCall, place: &Place) -> bool {
    let Act::Finding(said) = &call.act else { return false };
    let own = &call.context.place;
    said.is_all_normal()
        && own.limb.is_some()
        && own.zone.is_some()
        && (&own.limb, &own.zone) == (&place.limb, &place.zone)
        && (said.all_structures || own.structure == place.structure)
}

impl Abnormal<'_> {
    /// Its line.
    pub(crate) fn seq(&self) -> Seq {
        match self {
            Abnormal::Call(call) => call.seq,
            Abnormal::Entry(entry) => entry.seq,
        }
    }

    /// Where it is.
    pub(crate) fn place(&self) -> Place {
        match self {
            Abnormal::Call(call) => call.context.place.clone(),
            Abnormal::Entry(entry) => entry.entered.place(),
        }
    }

    /// What it says, without its place.
    pub(crate) fn what(&self) -> String {
        match self {
            Abnormal::Call(call) => call.act.to_string(),
            Abnormal::Entry(entry) => {
                let one = &entry.entered;
                format!("{} {} ({})", one.term, one.amount, one.how())
            }
        }
    }
}
