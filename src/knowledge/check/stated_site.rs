//! The rule about stills whose files state another limb than their label.
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order of the stills.
//! Never: settles which of the two is right; what fits every limb, or is not known here, contradicts nothing.
//! Tested in: `tests/it/rules/stills.rs`.

use crate::exam::event::Frame;
use crate::exam::stated_site::StatedSite;
use crate::knowledge::check::evidence::{Evidence, Hit};
use crate::knowledge::check::stills::counted;
use crate::knowledge::record::FrameRow;
use crate::protocol::{Limb, Protocols};

pub(super) fn contradicted(evidence: &Evidence) -> Vec<Hit> {
    let hit = |(frame, row): (&Frame, &FrameRow)| {
        let limb = evidence.protocols.limb(row.place.limb.as_deref()?)?;
        let stated = against(frame.stated_site.as_ref()?, limb, evidence.protocols);
        (!stated.is_empty() && row.copy_of.is_none()).then(|| {
            let message = format!(
                "the file of still `{}` states {}, but its label is {}: compare both, then correct the label or accept it",
                row.name(),
                stated.join(" and "),
                limb.name
            );
            Hit::still(row, message)
        })
    };
    counted(evidence).filter_map(hit).collect()
}

/// A view that the file states, and that is another than the plane of the label.
pub(super) fn other_view(evidence: &Evidence) -> Vec<Hit> {
    let planes = &evidence.protocols.planes;
    let hit = |(frame, row): (&Frame, &FrameRow)| {
        let label = row.place.plane.as_deref()?;
        let views = &frame.stated_site.as_ref()?.views;
        let stated = planes.iter().find(|plane| plane.stated.iter().any(|code| views.contains(code)))?;
        (stated.code != *label && row.copy_of.is_none()).then(|| {
            let message = format!(
                "the file of still `{}` states the {} view, but its label is {}: compare both, then correct the label or \
                 accept it",
                row.name(),
                stated.name,
                evidence.protocols.plane_name(label)
            );
            Hit::still(row, message)
        })
    };
    counted(evidence).filter_map(hit).collect()
}

/// What is stated and cannot be said of this limb.
fn against(stated: &StatedSite, limb: &Limb, protocols: &Protocols) -> Vec<String> {
    let side = stated.side.iter().filter(|side| **side != limb.side).map(|side| format!("the side `{side}`"));
    let is_foreign = |part: &&String| {
        let of_word = || protocols.stated_parts.iter().filter(|row| row.words.contains(part));
        of_word().next().is_some() && !of_word().any(|row| row.groups.contains(&limb.group))
    };
    let part = stated.parts.iter().find(is_foreign).map(|part| format!("the part `{part}`"));
    side.chain(part).collect()
}
