//! Rules about measures and scores: place, plane, unit and size.
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order of the calls.
//! Never: changes a number or its unit.
//! Tested in: `tests/it/rules/values.rs`.

use crate::exam::call::{Act, Amount, Value};
use crate::exam::event::Entered;
use crate::exam::fold::LoggedCall;
use crate::knowledge::check::calls::lacking;
use crate::knowledge::check::evidence::{Evidence, Hit, said};
use crate::knowledge::check::lesions::{by_hand, whole_of};
use crate::knowledge::current::replaced;
use crate::knowledge::measure::is_measured;
use crate::knowledge::measure::row::MeasureRow;
use crate::knowledge::record::Status;
use crate::knowledge::rows::{amount_text, value_text};
use crate::protocol::{ValueKind, convert};

fn values<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = (&'a LoggedCall, &'a Value)> {
    evidence.exam.standing_calls().filter_map(|call| match &call.act {
        Act::Value(value) => Some((call, value)),
        _ => None,
    })
}

/// One hit for each value of a known kind about which `say` has something to say.
fn known(evidence: &Evidence, say: impl Fn(&LoggedCall, &Value, &ValueKind) -> Option<String>) -> Vec<Hit> {
    let mut hits = Vec::new();
    for (call, value) in values(evidence) {
        let kind = evidence.protocols.value(&value.term);
        let message = kind.and_then(|kind| say(call, value, kind));
        hits.extend(message.map(|message| Hit::call(call, message)));
    }
    hits
}

pub(super) fn without_place(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for (call, _) in values(evidence) {
        let lacking = lacking(&call.context, &["limb", "zone", "structure"]);
        if !lacking.is_empty() {
            let message = format!("{} with no {lacking} set", said(call));
            hits.push(Hit::call(call, message));
        }
    }
    hits
}

pub(super) fn wrong_plane(evidence: &Evidence) -> Vec<Hit> {
    known(evidence, |call, value, kind| {
        let plane = call.context.place.plane.as_ref();
        if kind.planes.is_empty() || plane.is_some_and(|plane| kind.planes.contains(plane)) {
            return None;
        }
        let names: Vec<&str> = kind.planes.iter().map(|code| evidence.protocols.plane_name(code)).collect();
        let wanted = names.join(" or ");
        Some(match plane {
            Some(plane) => {
                let said = evidence.protocols.plane_name(plane);
                format!("{} was said in the {said} view, but it is measured in the {wanted} one", value.term)
            }
            None => format!("{} was said with no plane set; it is measured in the {wanted} view", value.term),
        })
    })
}

/// The number in the unit of the bounds; none if the unit does not fit.
fn in_bound_unit(amount: &Amount, kind: &ValueKind) -> Option<f64> {
    match (&amount.unit, &kind.bound_unit) {
        (Some(unit), Some(bound_unit)) if kind.units.contains(unit) => {
            convert(amount.number, unit, bound_unit)
        }
        (None, None) => Some(amount.number),
        _ => None,
    }
}

pub(super) fn odd_unit(evidence: &Evidence) -> Vec<Hit> {
    known(evidence, |_, value, kind| {
        if in_bound_unit(&value.amount, kind).is_some() {
            return None;
        }
        let wanted = if kind.units.is_empty() { "no unit".to_owned() } else { kind.units.join(" or ") };
        Some(match &value.amount.unit {
            Some(unit) => format!("{} was said in `{unit}`, but it is measured in {wanted}", value.term),
            None => format!("{} was said without a unit; it is measured in {wanted}", value.term),
        })
    })
}

pub(super) fn out_of_bounds(evidence: &Evidence) -> Vec<Hit> {
    known(evidence, |_, value, kind| {
        let number = in_bound_unit(&value.amount, kind)?;
        // A score has the bounds of its own scale, which may be shorter than the usual one.
        let scale = value.said.scale.as_deref().or_else(|| evidence.exam.scale_of(&value.term, kind));
        let of_scale = kind.scales.iter().find(|known| Some(known.name.as_str()) == scale);
        let max = of_scale.map_or(kind.max, |scale| scale.max);
        if (kind.min..=max).contains(&number) && !(kind.whole && number.fract() != 0.0) {
            return None;
        }
        let whole = if kind.whole { "a whole number from " } else { "" };
        let unit = kind.bound_unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
        Some(format!(
            "{} {} is outside {whole}{} to {max}{unit}; was the number or the unit misheard?",
            value.term,
            amount_text(&value.amount),
            kind.min
        ))
    })
}

/// The unit was not said, and the number is as usual in another one.
pub(super) fn unit_unclear(evidence: &Evidence) -> Vec<Hit> {
    known(evidence, |_, value, kind| {
        let unit = value.amount.unit.as_deref().filter(|_| value.amount.unit_assumed)?;
        let other = kind.other_unit(value.amount.number, unit)?;
        let (term, shown) = (&value.term, amount_text(&value.amount));
        Some(format!(
            "{term} {shown}: no unit was said, and {other} is just as likely; {}",
            evidence.by_ear("listen, then correct it")
        ))
    })
}

