//! What a person should look at.
//!
//! Takes: `Exam`, `Pairing`, the labelled stills, the coverage and the protocols.
//! Gives: `Finding`s, worst first, each pointing to its call or still.
//! Never: changes or drops anything; what is odd is kept and asked about.
//! Tested in: `tests/knowledge.rs`.

use crate::exam::call::{Act, Finding as Seen, Value};
use crate::exam::event::Outcome;
use crate::exam::fold::{Exam, LoggedCall};
use crate::frames::pairing::Pairing;
use crate::knowledge::coverage::{Place, live};
use crate::knowledge::record::{CoverageRow, Finding, FrameRow, Severity, Status};
use crate::protocol::Protocols;
use crate::protocol::convert;

/// Breaths quieter than this are hard to understand, in dB of full scale; from memory, no source.
const QUIET_DBFS: f64 = -50.0;
/// More clipped samples than this spoil a breath; from memory, no source.
const CLIPPED_SHARE: f64 = 0.01;

/// Everything worth a look.
#[must_use]
pub fn check(
    exam: &Exam,
    pairing: &Pairing,
    frames: &[FrameRow],
    coverage: &[CoverageRow],
    protocols: &Protocols,
) -> Vec<Finding> {
    let mut found = Vec::new();
    journal(exam, &mut found);
    views(exam, frames, coverage, &mut found);
    stills(exam, pairing, frames, &mut found);
    for call in live(exam) {
        said(call, exam, protocols, &mut found);
    }
    breaths(exam, &mut found);
    // Stable: within one severity the order above stays.
    found.sort_by_key(|finding| finding.severity);
    found
}

fn finding(severity: Severity, rule: &str, message: String) -> Finding {
    Finding { severity, rule: rule.to_owned(), message, call_seq: None, frame: None, at: None }
}

fn of_call(severity: Severity, rule: &str, message: String, call: &LoggedCall) -> Finding {
    Finding { call_seq: Some(call.seq), at: Some(call.said_at), ..finding(severity, rule, message) }
}

/// What happened to the journal and the audio themselves.
fn journal(exam: &Exam, found: &mut Vec<Finding>) {
    for (line, problem) in &exam.damage {
        let message = format!("line {line} of the journal: {}; {}", problem.message, problem.help);
        found.push(finding(Severity::Error, "journal-damage", message));
    }
    if exam.samples_lost > 0 {
        let lost_s = crate::clock::seconds(exam.samples_lost);
        let message =
            format!("{lost_s:.2} s of audio were lost while listening; something may not have been heard");
        found.push(finding(Severity::Error, "audio-lost", message));
    }
    if exam.closed.is_none() {
        let message = "the exam was never closed: the program was stopped, or is still listening".to_owned();
        found.push(finding(Severity::Warn, "not-closed", message));
    }
}

/// Views that are missing, and views that were called and left without a still.
fn views(exam: &Exam, frames: &[FrameRow], coverage: &[CoverageRow], found: &mut Vec<Finding>) {
    for row in coverage.iter().filter(|row| row.frames == 0 && !row.not_done) {
        let view = format!("{} {} {}", row.limb, row.zone, row.plane);
        let place = Place::of(row);
        let called = live(exam).filter(|call| place.holds(call)).last();
        match (called, row.saves) {
            (Some(call), saves) if !frames.is_empty() || saves == 0 => {
                let message = if saves == 0 {
                    format!("{view} was called, but no save was said in it and no still is labelled with it")
                } else {
                    format!("{view} was called and saved, but no still was found for it; look on the scanner")
                };
                found.push(of_call(Severity::Warn, "view-without-still", message, call));
            }
            (Some(_), _) => {}
            (None, _) => {
                let message = format!("{view} is wanted by the scheme `{}` and was never called", row.scheme);
                found.push(finding(Severity::Warn, "view-missing", message));
            }
        }
    }
}

/// Stills whose label is open, and faults of their files.
fn stills(exam: &Exam, pairing: &Pairing, frames: &[FrameRow], found: &mut Vec<Finding>) {
    for (frame, row) in exam.frames.iter().zip(frames) {
        let (rule, message) = match row.status {
            Status::Ambiguous => ("still-ambiguous", "has two readings; listen and choose"),
            Status::Unlabelled => ("still-unlabelled", "belongs to nothing that was said; label it by hand"),
            Status::Context => ("still-from-context", "has no save call; its label is what was in force"),
            Status::Spoken => ("", ""),
        };
        let severity = if row.status == Status::Context { Severity::Info } else { Severity::Warn };
        let about = |severity, rule: &str, message: String| Finding {
            frame: Some(frame.id.clone()),
            at: row.saved_at_exam,
            ..finding(severity, rule, message)
        };
        if !rule.is_empty() {
            found.push(about(severity, rule, format!("still `{}` {message}", frame.file)));
        }
        for problem in &frame.problems {
            let message = format!("still `{}`: {}; {}", frame.file, problem.message, problem.help);
            found.push(about(Severity::Warn, "still-file", message));
        }
    }
    if !frames.is_empty() && pairing.clock.is_none() {
        let message =
            "the scanner's clock could not be tied to the exam: too few save calls agree with stills; \
                       say `clock mark` while saving one"
                .to_owned();
        found.push(finding(Severity::Error, "clock-unknown", message));
    }
}

