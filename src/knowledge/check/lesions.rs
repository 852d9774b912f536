//! Rules about lesions and the numbers that go with them.
//!
//! Takes: the evidence of an exam, its measures included.
//! Gives: hits in the order of the calls or the measures.
//! Never: says how bad a lesion is.
//! Tested in: `tests/it/rules/lesions.rs`.

use std::collections::BTreeSet;

use chrono::TimeDelta;

use crate::code::{LimbCode, StructureCode, ZoneCode};
use crate::exam::call::{Act, Amount, Value};
use crate::exam::event::Entered;
use crate::exam::fold::LoggedCall;
use crate::exam::place;
use crate::exam::seq::Seq;
use crate::knowledge::check::evidence::{Evidence, Hit, said, words_of};
use crate::knowledge::contradiction::{Abnormal, Contradiction, contradictions, is_lesion_size};
use crate::knowledge::current::replaced;
use crate::knowledge::denied::{Denied, denied};
use crate::knowledge::measure::LARGER;
use crate::knowledge::measure::row::Name;
use crate::knowledge::rows::amount_text;
use crate::knowledge::undescribed::{UNDESCRIBED, same_strand, undescribed};
use crate::language::closed_sets::Class;
use crate::protocol::{Protocols, convert};

fn lesions<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = &'a LoggedCall> {
    evidence.exam.standing_calls().filter(|call| is_sure_lesion(&call.act))
}

/// A lesion that the speaker was sure of: a possible one counts neither as present nor as absent.
pub(super) fn is_sure_lesion(act: &Act) -> bool {
    matches!(act, Act::Finding(found) if found.class == Class::Lesion && found.certainty.is_none())
}

pub(super) fn larger(evidence: &Evidence) -> Vec<Hit> {
    let rows = evidence.measures.iter().filter(|row| row.name == Name::LesionArea);
    let mut hits = Vec::new();
    for row in rows.filter(|row| row.why_not.as_deref() == Some(LARGER)) {
        let place = in_words(evidence, Some(&row.limb), row.zone.as_ref(), row.structure.as_ref());
        hits.push(Hit::new(format!("{place}: {LARGER}; one of the two areas is wrong")));
    }
    hits
}

/// A place in words.
fn in_words(
    evidence: &Evidence,
    limb: Option<&LimbCode>,
    zone: Option<&ZoneCode>,
    structure: Option<&StructureCode>,
) -> String {
    let (limb, zone, structure) = (limb.cloned(), zone.cloned(), structure.cloned());
    place::Place { limb, zone, plane: None, structure }.in_words(evidence.protocols)
}

/// Lesions whose extent is an area or edgeless, without one of the scores at the same place.
pub(super) fn without_score(evidence: &Evidence) -> Vec<Hit> {
    let measuring = &evidence.protocols.measuring;
    let mut seen = BTreeSet::new();
    let mut hits = Vec::new();
    for call in lesions(evidence) {
        let Act::Finding(found) = &call.act else { continue };
        let lists = [&measuring.lesions_with_area, &measuring.lesions_without_edge];
        let place = (&call.context.place.limb, &call.context.place.zone, &call.context.place.structure);
        let at = (place.0.as_ref(), place.1.as_ref(), place.2.as_ref());
        if !lists.iter().any(|list| list.contains(&found.term)) || !seen.insert(place) {
            continue;
        }
        let scored = |term: &&String| {
            evidence.exam.standing_calls().any(|other| {
                matches!(&other.act, Act::Value(value) if value.term == **term)
                    && (&other.context.place.limb, &other.context.place.zone, &other.context.place.structure)
                        == place
            }) || evidence.exam.entries.iter().map(|entry| &entry.entered).any(|entered| {
                let (limb, zone, structure) = (&entered.limb, &entered.zone, &entered.structure);
                entered.term == **term && (Some(limb), Some(zone), Some(structure)) == at
            })
        };
        let missing: Vec<&str> =
            measuring.terms.scores.iter().filter(|term| !scored(term)).map(String::as_str).collect();
        if !missing.is_empty() {
            hits.push(Hit::call(call, format!("`{}` has no {}", words_of(call), missing.join(" and no "))));
        }
    }
    hits
}

