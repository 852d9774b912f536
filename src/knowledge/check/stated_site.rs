//! The rule about stills whose files state another limb than their label.
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order of the stills.
//! Never: settles which of the two is right; what fits every limb, or is not known here, contradicts nothing.
//! Tested in: `tests/it/rules/stills.rs`.

use crate::exam::stated_site::StatedSite;
use crate::knowledge::check::evidence::{Evidence, Hit};
use crate::knowledge::check::stills::counted;
use crate::protocol::{Limb, Protocols};

pub(super) fn contradicted(evidence: &Evidence) -> Vec<Hit> {
    let hit = |(frame, row): (&_, &_)| {
        let frame: &crate::exam::event::Frame = frame;
        let row: &crate::knowledge::record::FrameRow = row;
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
