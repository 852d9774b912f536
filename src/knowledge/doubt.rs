//! Labels that hang on an utterance which was not understood or taken for a note, or on a call that something was found against.
//!
//! Takes: `Exam`, and what was found.
//! Gives: for each call in doubt, the utterance that may have moved on without the program; with each label, what speaks
//! against it.
//! Never: guesses what the utterance meant; a person listens.
//! Tested in: `tests/it/knowledge.rs`.

use std::collections::{BTreeMap, BTreeSet};

use crate::exam::call::{Act, View};
use crate::exam::fold::{Exam, LoggedUtterance};
use crate::exam::seq::Seq;
use crate::knowledge::record::{CallRow, Finding, FrameRow, Status};
use crate::protocol::Protocols;

/// The rule about clocks that jumped: what it finds speaks against every still that was saved later.
pub(crate) const CLOCK_JUMPED: &str = "clock-jumped";
/// Rules that speak of a still's label once, whatever files show it.
const OF_LABEL: [&str; 6] = [
    "clock-after-restart",
    "still-label-incomplete",
    "still-unsure",
    "still-of-one-time",
    "still-of-two-scanners",
    "still-of-one-picture",
];
/// The most that a label is trusted which hangs on such an utterance; our own choice.
pub(crate) const DOUBTFUL: f64 = 0.5;

/// By `seq` of the call: the last utterance before it that was not understood, or was a note and held what may be a call, if
/// no zone or limb was called since.
///
/// It may have been the call of another view: then everything until the next zone has the wrong label.
/// A limb that was not understood is not seen past the next zone.
#[must_use]
pub(crate) fn doubtful(exam: &Exam) -> BTreeMap<Seq, &LoggedUtterance> {
    let moving = moving(exam);
    let mut unheard =
        exam.utterances.iter().filter(|heard| heard.is_open() || heard.is_note_with_call()).peekable();
    let mut last = None;
    let mut found = BTreeMap::new();
    // By time, not by line: a call that a person added or moved has its line long after the exam.
    for call in &exam.calls {
        while let Some(utterance) = unheard.next_if(|utterance| utterance.span.from <= call.sample) {
            last = Some(utterance);
        }
        if moving.contains(&call.seq) {
            last = None;
        }
        if let Some(utterance) = last {
            found.insert(call.seq, utterance);
        }
    }
    found
}

/// The calls that name a limb or a zone.
fn moving(exam: &Exam) -> BTreeSet<Seq> {
    let moves = |act: &Act| matches!(act, Act::View(view) if view.limb.is_some() || view.zone.is_some());
    exam.standing_calls().filter(|call| moves(&call.act)).map(|call| call.seq).collect()
}

/// By `seq` of the call: the calls up to it that its place hangs on, the last one for each of its parts, and itself.
fn hangs_on(exam: &Exam) -> BTreeMap<Seq, [Option<Seq>; 5]> {
    let counted: BTreeSet<Seq> = exam.standing_calls().map(|call| call.seq).collect();
    let mut parts = [None; 4];
    let mut found = BTreeMap::new();
    for call in &exam.calls {
        if let Act::View(View { limb, zone, plane, structure, .. }) = &call.act
            && counted.contains(&call.seq)
        {
            let named = [limb.is_some(), zone.is_some(), plane.is_some(), structure.is_some()];
            for (part, _) in parts.iter_mut().zip(named).filter(|(_, named)| *named) {
                *part = Some(call.seq);
            }
        }
        let [limb, zone, plane, structure] = parts;
        found.insert(call.seq, [limb, zone, plane, structure, Some(call.seq)]);
    }
    found
}

/// Puts what was found against a label next to the label; what a person has settled or looked at is in no doubt.
///
/// What is found against a call that named a part of the place speaks against every label that hangs on it.
pub(crate) fn put_doubts(
    exam: &Exam,
    findings: &[Finding],
    protocols: &Protocols,
    frames: &mut [FrameRow],
    calls: &mut [CallRow],
) {
    let hangs_on = hangs_on(exam);
    let put = |doubt: &mut Vec<String>, words: &String| {
        if !doubt.contains(words) {
            doubt.push(words.clone());
        }
    };
    for finding in findings.iter().filter(|finding| finding.settled.is_none()) {
        let Some(words) = protocols.rules.rule(&finding.rule).and_then(|rule| rule.doubt.as_ref()) else {
            continue;
        };
        for frame in frames.iter_mut().filter(|row| !matches!(row.status, Status::Hand | Status::LeftOut)) {
            let on = frame.call_seq.and_then(|seq| hangs_on.get(&seq));
            let by_call = finding.call_seq.is_some() && on.is_some_and(|on| on.contains(&finding.call_seq));
            let later = || finding.at.is_some() && frame.saved_at_exam >= finding.at;
            let by_time = finding.rule == CLOCK_JUMPED && later();
            let copies_it = || finding.frame.is_some() && finding.frame == frame.copy_of;
            let by_copy = OF_LABEL.contains(&finding.rule.as_str()) && copies_it();
            if by_call || by_time || by_copy || finding.frame.as_ref() == Some(&frame.id) {
                put(&mut frame.doubt, words);
            }
        }
        for call in calls.iter_mut().filter(|call| finding.call_seq == Some(call.seq)) {
            put(&mut call.doubt, words);
        }
    }
}