/// A lesion, said or measured, in a place where every score is normal; once for a place.
pub(super) fn scored_normal(evidence: &Evidence) -> Vec<Hit> {
    let measuring = &evidence.protocols.measuring;
    let said = lesions(evidence).filter_map(|call| {
        let Act::Finding(found) = &call.act else { return None };
        let context = &call.context;
        let strand = context.place.structure.as_ref().map(|code| whole_of(evidence.protocols, code));
        let place: LesionPlace = (context.place.limb.as_ref(), context.place.zone.as_ref(), strand);
        measuring.has_extent(&found.term).then_some((place, Some(call)))
    });
    let sized = evidence.measures.iter().filter_map(|row| {
        let lesion = row.name == Name::LesionArea && row.value.is_some_and(|mm2| mm2 > 0.0);
        let place: LesionPlace = (Some(&row.limb), row.zone.as_ref(), row.structure.as_ref());
        lesion.then_some((place, None))
    });
    let mut seen = BTreeSet::new();
    let mut hits = Vec::new();
    for (place, call) in said.chain(sized) {
        let normal = |term: &String| {
            evidence.measures.iter().any(|row| {
                row.name == Name::Score
                    && row.of.as_ref() == Some(term)
                    && row.value == Some(0.0)
                    && place == (Some(&row.limb), row.zone.as_ref(), row.structure.as_ref())
            })
        };
        if measuring.terms.scores.iter().all(normal) && seen.insert(place) {
            let (limb, zone, strand) = place;
            let names = in_words(evidence, limb, zone, strand);
            let scores = measuring.terms.scores.join(" and ");
            let message = format!("{names}: there is a lesion, but {scores} are 0, which means normal");
            hits.push(match call {
                Some(call) => Hit::call(call, message),
                None => Hit::new(message),
            });
        }
    }
    hits
}

/// The same structure in the same zone was called normal, and something says that it is not; once for a place.
pub(super) fn called_normal(evidence: &Evidence) -> Vec<Hit> {
    let all = contradictions(evidence.exam, evidence.protocols);
    let part = |both: &Contradiction| both.finding.place().in_any_plane();
    let mut found: Vec<Vec<Contradiction>> = Vec::new();
    for both in all {
        let same = |known: &&mut Vec<Contradiction>| {
            known[0].normal.act == both.normal.act && part(&known[0]) == part(&both)
        };
        match found.iter_mut().find(same) {
            Some(known) => known.push(both),
            None => found.push(vec![both]),
        }
    }
    found.iter().filter_map(|all| against_normal(evidence, all)).collect()
}

fn against_normal(evidence: &Evidence, all: &[Contradiction]) -> Option<Hit> {
    let first = all.first()?;
    let place = first.finding.place().in_words(evidence.protocols);
    let mut said: Vec<String> = all.iter().map(|both| both.finding.what()).collect();
    said.dedup();
    let message = format!("{place}: {}, but {} was called there, too", said.join(" and "), first.normal.act);
    let heard = all.iter().find_map(|both| match both.finding {
        Abnormal::Call(call) => Some(call),
        Abnormal::Entry(_) => None,
    });
    Some(Hit::call(heard.unwrap_or(first.normal), message))
}

