//! Labels that hang on a breath which was not understood, or on a call that something was found against.
//!
//! Takes: `Exam`, and what was found.
//! Gives: for each call in doubt, the breath that may have moved on without the program; beside each label, what speaks
//! against it.
//! Never: guesses what the breath meant; a person listens.
//! Tested in: `tests/knowledge.rs`.

use std::collections::{BTreeMap, BTreeSet};

use crate::exam::call::Act;
use crate::exam::fold::{Breath, Exam};
use crate::knowledge::coverage::live;
use crate::knowledge::record::{CallRow, Finding, FrameRow, Status};
use crate::protocol::Protocols;

/// The most that a label is trusted which hangs on such a breath; our own choice.
pub(crate) const DOUBTFUL: f64 = 0.5;

/// By `seq` of the call: the last breath before it that was not understood, if no zone or limb was called since.
///
/// It may have been the call of another view: then everything until the next zone has the wrong label.
/// A limb that was not understood is not seen past the next zone.
#[must_use]
pub(crate) fn doubtful(exam: &Exam) -> BTreeMap<u64, &Breath> {
    let moving = moving(exam);
    let mut unheard = exam.breaths.iter().filter(|breath| breath.is_open()).peekable();
    let mut last = None;
    let mut found = BTreeMap::new();
    // Calls and breaths both stand in the order of the journal.
    for call in &exam.calls {
        while let Some(breath) = unheard.next_if(|breath| breath.seq < call.seq) {
            last = Some(breath);
        }
        if moving.contains(&call.seq) {
            last = None;
        }
        if let Some(breath) = last {
            found.insert(call.seq, breath);
        }
    }
    found
}

/// The calls that name a limb or a zone.
fn moving(exam: &Exam) -> BTreeSet<u64> {
    let moves = |act: &Act| matches!(act, Act::View(view) if view.limb.is_some() || view.zone.is_some());
    live(exam).filter(|call| moves(&call.act)).map(|call| call.seq).collect()
}

/// By `seq` of the call: the last one up to it that named a limb or a zone, on which its place hangs.
fn place_from(exam: &Exam) -> BTreeMap<u64, u64> {
    let moving = moving(exam);
    let mut last = None;
    let mut found = BTreeMap::new();
    for call in &exam.calls {
        if moving.contains(&call.seq) {
            last = Some(call.seq);
        }
        found.extend(last.map(|last| (call.seq, last)));
    }
    found
}

/// Puts what was found against a label beside the label; one that a person has settled is in no doubt.
///
/// What is found against a call that named the place speaks against every label that hangs on it.
pub(crate) fn put_doubts(
    exam: &Exam,
    findings: &[Finding],
    protocols: &Protocols,
    frames: &mut [FrameRow],
    calls: &mut [CallRow],
) {
    let place_from = place_from(exam);
    let put = |doubt: &mut Vec<String>, words: &String| {
        if !doubt.contains(words) {
            doubt.push(words.clone());
        }
    };
    for finding in findings {
        let Some(words) = protocols.rules.rule(&finding.rule).and_then(|rule| rule.doubt.as_ref()) else {
            continue;
        };
        for frame in frames.iter_mut().filter(|row| !matches!(row.status, Status::Hand | Status::LeftOut)) {
            let own = [frame.call_seq, frame.call_seq.and_then(|seq| place_from.get(&seq).copied())];
            let by_call = finding.call_seq.is_some() && own.contains(&finding.call_seq);
            if by_call || finding.frame.as_ref() == Some(&frame.id) {
                put(&mut frame.doubt, words);
            }
        }
        for call in calls.iter_mut().filter(|call| finding.call_seq == Some(call.seq)) {
            put(&mut call.doubt, words);
        }
    }
}
