//! Rules about views: missing, left without a still, or seen in part only.
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order of the coverage, or of the calls.
//! Never: asks for a view that was said not to be scanned.
//! Tested in: `tests/it/rules/views.rs`.

use crate::code::{StructureCode, ZoneCode};
use crate::exam::call::{Act, Command};
use crate::exam::fold::LoggedCall;
use crate::exam::seq::Seq;
use crate::knowledge::belongs::{is_labelled, is_view, was_current};
use crate::knowledge::check::evidence::{Evidence, Hit, said};
use crate::knowledge::check::lesions::is_sure_lesion;
use crate::knowledge::left_out::{LeftOutAndSeen, left_out_and_seen as both_said};
use crate::knowledge::record::CoverageRow;
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;

fn open<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = &'a CoverageRow> {
    evidence.coverage.iter().filter(|row| row.frames == 0 && !row.not_done)
}

pub(super) fn without_still(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    let refused = evidence.frames.iter().filter(|frame| frame.refused.is_some()).count();
    for row in open(evidence).filter(|row| row.saves == 0 || !evidence.frames.is_empty()) {
        // Where it was saved, that call is to be listened to; an end of the exam says nothing of the view.
        let is_of_view = |call: &&LoggedCall| {
            was_current(&row.view(), call) && call.act != Act::Command(Command::EndOfExam)
        };
        let here = || evidence.exam.standing_calls().filter(is_of_view);
        let Some(call) = here().filter(|call| call.act.is_save()).last().or_else(|| here().last()) else {
            continue;
        };
        let view = name(row, evidence.protocols);
        hits.push(Hit::call(
            call,
            if row.saves == 0 {
                format!("{view} was called, but no save was said and no still has this label")
            } else if refused > 0 {
                format!(
                    "{view} was called and saved, but has no still that was accepted; {refused} that may show it were not \
                     (see `still-of-another-horse`)"
                )
            } else {
                format!("{view} was called and saved, but its still is missing; look on the scanner")
            },
        ));
    }
    hits
}

/// A line for each limb: a whole list of views would hide what else there is to look at.
pub(super) fn missing(evidence: &Evidence) -> Vec<Hit> {
    let never =
        |row: &&CoverageRow| !evidence.exam.standing_calls().any(|call| was_current(&row.view(), call));
    let rows: Vec<&CoverageRow> = open(evidence).filter(never).collect();
    let of_one = |a: &&CoverageRow, b: &&CoverageRow| (&a.limb, &a.scheme) == (&b.limb, &b.scheme);
    rows.chunk_by(of_one).filter_map(|rows| uncalled(rows, evidence.protocols)).collect()
}

/// The views of one limb in one line, each zone with its planes.
fn uncalled(rows: &[&CoverageRow], protocols: &Protocols) -> Option<Hit> {
    let first = rows.first()?;
    let scheme = &first.scheme;
    let zone = |rows: &[&CoverageRow]| {
        let code = &rows.first()?.zone;
        let known = protocols.scheme(scheme).and_then(|scheme| scheme.zone(code));
        let planes: Vec<&str> = rows.iter().map(|row| protocols.plane_name(&row.plane)).collect();
        let is_whole = planes.len() == 2 && known.is_some_and(|zone| zone.planes.len() == 2);
        Some((code.clone(), is_whole, planes.join(" and ")))
    };
    let zones: Vec<(ZoneCode, bool, String)> =
        rows.chunk_by(|a, b| a.zone == b.zone).filter_map(zone).collect();
    let limb = protocols.limb_name(&first.limb);
    let message = match zones.as_slice() {
        [(code, true, _)] => format!("{limb} {code}: both views are missing"),
        [(code, false, planes)] if rows.len() == 1 => format!("{limb} {code}: the {planes} view is missing"),
        [(code, false, planes)] => format!("{limb} {code}: the {planes} views are missing"),
        several => {
            let zone = |(code, is_whole, planes): &(ZoneCode, bool, String)| match is_whole {
                true => format!("{code} (both views)"),
                false => format!("{code} {planes}"),
            };
            let zones: Vec<String> = several.iter().map(zone).collect();
            format!("{limb}: {} views are missing: {}", rows.len(), zones.join(", "))
        }
    };
    Some(Hit { place: Some(first.limb.to_string()), ..Hit::new(message) })
}