/// A size of a lesion, and no word of what the lesion is; once for a structure of a limb.
pub(super) fn not_described(evidence: &Evidence) -> Vec<Hit> {
    let Evidence { exam, protocols, .. } = *evidence;
    let size = |term: &str, amount: &Amount| is_lesion_size(term, amount.number, protocols);
    let replaced = replaced(exam);
    let counts = |seq: &Seq| !replaced.contains_key(seq);
    let said = exam.standing_calls().filter(|call| counts(&call.seq)).filter_map(|call| match &call.act {
        Act::Value(value) if size(&value.term, &value.amount) => {
            Some((call.context.place.clone(), (Some(call), call.act.to_string())))
        }
        _ => None,
    });
    let entered = exam.entries.iter().filter(|entry| counts(&entry.seq)).map(|entry| &entry.entered);
    let entered = entered.filter(|one| size(&one.term, &one.amount));
    let entered =
        entered.map(|one| (one.place(), (None, format!("{} {}", one.term, amount_text(&one.amount)))));
    let is_described = |call: &&LoggedCall| matches!(call.act.class(), Some(Class::Lesion | Class::Abnormal));
    let described: Vec<place::Place> =
        exam.standing_calls().filter(is_described).map(|call| call.context.place.clone()).collect();
    let mut seen: Vec<place::Place> = Vec::new();
    let mut hits = Vec::new();
    for (place, (call, size)) in undescribed(said.chain(entered), &described, protocols) {
        if seen.iter().any(|known| same_strand(known, &place, protocols)) {
            continue;
        }
        let message = format!("{}: {UNDESCRIBED} ({size}); say or add what it is", place.in_words(protocols));
        hits.push(match call {
            Some(call) => Hit::call(call, message),
            None => Hit::new(message),
        });
        seen.push(place);
    }
    hits
}

/// What was looked for and not found in a view, and was found there, too.
pub(super) fn denied_and_seen(evidence: &Evidence) -> Vec<Hit> {
    let hit = |both: Denied| {
        let place = both.denied.context.place.in_words(evidence.protocols);
        Hit::call(
            both.denied,
            format!("{place}: {}, but {} was called there, too", both.denied.act, both.seen.act),
        )
    };
    denied(evidence.exam, evidence.protocols).into_iter().map(hit).collect()
}

/// Limb, zone and strand.
type LesionPlace<'a> = (Option<&'a LimbCode>, Option<&'a ZoneCode>, Option<&'a StructureCode>);

/// The structure that a part counts for in the measures.
pub(super) fn whole_of<'a>(protocols: &'a Protocols, code: &'a StructureCode) -> &'a StructureCode {
    let strands = &protocols.measuring.strand;
    strands.iter().find(|strand| strand.parts.contains(code)).map_or(code, |strand| &strand.code)
}

pub(super) fn score_without_view(evidence: &Evidence) -> Vec<Hit> {
    let scores = &evidence.protocols.measuring.terms.scores;
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls().filter(|call| call.context.place.plane.is_none()) {
        if matches!(&call.act, Act::Value(value) if scores.contains(&value.term)) {
            hits.push(Hit::call(call, format!("{} with no plane set", said(call))));
        }
    }
    hits
}

/// A spoken value that a typed or traced one replaces, where the two differ.
pub(super) fn value_replaced(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls() {
        let Act::Value(value) = &call.act else { continue };
        if let Some(entered) = by_hand(evidence, call, value).filter(|entered| entered.amount != value.amount)
        {
            let how = entered.how();
            let message = format!(
                "{} {} was said, but {} was {how}; the {how} value is used",
                value.term,
                amount_text(&value.amount),
                amount_text(&entered.amount)
            );
            hits.push(Hit::call(call, message));
        }
    }
    hits
}

/// What was typed or traced last where a value was said.
pub(super) fn by_hand<'a>(evidence: &Evidence<'a>, call: &LoggedCall, value: &Value) -> Option<&'a Entered> {
    let context = &call.context;
    let here = |entered: &&Entered| {
        entered.term == value.term
            && context.place.limb.as_ref() == Some(&entered.limb)
            && context.place.zone.as_ref() == Some(&entered.zone)
            && context.place.structure.as_ref() == Some(&entered.structure)
    };
    evidence.exam.entries.iter().map(|entry| &entry.entered).rfind(here)
}

