//! Rules about single calls: their place, and whether it fits.
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order of the calls.
//! Never: looks at calls that were taken back.
//! Tested in: `tests/it/rules/calls.rs`.

use crate::clock;
use crate::exam::call::{Act, FindingSaid, Problem, View};
use crate::exam::context::Context;
use crate::exam::event::Outcome;
use crate::exam::fold::{Exam, LoggedCall, LoggedUtterance, Note};
use crate::knowledge::check::evidence::{Evidence, Hit, said, words_of};
use crate::knowledge::doubt::doubtful;
use crate::knowledge::rows::setting_text;
use crate::language::closed_sets::Class;
use crate::protocol::{Plane, Protocols};

/// The setting that says where the probe's marker points.
const MARKER: &str = "marker";

/// The parts of the place that are not set, in words; empty when all of them are.
pub(super) fn lacking(context: &Context, wanted: &[&str]) -> String {
    let parts = [
        ("limb", context.place.limb.is_none()),
        ("zone", context.place.zone.is_none()),
        ("plane", context.place.plane.is_none()),
        ("structure", context.place.structure.is_none()),
    ];
    let lacks = |part: &&(&str, bool)| part.1 && wanted.contains(&part.0);
    let names: Vec<&str> = parts.iter().filter(lacks).map(|part| part.0).collect();
    names.join(" or ")
}

pub(super) fn problem(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls() {
        for problem in &call.problems {
            hits.push(Hit::call(call, format!("`{}`: {}", words_of(call), evidence.in_words(problem))));
        }
    }
    hits
}

/// A correction that nobody confirmed and that changed what was said long before it.
pub(super) fn correction_reach(evidence: &Evidence) -> Vec<Hit> {
    let limit_s = evidence.protocols.rules.habits.correction_reach_s;
    let mut hits = Vec::new();
    let corrections =
        evidence.exam.calls.iter().filter(|call| call.call.corrects && call.withdrawn_by.is_none());
    for call in corrections {
        let corrected = evidence.exam.calls.iter().filter(|other| other.corrected_by.contains(&call.seq));
        let Some(first) = corrected.min_by_key(|other| other.sample) else { continue };
        let back_s = clock::seconds(call.sample.since(first.sample));
        let mut heard = evidence.exam.utterances.iter().filter(|heard| heard.seq == call.heard_seq);
        if back_s > limit_s && !heard.any(|heard| heard.settled) {
            let message = format!(
                "`{}` corrected `{}`, said {back_s:.0} s before it, and all that followed: {}",
                call.call.words,
                words_of(first),
                evidence.by_ear("listen and check that this was meant")
            );
            hits.push(Hit { at: Some(call.said_at), ..Hit::call(first, message) });
        }
    }
    hits
}

/// Problems of utterances that were taken all the same; those that were not understood have one summary.
pub(super) fn utterance_problem(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for utterance in evidence.exam.utterances.iter().filter(|utterance| !utterance.is_open()) {
        for problem in &utterance.problems {
            let message = format!("`{}`: {}", utterance.words, evidence.in_words(problem));
            hits.push(Hit { at: Some(utterance.said_at), ..Hit::new(message) });
        }
    }
    hits
}

/// A question at the horse that nobody answered: what was heard was not acted on.
pub(super) fn question_unanswered(evidence: &Evidence) -> Vec<Hit> {
    let exam = evidence.exam;
    let within_s = evidence.protocols.rules.habits.correction_reach_s;
    let asked = exam.utterances.iter().filter(|heard| heard.outcome == Outcome::Asked && heard.is_open());
    let mut hits = Vec::new();
    for heard in asked.filter(|heard| !was_said_since(exam, heard, within_s)) {
        let (line, at_s) = (heard.seq, heard.span.seconds().0);
        for problem in &heard.problems {
            let Problem { message, help } = problem;
            let message = format!(
                "line {line}, {at_s:.1} s into the exam: {message}; nobody answered, so it changed nothing: {help}"
            );
            hits.push(Hit { at: Some(heard.said_at), ..Hit::new(message) });
        }
    }
    hits
}