/// What one call says, against what the protocols expect.
fn said(call: &LoggedCall, exam: &Exam, protocols: &Protocols, found: &mut Vec<Finding>) {
    for problem in &call.problems {
        let message = format!("`{}`: {}; {}", call.call.words, problem.message, problem.help);
        found.push(of_call(Severity::Warn, "call-problem", message, call));
    }
    match &call.act {
        Act::View(view) if view.structure.is_some() => expected(call, exam, protocols, found),
        Act::Finding(seen) => seen_there(call, seen, protocols, found),
        Act::Value(value) => measured(call, value, protocols, found),
        _ => {}
    }
}

/// A structure outside its zones is kept and asked about.
fn expected(call: &LoggedCall, exam: &Exam, protocols: &Protocols, found: &mut Vec<Finding>) {
    let context = &call.context;
    let (Some(limb), Some(zone), Some(structure)) = (&context.limb, &context.zone, &context.structure) else {
        return;
    };
    let Some(zone) =
        protocols.scheme_for(limb, zone, &exam.header.schemes).and_then(|scheme| scheme.zone(zone))
    else {
        return;
    };
    let whole = protocols.structure(structure).and_then(|part| part.part_of.as_ref());
    let parts = |code: &String| {
        protocols.structure(code).is_some_and(|known| known.part_of.as_ref() == Some(structure))
    };
    let fits = zone.structures.iter().any(|code| code == structure || Some(code) == whole || parts(code));
    if !fits {
        let message = format!(
            "{structure} is not expected in zone {} of {limb}; was zone or structure misheard?",
            zone.code
        );
        found.push(of_call(Severity::Warn, "structure-outside-zones", message, call));
    }
}

fn seen_there(call: &LoggedCall, seen: &Seen, protocols: &Protocols, found: &mut Vec<Finding>) {
    let context = &call.context;
    if context.limb.is_none() || context.zone.is_none() {
        let message = format!("`{}` was said with no limb or zone in force", call.call.words);
        found.push(of_call(Severity::Warn, "finding-without-place", message, call));
    }
    if seen.unconfirmed {
        let message =
            format!("`{}` is easily misheard for its opposite; listen, or use the score", seen.term);
        found.push(of_call(Severity::Warn, "finding-unconfirmed", message, call));
    }
    let limb = context.limb.as_ref().and_then(|code| protocols.limb(code));
    for direction in &seen.position {
        if limb.is_some_and(|limb| limb.foreign_positions.contains(direction)) {
            let name = limb.map_or("", |limb| limb.name.as_str());
            let message =
                format!("`{direction}` does not exist on the {name}; was the limb or the position misheard?");
            found.push(of_call(Severity::Warn, "foreign-position", message, call));
        }
    }
}

fn measured(call: &LoggedCall, value: &Value, protocols: &Protocols, found: &mut Vec<Finding>) {
    let context = &call.context;
    if context.limb.is_none() || context.zone.is_none() || context.structure.is_none() {
        let message = format!("`{}` was said with no limb, zone or structure in force", call.call.words);
        found.push(of_call(Severity::Warn, "value-without-place", message, call));
    }
    let Some(kind) = protocols.value(&value.term) else { return };
    if let Some(plane) = &context.plane
        && !kind.planes.is_empty()
        && !kind.planes.contains(plane)
    {
        let message =
            format!("{} was said in plane {plane}; it is read in {}", value.term, kind.planes.join(", "));
        found.push(of_call(Severity::Warn, "value-in-wrong-plane", message, call));
    }
    let amount = &value.amount;
    let in_bounds = match (&amount.unit, &kind.bound_unit) {
        (Some(unit), Some(bound)) => convert(amount.number, unit, bound),
        _ => Some(amount.number),
    };
    let shown = format!("{} {}", amount.number, amount.unit.as_deref().unwrap_or(""));
    match in_bounds {
        None => {
            let message =
                format!("{} cannot be measured in `{}`", value.term, amount.unit.as_deref().unwrap_or(""));
            found.push(of_call(Severity::Warn, "value-unit", message, call));
        }
        Some(number) if number < kind.min || number > kind.max => {
            let bound = kind.bound_unit.as_deref().unwrap_or("");
            let message = format!(
                "{} {shown} lies outside {} to {} {bound} ({}); was the number or the unit misheard?",
                value.term, kind.min, kind.max, kind.source
            );
            found.push(of_call(Severity::Warn, "value-out-of-bounds", message, call));
        }
        Some(_) if amount.unit_assumed => {
            let message = format!("{} {shown}: the unit was not said and is assumed", value.term);
            found.push(of_call(Severity::Info, "unit-assumed", message, call));
        }
        Some(_) => {}
    }
}

/// Breaths that changed nothing, and the sound of all of them.
fn breaths(exam: &Exam, found: &mut Vec<Finding>) {
    let unheard = exam.breaths.iter().filter(|breath| breath.outcome == Outcome::NotUnderstood).count();
    if unheard > 0 {
        let message = format!(
            "{unheard} breaths were not understood and changed nothing; they can be heard in the audio"
        );
        found.push(finding(Severity::Info, "not-understood", message));
    }
    let quiet = exam.breaths.iter().filter(|breath| breath.level_dbfs < QUIET_DBFS).count();
    if quiet > 0 {
        let message = format!(
            "{quiet} breaths are quieter than {QUIET_DBFS} dB of full scale; move the microphone nearer"
        );
        found.push(finding(Severity::Info, "too-quiet", message));
    }
    let clipped = exam.breaths.iter().filter(|breath| breath.clipped > CLIPPED_SHARE).count();
    if clipped > 0 {
        let message = format!("{clipped} breaths are clipped; turn the microphone down");
        found.push(finding(Severity::Warn, "clipped", message));
    }
}
