//! What says at one place that nothing is wrong, and that something is.
//!
//! Takes: `Exam`.
//! Gives: each pair of calls that cannot both be right.
//! Never: decides between them.
//! Tested in: `tests/it/rules/lesions.rs` and `tests/it/review.rs`.

use crate::exam::call::Act;
use crate::exam::fold::{Exam, LoggedCall};
use crate::language::closed_sets::Class;

/// Two calls at the same limb, zone and structure.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Contradiction<'a> {
    pub(crate) normal: &'a LoggedCall,
    pub(crate) finding: &'a LoggedCall,
}

/// Each normal that a finding at the same place contradicts, in the order of the findings.
pub(crate) fn contradictions(exam: &Exam) -> Vec<Contradiction<'_>> {
    let of = |class: fn(&Class) -> bool| {
        exam.standing_calls()
            .filter(move |call| matches!(&call.act, Act::Finding(found) if class(&found.class)))
    };
    let same_place = |normal: &LoggedCall, finding: &LoggedCall| {
        let of_all = matches!(&normal.act, Act::Finding(said) if said.all_structures);
        let (one, other) = (&normal.context.place, &finding.context.place);
        one.limb.is_some()
            && one.zone.is_some()
            && (&one.limb, &one.zone) == (&other.limb, &other.zone)
            && (of_all || one.structure == other.structure)
    };
    let mut found = Vec::new();
    for finding in of(|class| matches!(class, Class::Lesion | Class::Abnormal)) {
        let is_all = |normal: &&LoggedCall| matches!(&normal.act, Act::Finding(said) if said.is_all_normal());
        let mut normal = of(|class| *class == Class::Normal).filter(is_all);
        let normal = normal.find(|normal| same_place(normal, finding));
        found.extend(normal.map(|normal| Contradiction { normal, finding }));
    }
    found
}