/// What was asked about was said again at the same place, so soon that it can be nothing else, or a person added a call where it was said.
fn was_said_since(exam: &Exam, asked: &LoggedUtterance, within_s: f64) -> bool {
    let has = |words: &str, reading: &String| format!(" {words} ").contains(&format!(" {reading} "));
    let readings = || asked.rivals.iter().chain([&asked.words]);
    let again = exam.utterances.iter().any(|heard| {
        let is_soon = heard.span.from > asked.span.to
            && clock::seconds(heard.span.from.since(asked.span.to)) <= within_s;
        let counts = || exam.standing_calls().any(|call| call.heard_seq == heard.seq);
        // "Save" at the next place is another save.
        let moves = |call: &LoggedCall| {
            let between = call.sample > asked.span.to && call.sample < heard.span.from;
            between && matches!(&call.act, Act::View(view) if view.limb.is_some() || view.zone.is_some())
        };
        let is_here = || !exam.standing_calls().any(moves);
        is_soon && readings().any(|reading| has(&heard.words, reading)) && counts() && is_here()
    });
    let is_there = |call: &LoggedCall| call.sample >= asked.span.from && call.sample <= asked.span.to;
    again || exam.standing_calls().any(|call| call.is_added() && is_there(call))
}

/// The words of a note as a machine wrote them, which nobody has confirmed or corrected.
pub(super) fn note_draft_unread(evidence: &Evidence) -> Vec<Hit> {
    let exam = evidence.exam;
    let unread = exam.notes.iter().filter(|note| note.draft.is_some() && exam.note_text(note.seq).is_none());
    let hit = |note: &Note| {
        let what = if note.conclusion { "the conclusion" } else { "a free note" };
        let message = format!(
            "the words of {what} {:.1} s into the exam are a draft that nobody has read: {}",
            note.span.from.seconds(),
            evidence.by_ear("listen, then confirm or correct them at the desk or with `zonecall notes`")
        );
        let at = Some(exam.instant_of(note.span.from));
        Hit { call_seq: Some(note.seq), at, ..Hit::new(message) }
    };
    unread.map(hit).collect()
}

/// A structure outside its zones is kept and asked about.
pub(super) fn structure_outside_zones(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls() {
        let named = match &call.act {
            Act::View(view) => &view.structure,
            // What was looked for and is not there may be said anywhere.
            Act::Finding(finding) if finding.class != Class::Negative => &finding.structure,
            _ => continue,
        };
        let Some(structure) = named else { continue };
        let known = evidence.protocols.structure(structure);
        let limb = call.context.place.limb.as_ref().and_then(|code| evidence.protocols.limb(code));
        if let (Some(known), Some(limb)) = (known, limb)
            && !known.is_of(&limb.group)
        {
            let message = format!(
                "the {} is not a structure of the {}; was the limb or the structure misheard?",
                known.name, limb.name
            );
            hits.push(Hit::call(call, message));
            continue;
        }
        let Some((_, zone)) = evidence.zone_of(call) else { continue };
        if !known.is_some_and(|known| known.anywhere) && !evidence.protocols.expects(zone, structure) {
            let message = format!(
                "the {} is not expected in zone {} of the {}; was the zone or the structure misheard?",
                known.map_or(structure.as_str(), |known| &known.name),
                zone.code,
                limb.map_or("limb", |limb| &limb.name)
            );
            hits.push(Hit::call(call, message));
        }
    }
    hits
}

fn findings<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = (&'a LoggedCall, &'a FindingSaid)> {
    evidence.exam.standing_calls().filter_map(|call| match &call.act {
        Act::Finding(seen) => Some((call, seen)),
        _ => None,
    })
}

/// A lesion with an extent, or what else contradicts "no lesion", such as a tear.
fn is_of_one_structure(seen: &FindingSaid, protocols: &Protocols) -> bool {
    let is_denied = || protocols.rules.denial.iter().any(|denial| denial.findings.contains(&seen.term));
    protocols.measuring.has_extent(&seen.term)
        || (seen.class == Class::Lesion && seen.structure.is_none() && is_denied())
}

