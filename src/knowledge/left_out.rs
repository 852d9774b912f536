//! What was said not to be scanned, and whether it was.
//!
//! Takes: calls that count, in order.
//! Gives: `NamedPlane`, which calls show that a view was scanned, and each "not scanned" that one of these speaks against.
//! Never: decides between the two.
//! Tested in: `tests/it/rules/views.rs`.

use crate::exam::call::Act;
use crate::exam::fold::{Exam, LoggedCall};
use crate::language::closed_sets::Class;

/// Whether the plane was named together with the zone or since: a zone keeps the plane that was current before it.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct NamedPlane(pub(crate) bool);

impl NamedPlane {
    /// One more call that counts.
    pub(crate) fn follow(&mut self, act: &Act) {
        match act {
            Act::View(view) if view.limb.is_some() || view.zone.is_some() => self.0 = view.plane.is_some(),
            Act::View(view) => self.0 |= view.plane.is_some(),
            _ => {}
        }
    }
}

/// Whether somebody who says this has scanned what is current: it was saved, measured, or described.
pub(crate) fn is_seen(act: &Act) -> bool {
    match act {
        Act::Save | Act::Clip | Act::Value(_) => true,
        Act::Finding(found) => matches!(
            found.class,
            Class::Normal | Class::Lesion | Class::Unremarkable | Class::Negative | Class::Abnormal
        ),
        _ => false,
    }
}

/// Two calls of one place, of which the later one says that it was not scanned.
#[derive(Debug, Clone, Copy)]
pub(crate) struct LeftOutAndSeen<'a> {
    pub(crate) left_out: &'a LoggedCall,
    pub(crate) seen: &'a LoggedCall,
}

/// Each "not scanned" of a zone, a view or a structure that was seen before, with the last call that says so.
pub(crate) fn left_out_and_seen(exam: &Exam) -> Vec<LeftOutAndSeen<'_>> {
    let mut named = NamedPlane::default();
    let mut seen: Vec<&LoggedCall> = Vec::new();
    let mut found = Vec::new();
    for call in exam.standing_calls() {
        named.follow(&call.act);
        let says_not = matches!(&call.act, Act::Finding(said) if said.class == Class::NotDone);
        if says_not {
            let before = seen.iter().rfind(|seen| is_of(seen, call, named));
            found.extend(before.map(|seen| LeftOutAndSeen { left_out: call, seen }));
        } else if is_seen(&call.act) {
            seen.push(call);
        }
    }
    found
}

/// Whether what was left out holds what was seen; a whole limb does not, for then the rest of it is meant.
fn is_of(seen: &LoggedCall, left_out: &LoggedCall, named: NamedPlane) -> bool {
    let (one, other) = (&left_out.context.place, &seen.context.place);
    let same_plane = !named.0 || one.plane == other.plane;
    let same_structure = one.structure.is_none() || one.structure == other.structure;
    one.limb.is_some()
        && one.zone.is_some()
        && (&one.limb, &one.zone) == (&other.limb, &other.zone)
        && same_plane
        && same_structure
}