/// Values of one term said of one structure in one zone that differ, in whichever planes, all of them standing; what was
/// typed or traced takes precedence.
pub(super) fn value_said_again(evidence: &Evidence) -> Vec<Hit> {
    let mut said: Vec<Vec<(&LoggedCall, &Value)>> = Vec::new();
    for call in evidence.exam.standing_calls() {
        let Act::Value(value) = &call.act else { continue };
        // A range is no second number; a rule of its own asks about it.
        if !value.said.is_one_number() {
            continue;
        }
        // What has no place is in no other's way: another rule asks about it.
        let context = &call.context;
        if context.place.limb.is_none() || context.place.zone.is_none() || context.place.structure.is_none() {
            continue;
        }
        match said.iter_mut().find(|known| known[0].1.term == value.term && same_part(known[0].0, call)) {
            Some(known) => known.push((call, value)),
            None => said.push(vec![(call, value)]),
        }
    }
    let differ = |said: &&Vec<(&LoggedCall, &Value)>| {
        said.iter().any(|(_, value)| !same_amount(&value.amount, &said[0].1.amount))
            && by_hand(evidence, said[0].0, said[0].1).is_none()
    };
    let hit = |said: &Vec<(&LoggedCall, &Value)>| {
        let (last, value) = said.last()?;
        let planes: BTreeSet<_> = said.iter().map(|(call, _)| &call.context.place.plane).collect();
        let shown = |(call, value): &(&LoggedCall, &Value)| {
            let plane = call.context.place.plane.as_deref().filter(|_| planes.len() > 1);
            let plane = plane
                .map(|code| format!(" in the {} view", evidence.protocols.plane_name(code)))
                .unwrap_or_default();
            format!("{}{plane} (call {})", amount_text(&value.amount), call.seq)
        };
        let part = last.context.place.clone().in_any_plane();
        let shown: Vec<String> = said.iter().map(shown).collect();
        let message = format!(
            "{} of {} was said as {}: the last one is used; withdraw the wrong one",
            value.term,
            part.in_words(evidence.protocols),
            shown.join(", then ")
        );
        Some(Hit::call(last, message))
    };
    said.iter().filter(differ).filter_map(hit).collect()
}

fn same_part(one: &LoggedCall, other: &LoggedCall) -> bool {
    let part = |call: &LoggedCall| call.context.place.clone().in_any_plane();
    part(one) == part(other)
}

/// Equal in one unit, but for what is lost in turning one into the other.
fn same_amount(one: &Amount, other: &Amount) -> bool {
    let number = match (&one.unit, &other.unit) {
        (Some(from), Some(to)) => convert(one.number, from, to),
        (None, None) => Some(one.number),
        _ => None,
    };
    number.is_some_and(|number| (number - other.number).abs() <= 1e-9 * other.number.abs())
}

/// One reminder for an exam with a lesion.
pub(super) fn rescan_due(evidence: &Evidence) -> Vec<Hit> {
    let habits = &evidence.protocols.rules.habits;
    let weeks = habits.rescan_weeks;
    let is_reason = |call: &&LoggedCall| matches!(&call.act, Act::Finding(found) if !habits.rescan_not_for.contains(&found.term));
    let Some(first) = lesions(evidence).find(is_reason) else { return Vec::new() };
    let due = evidence.exam.header.started_at.checked_add_signed(TimeDelta::weeks(i64::from(weeks)));
    let Some(due) = due else { return Vec::new() };
    let zone = TimeDelta::seconds(evidence.exam.header.utc_offset_s.into());
    let day = due.checked_add_signed(zone).unwrap_or(due).format("%Y-%m-%d");
    vec![Hit::call(
        first,
        format!("a lesion was recorded; the interval set here is {weeks} weeks, so scan again by {day}"),
    )]
}
