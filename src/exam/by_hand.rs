//! Carries out what a person changed afterwards.
//!
//! Takes: the exam with its calls and changes.
//! Gives: the same calls added to, moved, withdrawn, corrected and placed by the changes that count.
//! Never: removes what was said or an earlier change; the later one counts, both are kept.
//! Tested in: `tests/it/review_events.rs`.

use chrono::DateTime;

use crate::clock::{Sample, Span};
use crate::exam::call::{Act, Call, Command};
use crate::exam::context::Context;
use crate::exam::logged::{Exam, LoggedCall, LoggedChange};
use crate::exam::review::Change;
use crate::exam::seq::Seq;

/// Marks the changes, the typed and traced values, and the signature that later changes take back.
///
/// The latest speaks first, so that taking back can itself be taken back.
pub(super) fn settle_changes(exam: &mut Exam) {
    for idx in (0..exam.changes.len()).rev() {
        let taking = &exam.changes[idx];
        let (Change::TakeBack { seq }, None) = (&taking.review.change, taking.taken_back_by) else {
            continue;
        };
        let (target, by) = (*seq, taking.seq);
        // Only what was written before it: a line that names itself or a later one takes nothing back.
        for earlier in exam.changes[..idx].iter_mut().filter(|earlier| earlier.seq == target) {
            earlier.taken_back_by = Some(by);
        }
        if let Some(signed) = exam.signed.as_mut().filter(|signed| signed.seq == target && target < by) {
            signed.taken_back_by = Some(by);
        }
        exam.entries.retain(|entry| entry.seq != target || entry.seq > by);
    }
}

/// Withdraws spoken calls that take back others, before they are carried out.
pub(super) fn withdraw_take_backs(exam: &mut Exam) {
    withdraw(exam, |act| matches!(act, Act::Command(Command::TakeBack { .. })));
}

/// Withdraws all other calls, once what was spoken has taken back what it counted.
pub(super) fn withdraw_rest(exam: &mut Exam) {
    withdraw(exam, |act| !matches!(act, Act::Command(Command::TakeBack { .. })));
}

fn withdraw(exam: &mut Exam, of: impl Fn(&Act) -> bool) {
    let Exam { calls, changes, .. } = exam;
    for (by, change) in standing(changes) {
        if let Change::Withdraw { seq } = change
            && let Some(call) = calls.iter_mut().find(|call| call.seq == *seq && of(&call.call.act))
        {
            call.withdrawn_by = Some(by);
        }
    }
}

/// Adds calls and moves them in time.
pub(super) fn add_and_move(exam: &mut Exam) {
    let changes: Vec<LoggedChange> = exam.standing_changes().cloned().collect();
    for logged in changes {
        let (sample, mut call) = match logged.review.change {
            Change::Add { sample, act } => (sample, added(logged.seq, sample, act)),
            Change::Move { seq, sample } => {
                let Some(idx) = exam.calls.iter().position(|call| call.seq == seq) else { continue };
                let mut call = exam.calls.remove(idx);
                call.corrected_by.push(logged.seq);
                (sample, call)
            }
            _ => continue,
        };
        (call.sample, call.said_at) = (sample, exam.instant_of(sample));
        exam.calls.push(call);
    }
    // Stable: of two calls at one moment the one that was said first, or added first, comes first.
    exam.calls.sort_by_key(|call| call.sample);
}

/// A call that nobody heard: no words, no sound, and its own line where others have their utterance's.
fn added(seq: Seq, sample: Sample, act: Act) -> LoggedCall {
    let span = Span { from: sample, to: sample };
    LoggedCall {
        seq,
        heard_seq: seq,
        sample,
        said_at: DateTime::default(),
        call: Call {
            act: act.clone(),
            corrects: false,
            reach: None,
            words: String::new(),
            span,
            confidence: 1.0,
        },
        act,
        context: Context::default(),
        withdrawn_by: None,
        corrected_by: Vec::new(),
        problems: Vec::new(),
    }
}

/// Corrects calls; a person's change takes precedence over a spoken correction.
pub(super) fn correct(exam: &mut Exam) {
    let Exam { calls, changes, .. } = exam;
    for (by, change) in standing(changes) {
        if let Change::Call { seq, act } = change
            && let Some(call) = calls.iter_mut().find(|call| call.seq == *seq)
        {
            call.act = act.clone();
            call.corrected_by.push(by);
        }
    }
    // A score typed without its scale is one of this exam's.
    for call in exam.calls.iter_mut().filter(|call| call.is_added() || !call.corrected_by.is_empty()) {
        if let Act::Value(value) = &mut call.act
            && value.said.scale.is_none()
        {
            value.said.scale = exam.header.scales.get(&value.term).cloned();
        }
    }
}

/// Sets the place of single calls, which changes nothing after them.
pub(super) fn place(exam: &mut Exam) {
    let Exam { calls, changes, .. } = exam;
    for (by, change) in standing(changes) {
        if let Change::Place { seq, place } = change
            && let Some(call) = calls.iter_mut().find(|call| call.seq == *seq)
        {
            let context = &mut call.context;
            set(&mut context.place.limb, place.limb.as_ref());
            set(&mut context.place.zone, place.zone.as_ref());
            set(&mut context.place.plane, place.plane.as_ref());
            set(&mut context.place.structure, place.structure.as_ref());
            call.corrected_by.push(by);
        }
    }
}

/// Sets a part of a place where it was wrong.
fn set<C: Clone>(part: &mut Option<C>, right: Option<&C>) {
    if right.is_some() {
        *part = right.cloned();
    }
}

/// The changes that were not taken back, each with the number of its line.
fn standing(changes: &[LoggedChange]) -> impl Iterator<Item = (Seq, &Change)> {
    let kept = changes.iter().filter(|logged| logged.taken_back_by.is_none());
    kept.map(|logged| (logged.seq, &logged.review.change))
}