pub(super) fn finding_without_place(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for (call, seen) in findings(evidence) {
        // "Normal" may speak of all that is seen; a lesion is of one structure, and counts for none without it.
        let wanted: &[&str] = if is_of_one_structure(seen, evidence.protocols) {
            &["limb", "zone", "structure"]
        } else {
            &["limb", "zone"]
        };
        let lacking = lacking(&call.context, wanted);
        if !lacking.is_empty() {
            let message = format!("{} with no {lacking} set", said(call));
            hits.push(Hit::call(call, message));
        }
    }
    hits
}

pub(super) fn save_without_place(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls().filter(|call| call.act.is_save()) {
        let lacking = lacking(&call.context, &["limb", "zone", "plane"]);
        if !lacking.is_empty() {
            let message = format!("a still was saved with no {lacking} set; label it by hand");
            hits.push(Hit::call(call, message));
        }
    }
    hits
}

/// An utterance that was not understood may have been the call of another view.
pub(super) fn save_after_unheard(evidence: &Evidence) -> Vec<Hit> {
    let doubtful = doubtful(evidence.exam);
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls().filter(|call| call.act.is_save()) {
        if let Some(utterance) = doubtful.get(&call.seq).filter(|heard| !heard.is_note_with_call()) {
            let at_s = utterance.span.seconds().0;
            let message = format!(
                "a still was saved after a phrase that was not understood ({at_s:.1} s into the audio), and no zone \
                 was called in between; if that phrase named a new view, this label is wrong: {}",
                evidence.by_ear("listen")
            );
            // At the doubtful utterance: that is what needs listening to.
            hits.push(Hit { at: Some(utterance.said_at), ..Hit::call(call, message) });
        }
    }
    hits
}

/// A note that holds a save, a limb or a zone: what it named did not take effect, and the label after it is the one before.
pub(super) fn call_in_note(evidence: &Evidence) -> Vec<Hit> {
    let doubtful = doubtful(evidence.exam);
    let labels = |call: &LoggedCall| {
        call.act.is_save() || evidence.frames.iter().any(|frame| frame.call_seq == Some(call.seq))
    };
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls().filter(|call| labels(call)) {
        if let Some(note) = doubtful.get(&call.seq).filter(|heard| heard.is_note_with_call()) {
            let message = format!(
                "a still has a label from before the note at {:.1} s into the audio, and no zone was called since: `{}`; \
                 if a call was among these words, this label is wrong: {}",
                note.span.seconds().0,
                note.words,
                evidence.by_ear("listen")
            );
            hits.push(Hit { at: Some(note.said_at), ..Hit::call(call, message) });
        }
    }
    hits
}

/// A phrase that was not understood and named a limb, or corrected one side by the other: each at its moment.
///
/// It is no matter any more where the limb was called soon afterwards.
pub(super) fn limb_unheard(evidence: &Evidence) -> Vec<Hit> {
    let within_s = evidence.protocols.rules.habits.correction_reach_s;
    let names_limb = |call: &LoggedCall| matches!(&call.act, Act::View(view) if view.limb.is_some());
    let mut hits = Vec::new();
    for heard in evidence.exam.utterances.iter().filter(|heard| heard.outcome == Outcome::NotUnderstood) {
        let mut readings = heard.rivals.iter().chain([&heard.words]);
        if !heard.is_open() || !readings.any(|reading| speaks_of_limb(reading, evidence.protocols)) {
            continue;
        }
        let is_soon = |call: &&LoggedCall| {
            call.sample > heard.span.to && clock::seconds(call.sample.since(heard.span.to)) <= within_s
        };
        if evidence.exam.standing_calls().filter(is_soon).any(names_limb) {
            continue;
        }
        let at_s = heard.span.seconds().0;
        let message = format!(
            "`{}`, said {at_s:.1} s into the audio, was not understood and names a side: if it was a limb, everything after it \
             is on the wrong one; {}",
            heard.words,
            evidence.by_ear("listen, and correct the limb by hand")
        );
        hits.push(Hit { at: Some(heard.said_at), ..Hit::new(message) });
    }
    hits
}