/// Structures that want a still of their own in a zone that was called.
pub(super) fn structure_without_still(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for rows in evidence.coverage.chunk_by(|a, b| (&a.limb, &a.zone) == (&b.limb, &b.zone)) {
        let row = &rows[0];
        let scheme = evidence.protocols.scheme(&row.scheme);
        let Some(zone) = scheme.and_then(|scheme| scheme.zone(&row.zone)) else { continue };
        let here = |call: &&LoggedCall| is_here(call, row);
        let Some(first) = evidence.exam.standing_calls().filter(here).find(|call| is_view(call)) else {
            continue;
        };
        if rows.iter().all(|row| row.not_done) {
            continue;
        }
        let lacking = |structure: &&StructureCode| {
            let named = |found: Option<&StructureCode>| found == Some(*structure);
            let still = evidence.frames.iter().any(|frame| {
                is_labelled(frame)
                    && frame.place.limb.as_ref() == Some(&row.limb)
                    && frame.place.zone.as_ref() == Some(&row.zone)
                    && named(frame.place.structure.as_ref())
            });
            let settled = evidence
                .exam
                .standing_calls()
                .filter(here)
                .any(|call| named(call.context.place.structure.as_ref()) && settles(&call.act, evidence));
            !still && !settled
        };
        let name = |code: &StructureCode| {
            format!("the {}", evidence.protocols.structure(code).map_or(code.as_str(), |known| &known.name))
        };
        let lacking: Vec<String> = zone.own_still.iter().filter(lacking).map(name).collect();
        if !lacking.is_empty() {
            let (limb, zone) = (evidence.protocols.limb_name(&row.limb), &row.zone);
            let lacking = lacking.join(" and of ");
            let message = format!("{limb} {zone} has no separate still of {lacking}");
            hits.push(Hit::call(first, message));
        }
    }
    hits
}

fn is_here(call: &LoggedCall, row: &CoverageRow) -> bool {
    call.context.place.limb.as_ref() == Some(&row.limb) && call.context.place.zone.as_ref() == Some(&row.zone)
}

/// A save call is enough only while there are no stills to look at.
fn settles(act: &Act, evidence: &Evidence) -> bool {
    match act {
        Act::Save | Act::Clip => evidence.frames.is_empty(),
        Act::Finding(seen) => matches!(seen.class, Class::NotDone | Class::Absent),
        _ => false,
    }
}

pub(super) fn lesion_in_one_plane(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for rows in evidence.coverage.chunk_by(|a, b| (&a.limb, &a.zone) == (&b.limb, &b.zone)) {
        let lesion = evidence
            .exam
            .standing_calls()
            .filter(|call| is_here(call, &rows[0]))
            .find(|call| is_sure_lesion(&call.act));
        let (seen, unseen): (Vec<_>, Vec<_>) = rows.iter().partition(|row| row.frames > 0 || row.saves > 0);
        if let (Some(call), [seen], [unseen, ..]) = (lesion, seen.as_slice(), unseen.as_slice()) {
            hits.push(Hit::call(
                call,
                format!(
                    "{} {} has a lesion, but only {} stills; save a {} one as well",
                    evidence.protocols.limb_name(&seen.limb),
                    seen.zone,
                    evidence.protocols.plane_name(&seen.plane),
                    evidence.protocols.plane_name(&unseen.plane)
                ),
            ));
        }
    }
    hits
}

/// What was said not to be scanned after it was saved, measured or described.
pub(super) fn left_out_and_seen(evidence: &Evidence) -> Vec<Hit> {
    let hit = |both: LeftOutAndSeen| {
        let place = both.seen.context.place.in_words(evidence.protocols);
        let what = match &both.seen.act {
            Act::Save | Act::Clip => "a save".to_owned(),
            other => format!("`{other}`"),
        };
        let message = format!(
            "{place}: `{}` was said after {what} (call {}) there; if another view was meant, add `not scanned` at that one \
             and withdraw this call",
            both.left_out.act, both.seen.seq
        );
        Hit::call(both.left_out, message)
    };
    both_said(evidence.exam).into_iter().map(hit).collect()
}

fn is(call: &LoggedCall, class: &Class) -> bool {
    matches!(&call.act, Act::Finding(seen) if seen.class == *class)
}

/// A poor picture that no later save or still of the same view makes up for.
pub(super) fn quality_not_repeated(evidence: &Evidence) -> Vec<Hit> {
    let exam = evidence.exam;
    // Later in time: a call that a person added has its line after all others.
    let place_in_time = |seq: Seq| exam.calls.iter().position(|call| call.seq == seq);
    let mut hits = Vec::new();
    for call in exam.standing_calls().filter(|call| is(call, &Class::Quality)) {
        let (place, here) = (call.context.place.clone(), place_in_time(call.seq));
        let saved = exam.standing_calls().any(|later| {
            later.act.is_save() && place.same_view(&later.context.place) && place_in_time(later.seq) > here
        });
        let still = evidence.frames.iter().any(|frame| {
            is_labelled(frame)
                && place.same_view(&frame.place)
                && frame.call_seq.and_then(place_in_time) >= here
        });
        if !saved && !still {
            let message = format!("{}, but this view was not saved again; scan it again", said(call));
            hits.push(Hit::call(call, message));
        }
    }
    hits
}

/// A view in words, such as a limb's name, a zone and a plane's name.
fn name(row: &CoverageRow, protocols: &Protocols) -> String {
    format!("{} {} {}", protocols.limb_name(&row.limb), row.zone, protocols.plane_name(&row.plane))
}
