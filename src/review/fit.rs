//! Whether what a call says fits the protocols and the exam: its place, its number, its finding.
//!
//! Takes: an act or a place, and the limb that is current there.
//! Gives: what is unlikely about it and may be confirmed, or a refusal that says what to do.
//! Never: writes anything.
//! Tested in: `tests/it/review.rs` and `tests/it/review_whole.rs`.

use crate::code::LimbCode;
use crate::exam::call::{Act, Amount, FindingSaid, Problem, View};
use crate::exam::fold::Exam;
use crate::exam::review::TEXT_MAX;
use crate::language::closed_sets::Class;
use crate::protocol::Odd;
use crate::review::desk::Desk;
use crate::review::refusal::{Refusal, wrong};

/// `limb` is the one that is current there; gives what is unlikely.
pub(super) fn act_fits(
    desk: &Desk,
    exam: &Exam,
    limb: Option<&LimbCode>,
    act: &Act,
) -> Result<Option<Problem>, Refusal> {
    match act {
        Act::View(view) => {
            place_fits(desk, exam, view, view.limb.as_ref().or(limb))?;
            Ok(None)
        }
        Act::Value(value) => amount_fits(desk, exam, &value.term, &value.amount, value.said.scale.as_deref()),
        Act::Finding(finding) if finding.term.is_empty() || finding.term.chars().count() > TEXT_MAX => {
            wrong("the finding has no name", "write what was seen, as it is called in the report")
        }
        Act::Finding(finding)
            if finding.class == Class::Unremarkable && !desk.protocols.is_no_lesion(&finding.term) =>
        {
            wrong(
                format!("“{}” is not a finding that says that nothing is wrong", finding.term),
                "choose the type “lesion”, or “normal” if nothing was wrong",
            )
        }
        Act::Finding(finding) => Ok(unknown_finding(desk, exam, finding)),
        _ => wrong(
            "only places, values and findings can be corrected or added",
            "withdraw the call if it is wrong",
        ),
    }
}

/// A finding under a name that nothing knows is counted and compared with nothing.
fn unknown_finding(desk: &Desk, exam: &Exam, finding: &FindingSaid) -> Option<Problem> {
    let mut known = desk.finding_names(exam).peekable();
    let is_named = matches!(finding.class, Class::Lesion | Class::Negative | Class::Abnormal);
    if !is_named || known.peek().is_none() || known.any(|name| name == finding.term) {
        return None;
    }
    Some(Problem {
        message: format!("“{}” is not a known finding", finding.term),
        help: "choose one from the list; save it only if no name there fits".to_owned(),
    })
}

/// A score fits the scale that was said with it or set for this exam, not the widest that the term knows; gives what is
/// unusual about a number.
pub(super) fn amount_fits(
    desk: &Desk,
    exam: &Exam,
    term: &str,
    amount: &Amount,
    scale: Option<&str>,
) -> Result<Option<Problem>, Refusal> {
    let Some(kind) = desk.protocols.value(term) else {
        return wrong(format!("`{term}` is not something that is measured"), "choose a term from the list");
    };
    if !amount.number.is_finite() || amount.number < 0.0 {
        return wrong("that is not a measurement", "enter a number from 0 upwards");
    }
    match &amount.unit {
        Some(unit) if !kind.units.contains(unit) => {
            wrong(format!("{term} is not measured in `{unit}`"), "choose one of the units in the list")
        }
        None if !kind.units.is_empty() => wrong(format!("{term} needs a unit"), "choose one from the list"),
        _ => match kind.odd_on(
            scale.or_else(|| exam.scale_of(term, kind)),
            amount.number,
            amount.unit.as_deref(),
        ) {
            Some(odd @ Odd::OffScale { .. }) => wrong(odd.to_string(), "enter a step of this exam's scale"),
            odd => Ok(odd.map(|odd| Problem {
                message: odd.to_string(),
                help: "check the number and its unit; save it only if it is right".to_owned(),
            })),
        },
    }
}

/// The limb has the structure.
fn structure_fits(desk: &Desk, structure: Option<&str>, limb: Option<&str>) -> Result<(), Refusal> {
    let known = structure.and_then(|code| desk.protocols.structure(code));
    let limb = limb.and_then(|code| desk.protocols.limb(code));
    match (known, limb) {
        (Some(known), Some(limb)) if !known.is_of(&limb.group) => wrong(
            format!("the {} has no {}", limb.name, known.name),
            "choose a structure that this limb has, or correct the limb first",
        ),
        _ => Ok(()),
    }
}

/// Every code is known, and the limb has the zone in the schemes of the exam.
pub(super) fn place_fits(
    desk: &Desk,
    exam: &Exam,
    place: &View,
    limb: Option<&LimbCode>,
) -> Result<(), Refusal> {
    let View { limb: own, zone, level_cm, plane, structure, .. } = place;
    let protocols = &desk.protocols;
    if own.is_none() && zone.is_none() && level_cm.is_none() && plane.is_none() && structure.is_none() {
        return wrong("no place was chosen", "choose a limb, zone, plane or structure");
    }
    let unknown = [
        own.as_deref().filter(|code| protocols.limb(code).is_none()),
        plane.as_deref().filter(|code| protocols.plane(code).is_none()),
        structure.as_deref().filter(|code| protocols.structure(code).is_none()),
    ];
    if let Some(code) = unknown.into_iter().flatten().next() {
        return wrong(format!("`{code}` is not known to the protocols"), "choose one from the list");
    }
    structure_fits(desk, structure.as_deref(), limb.map(|code| code.as_ref()))?;
    if let Some(level) = level_cm {
        let length = |limb: &str| {
            protocols.limb(limb).and_then(|limb| exam.header.limb_lengths_cm.get(&limb.group)).copied()
        };
        let zone = limb.map(|limb| protocols.zone_of_level(limb, *level, &exam.header.schemes, length(limb)));
        match zone {
            Some(Ok(_)) => {}
            Some(Err(problem)) => return wrong(problem.message, &problem.help),
            None => return wrong("a level needs a limb", "choose the limb as well"),
        }
    }
    if let Some(zone) = zone {
        let fits = limb.is_some_and(|limb| protocols.scheme_for(limb, zone, &exam.header.schemes).is_some());
        if !fits {
            let limb = limb.map_or("a still or call without a limb", LimbCode::as_str);
            return wrong(
                format!("{zone} is not a zone of {limb} in this exam"),
                "choose limb and zone together",
            );
        }
    }
    Ok(())
}