/// A side and what it is a side of, or both sides of a pair.
fn speaks_of_limb(words: &str, protocols: &Protocols) -> bool {
    let says = |word: &str| words.split_whitespace().any(|said| said == word);
    let names_pair =
        || protocols.limbs.iter().filter_map(|limb| limb.name.split_whitespace().last()).any(says);
    protocols.rules.habits.sides.iter().any(|pair| {
        let sides = pair.iter().filter(|side| says(side)).count();
        sides > 1 || (sides == 1 && names_pair())
    })
}

pub(super) fn finding_unconfirmed(evidence: &Evidence) -> Vec<Hit> {
    let unconfirmed = findings(evidence).filter(|(_, seen)| seen.unconfirmed);
    let remedy = evidence.by_ear("listen to it, or use the score");
    let message = |term: &str| format!("`{term}` is easily misheard as its opposite; {remedy}");
    unconfirmed.map(|(call, seen)| Hit::call(call, message(&seen.term))).collect()
}

/// "No flow", while Doppler was off or never switched on.
pub(super) fn denied_without_setting(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for (call, seen) in findings(evidence).filter(|(_, seen)| seen.class == Class::Negative) {
        for needed in evidence.protocols.rules.habits.denied_with.iter().filter(|one| one.term == seen.term) {
            let state = call.context.settings.get(&needed.setting).map(setting_text);
            let names_it = || call.call.words.split_whitespace().any(|word| word == needed.setting);
            let message = match state {
                Some(state) if state == needed.state => continue,
                Some(state) => format!("{} while {} was {state}", said(call), needed.setting),
                None if names_it() => continue,
                None => {
                    let (setting, state) = (&needed.setting, &needed.state);
                    format!("{}, but `{setting} {state}` was never called on this limb", said(call))
                }
            };
            hits.push(Hit::call(call, format!("{message}; without it nothing can be said of that")));
        }
    }
    hits
}

pub(super) fn foreign_position(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for (call, seen) in findings(evidence) {
        let Some(limb) = call.context.place.limb.as_ref().and_then(|code| evidence.protocols.limb(code))
        else {
            continue;
        };
        for direction in seen.position.iter().filter(|direction| limb.foreign_positions.contains(direction)) {
            let message = format!(
                "`{direction}` does not exist on the {}; was the limb or the position misheard?",
                limb.name
            );
            hits.push(Hit::call(call, message));
        }
    }
    for call in evidence.exam.standing_calls() {
        let Act::View(View { place: Some(place), .. }) = &call.act else { continue };
        let limb = call.context.place.limb.as_ref().and_then(|code| evidence.protocols.limb(code));
        let Some(limb) =
            limb.filter(|limb| limb.foreign_landmarks.iter().any(|other| place.ends_with(other)))
        else {
            continue;
        };
        let message =
            format!("`{place}` does not exist on the {}; was the limb or the landmark misheard?", limb.name);
        hits.push(Hit::call(call, message));
    }
    hits
}

/// A marker against the convention of the current plane, or of every plane while none is.
pub(super) fn marker_unusual(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls() {
        let Act::Setting(setting) = &call.act else { continue };
        let Some(state) = setting.state.as_ref().filter(|_| setting.slot == MARKER) else { continue };
        let in_force =
            |plane: &&Plane| call.context.place.plane.as_ref().is_none_or(|code| *code == plane.code);
        let planes: Vec<&Plane> = evidence.protocols.planes.iter().filter(in_force).collect();
        let limb = call.context.place.limb.as_ref().and_then(|code| evidence.protocols.limb(code));
        let side = limb.map(|limb| limb.side.as_str());
        let is_usual = |plane: &&Plane| plane.marker.usual(side).contains(&state.as_str());
        if planes.is_empty() || planes.iter().any(is_usual) {
            continue;
        }
        let usual: Vec<String> = planes
            .iter()
            .map(|plane| format!("{} in {} views", plane.marker.in_words(side), plane.name))
            .collect();
        let message = format!("the marker was called `{state}`; the usual one is {}", usual.join(", "));
        hits.push(Hit::call(call, message));
    }
    hits
}
