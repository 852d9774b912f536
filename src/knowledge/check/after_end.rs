//! Rules about what was said after "end of exam".
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order in which the ends were said.
//! Never: decides whether it was meant for the exam.
//! Tested in: `tests/it/rules/after_end.rs`.

use crate::exam::call::{Act, Command};
use crate::exam::event::Outcome;
use crate::exam::fold::{LoggedCall, LoggedUtterance};
use crate::knowledge::check::evidence::{Evidence, Hit};

fn is_end(call: &LoggedCall) -> bool {
    call.act == Act::Command(Command::EndOfExam)
}

/// What was called: not what was added by hand since, nor the answer to "end anyway?".
fn said<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = &'a LoggedCall> {
    evidence.exam.standing_calls().filter(|call| !call.is_added() && call.act.changes_exam())
}

/// Phrases that were not acted on because the exam had ended.
pub(super) fn unheard(evidence: &Evidence) -> Vec<Hit> {
    let exam = evidence.exam;
    let end_of = |heard: &LoggedUtterance| {
        let before = said(evidence).filter(|call| call.sample < heard.span.from);
        before.last().filter(|call| is_end(call))
    };
    let may_be_call = |heard: &&LoggedUtterance| {
        heard.outcome == Outcome::Ignored
            && !heard.rejected
            && !heard.words.is_empty()
            && heard.problems.is_empty()
    };
    let late: Vec<(&LoggedCall, &LoggedUtterance)> = exam
        .utterances
        .iter()
        .filter(may_be_call)
        .filter_map(|heard| Some((end_of(heard)?, heard)))
        .collect();
    let hit = |of_end: &[(&LoggedCall, &LoggedUtterance)]| {
        let (end, first) = of_end.first()?;
        let phrases =
            if of_end.len() == 1 { "1 phrase".to_owned() } else { format!("{} phrases", of_end.len()) };
        let message = format!(
            "{phrases} after `end of exam` at {:.1} s into the audio changed nothing, from {:.1} s on; {}",
            end.call.span.seconds().0,
            first.span.seconds().0,
            evidence.by_ear("listen, and add what was meant for the exam")
        );
        Some(Hit { at: Some(first.said_at), ..Hit::call(end, message) })
    };
    late.chunk_by(|a, b| a.0.seq == b.0.seq).filter_map(hit).collect()
}

/// An end that calls follow: they count, and may have been meant for somebody else.
pub(super) fn went_on(evidence: &Evidence) -> Vec<Hit> {
    let calls: Vec<&LoggedCall> = said(evidence).collect();
    let mut hits = Vec::new();
    for (idx, end) in calls.iter().enumerate().filter(|(_, call)| is_end(call)) {
        let after = calls[idx + 1..].iter().filter(|call| !is_end(call)).count();
        let Some(next) = calls.get(idx + 1).filter(|_| after > 0) else { continue };
        let calls = if after == 1 { "1 call".to_owned() } else { format!("{after} calls") };
        let message = format!(
            "`end of exam` was said {:.1} s into the audio, and {calls} after it count, from {:.1} s on; take back \
             what was not meant for the exam",
            end.call.span.seconds().0,
            next.call.span.seconds().0
        );
        hits.push(Hit::call(end, message));
    }
    hits
}
