//! What says in one view that something is not there, and that it is.
//!
//! Takes: `Exam`, and from `rules.toml` what else says that something is there.
//! Gives: each pair of calls that cannot both be right.
//! Never: decides between them, or takes a possible finding for one that is there.
//! Tested in: `tests/it/rules/lesions.rs`.

use crate::code::StructureCode;
use crate::exam::call::{Act, FindingSaid, Value};
use crate::exam::fold::{Exam, LoggedCall};
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;

/// Two calls in the same view.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Denied<'a> {
    pub(crate) denied: &'a LoggedCall,
    pub(crate) seen: &'a LoggedCall,
}

/// Each denial that a finding or a number of the same view contradicts, with the first that does.
pub(crate) fn denied<'a>(exam: &'a Exam, protocols: &Protocols) -> Vec<Denied<'a>> {
    let mut found = Vec::new();
    for denied in exam.standing_calls() {
        let Act::Finding(said) = &denied.act else { continue };
        if said.class != Class::Negative || said.certainty.is_some() {
            continue;
        }
        let here = |other: &&LoggedCall| {
            let (one, of) = (&denied.context.place, structure(denied, protocols));
            // What was denied without a structure was denied of all that is seen.
            one.limb.is_some()
                && one.same_view(&other.context.place)
                && (of.is_none() || of == structure(other, protocols))
        };
        let shows = |other: &&LoggedCall| match &other.act {
            Act::Finding(seen) => is_what_was_denied(said, seen, protocols),
            Act::Value(value) => is_number_of_it(said, value, protocols),
            _ => false,
        };
        let seen = exam.standing_calls().filter(here).find(shows);
        found.extend(seen.map(|seen| Denied { denied, seen }));
    }
    found
}

/// Whose a finding or a number is; none where the structure that was current cannot have it.
fn structure<'a>(call: &'a LoggedCall, protocols: &Protocols) -> Option<&'a StructureCode> {
    let current = call.context.place.structure.as_ref()?;
    let can_have = match &call.act {
        Act::Finding(FindingSaid { structure: None, term, .. }) => protocols.can_have(current, term),
        _ => true,
    };
    can_have.then_some(current)
}

/// "No medial tear" denies a medial one, "no tear" any.
fn is_what_was_denied(denied: &FindingSaid, seen: &FindingSaid, protocols: &Protocols) -> bool {
    let denials = protocols.rules.denial.iter().filter(|denial| denial.of == denied.term);
    let is_of_it =
        || seen.term == denied.term || denials.into_iter().any(|denial| denial.findings.contains(&seen.term));
    let holds = |all: &[String], part: &[String]| part.iter().all(|one| all.contains(one));
    seen.class == Class::Lesion
        && seen.certainty.is_none()
        && is_of_it()
        && holds(&seen.position, &denied.position)
        && holds(&seen.attributes, &denied.attributes)
}

/// "No lesion", and a share of the cross-section.
fn is_number_of_it(denied: &FindingSaid, value: &Value, protocols: &Protocols) -> bool {
    let mut denials = protocols.rules.denial.iter().filter(|denial| denial.of == denied.term);
    let is_some = value.amount.number > 0.0 || value.said.to.is_some_and(|to| to > 0.0);
    is_some && denied.position.is_empty() && denials.any(|denial| denial.values.contains(&value.term))
}
