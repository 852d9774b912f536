//! Which findings a person has settled: accepted as they are, or answered by a label of the still that they ask about.
//!
//! Takes: the exam with its changes, what was found, and the labelled stills.
//! Gives: who settled each finding, when and why.
//! Never: lets an acceptance cover what was changed after it, or one of several findings that it may have meant.
//! Tested in: `tests/it/settled.rs`.

use crate::exam::fold::{Exam, LoggedChange};
use crate::exam::review::Change;
use crate::exam::seq::Seq;
use crate::frames::pair::pair;
use crate::knowledge::label::labels;
use crate::knowledge::record::{Finding, FrameRow, SettledRow, Status};
use crate::protocol::Protocols;

/// Whether the change accepts this very finding, in its own words.
pub(crate) fn accepts(change: &Change, finding: &Finding) -> bool {
    matches!(change, Change::Looked { finding: words, .. } if *words == finding.message)
        && points_at(change, finding)
}

/// Notes with each finding who settled it.
pub(crate) fn note_settled(
    exam: &Exam,
    findings: &mut [Finding],
    frames: &[FrameRow],
    protocols: &Protocols,
) {
    let label_settles =
        |finding: &&Finding| protocols.rules.rule(&finding.rule).is_some_and(|rule| rule.label_settles);
    // Pairing is looked at again only where that may answer something.
    let relabelled =
        if findings.iter().any(|finding| label_settles(&finding)) { relabelled(exam) } else { Vec::new() };
    let settle = |finding: &Finding| {
        let tied =
            || Some(finding).filter(label_settles).and_then(|one| tied(exam, one, frames, &relabelled));
        accepted(exam, finding, findings).or_else(tied).map(row)
    };
    let settled: Vec<Option<SettledRow>> = findings.iter().map(settle).collect();
    for (finding, settled) in findings.iter_mut().zip(settled) {
        finding.settled = settled;
    }
}

fn row(logged: &LoggedChange) -> SettledRow {
    SettledRow {
        seq: logged.seq,
        at: logged.at,
        by: logged.review.by.clone(),
        why: logged.review.why.clone(),
    }
}

/// The last change that accepts it: in the same words, or in others while it is surely the same finding.
fn accepted<'a>(exam: &'a Exam, finding: &Finding, all: &[Finding]) -> Option<&'a LoggedChange> {
    exam.standing_changes().rev().find(|logged| {
        let change = &logged.review.change;
        accepts(change, finding)
            || accepts_reworded(change, finding, all) && !changed_since(exam, finding, logged.seq)
    })
}

/// The same rule about the same thing; where nothing is pointed at, the figures of the finding must be among those that were
/// accepted, in their order.
fn accepts_reworded(change: &Change, finding: &Finding, all: &[Finding]) -> bool {
    let Change::Looked { finding: words, seq, still, .. } = change else { return false };
    let is_sole = || all.iter().filter(|other| points_at(change, other)).count() == 1;
    let is_pointed = seq.is_some() || still.is_some();
    points_at(change, finding)
        && is_sole()
        && (is_pointed || holds(&figures(words), &figures(&finding.message)))
}

/// Journals from before the place was written name none.
fn points_at(change: &Change, finding: &Finding) -> bool {
    let Change::Looked { rule, seq, still, place, .. } = change else { return false };
    (rule, seq, still) == (&finding.rule, &finding.call_seq, &finding.frame)
        && (place.is_none() || *place == finding.place)
}

/// The words of a sentence that hold a digit: numbers and zones.
fn figures(words: &str) -> Vec<&str> {
    let apart = |letter: char| !letter.is_alphanumeric() && letter != '.';
    let figures = words.split(apart).map(|word| word.trim_matches('.'));
    figures.filter(|word| word.contains(|letter: char| letter.is_ascii_digit())).collect()
}

/// Whether all of these are among the others, in this order.
fn holds(all: &[&str], these: &[&str]) -> bool {
    let mut all = all.iter();
    these.iter().all(|one| all.any(|other| other == one))
}

/// Whether its call or its still was changed after this line, or such a change was taken back.
fn changed_since(exam: &Exam, finding: &Finding, line: Seq) -> bool {
    let of_still = |still: Option<&str>| still.is_some() && still == finding.frame.as_deref();
    let changed = exam.changes.iter().any(|logged| {
        let is_acceptance = matches!(logged.review.change, Change::Looked { .. });
        let (seq, still) = logged.review.change.target();
        let is_later = logged.seq > line || logged.taken_back_by.is_some_and(|by| by > line);
        let of_call = seq.is_some() && seq == finding.call_seq;
        is_later && !is_acceptance && (of_call || of_still(still))
    });
    changed || exam.entries.iter().any(|entry| entry.seq > line && of_still(entry.entered.still.as_deref()))
}

/// The stills whose labels a person wrote, each with the call that it would be paired with otherwise.
fn relabelled(exam: &Exam) -> Vec<(&str, Seq)> {
    let by_hand = |logged: &LoggedChange| matches!(logged.review.change, Change::Label { .. });
    if !exam.standing_changes().any(by_hand) {
        return Vec::new();
    }
    let mut unlabelled = exam.clone();
    unlabelled.changes.retain(|logged| !by_hand(logged));
    let labels = labels(&unlabelled, &pair(&unlabelled, &unlabelled.frames));
    let calls = exam.frames.iter().zip(labels);
    calls.filter_map(|(frame, label)| Some((frame.id.as_str(), label.call_seq?))).collect()
}

/// The change that labelled the still of this save call by hand: by its call, or whatever was said.
fn tied<'a>(
    exam: &'a Exam,
    finding: &Finding,
    frames: &[FrameRow],
    relabelled: &[(&str, Seq)],
) -> Option<&'a LoggedChange> {
    let seq = finding.call_seq?;
    let is_its = |row: &&FrameRow| {
        let written = row.status == Status::Hand && row.call_seq.is_none();
        row.call_seq == Some(seq) || written && relabelled.contains(&(row.id.as_str(), seq))
    };
    let stills: Vec<&FrameRow> = frames.iter().filter(is_its).collect();
    if stills.is_empty() || stills.iter().any(|row| row.status != Status::Hand) {
        return None;
    }
    exam.standing_changes().rev().find(|logged| match &logged.review.change {
        Change::Pair { seq: paired, .. } => *paired == seq,
        Change::Label { still, .. } => stills.iter().any(|row| row.id == *still),
        _ => false,
    })
}