pub(super) fn unit_assumed(evidence: &Evidence) -> Vec<Hit> {
    known(evidence, |_, value, kind| {
        let unit = value.amount.unit.as_deref()?;
        if kind.other_unit(value.amount.number, unit).is_some() {
            return None; // the rule above asks
        }
        let shown = amount_text(&value.amount);
        let message = format!("{} {shown}: no unit was said, so this one is assumed", value.term);
        value.amount.unit_assumed.then_some(message)
    })
}

/// A bound, a range or two distances where a measure would need one number, and no number was typed or traced there.
pub(super) fn not_single(evidence: &Evidence) -> Vec<Hit> {
    let is_open = |(call, value): &(&LoggedCall, &Value)| {
        !value.said.is_one_number()
            && is_measured(&value.term, evidence.protocols)
            && by_hand(evidence, call, value).is_none()
    };
    let hit = |(call, value): (&LoggedCall, &Value)| {
        let shown = value_text(value);
        Hit::call(call, format!("{} was said as {shown}: no measure can use it", value.term))
    };
    values(evidence).filter(is_open).map(hit).collect()
}

/// A value that was traced counts for the place that its still had then; the label may have been corrected since.
pub(super) fn entry_elsewhere(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    let replaced = replaced(evidence.exam);
    for entry in evidence.exam.entries.iter().filter(|entry| !replaced.contains_key(&entry.seq)) {
        let one = &entry.entered;
        let Some(frame) = evidence.frames.iter().find(|frame| Some(&frame.id) == one.still.as_ref()) else {
            continue;
        };
        let (own, now) = (one.place(), &frame.place);
        let what = match frame.status {
            Status::LeftOut => "is left out of the exam now".to_owned(),
            _ if now.limb.is_none() || now.zone.is_none() => "has no label now".to_owned(),
            _ if (&own.limb, &own.zone) != (&now.limb, &now.zone) => {
                format!("is labelled {} now", now.in_words(evidence.protocols))
            }
            _ => continue,
        };
        let message = format!(
            "{} {} was measured on still `{}` and counts for the {} (line {}), but that still {what}: take the value back, and \
             measure it again at its place",
            one.term,
            one.amount,
            frame.name(),
            own.in_words(evidence.protocols),
            entry.seq,
        );
        hits.push(Hit { at: Some(entry.at), ..Hit::still(frame, message) });
    }
    hits
}

/// A typed or traced value that a measure is made from by its term, and that none was made from.
pub(super) fn entry_unused(evidence: &Evidence) -> Vec<Hit> {
    let terms = &evidence.protocols.measuring.terms;
    let single = [&terms.area, &terms.lesion_area, &terms.lesion_percent, &terms.length];
    let entries = &evidence.exam.entries;
    let mut hits = Vec::new();
    for (idx, entry) in entries.iter().enumerate() {
        let one = &entry.entered;
        let place =
            |entered: &Entered| (entered.limb.clone(), entered.zone.clone(), entered.structure.clone());
        let measured = single.contains(&&one.term) || terms.scores.contains(&one.term);
        let later = &entries[idx + 1..];
        let replaced =
            later.iter().any(|later| later.entered.term == one.term && place(&later.entered) == place(one));
        let used = evidence.measures.iter().any(|row| row.from.contains(&entry.seq));
        if measured && !replaced && !used {
            let message = format!(
                "{} {} of the {} was entered (line {}) but no measure uses it{}",
                one.term,
                one.amount,
                one.place().in_words(evidence.protocols),
                entry.seq,
                why_unused(one, evidence)
            );
            hits.push(Hit { at: Some(entry.at), ..Hit::new(message) });
        }
    }
    hits
}

/// Why no measure is made from it: what prevents the measure of its zone, or that its structure is none of the zone's.
fn why_unused(entered: &Entered, evidence: &Evidence) -> String {
    let protocols = evidence.protocols;
    let (limb, zone, structure) = (&entered.limb, &entered.zone, &entered.structure);
    let scheme = protocols.scheme_for(limb, zone, &evidence.exam.header.schemes);
    let known = scheme.and_then(|scheme| scheme.zone(zone));
    if !known.is_some_and(|zone| protocols.expects(zone, structure)) {
        return "; is that structure expected in this zone?".to_owned();
    }
    let strand = whole_of(protocols, structure);
    let here = |row: &&MeasureRow| {
        row.limb == *limb && row.zone.as_ref() == Some(zone) && row.structure.as_ref() == Some(strand)
    };
    let why = evidence.measures.iter().filter(here).find_map(|row| row.why_not.as_deref());
    why.map_or_else(String::new, |why| format!(": {why}"))
}
