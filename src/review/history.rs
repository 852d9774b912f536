//! Everything that people did to an exam, in words: who, when and what, the signature included.
//!
//! Takes: the journal's lines and the exam that they make.
//! Gives: `Deed`s, oldest first; one that was taken back is still there.
//! Never: leaves out what was taken back, or names a thing by a code where the protocols have a word.
//! Tested in: `tests/it/review.rs` and `tests/it/review_browser/history.rs`.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::Serialize;

use crate::clock::Sample;
use crate::exam::event::{Entered, Event, ExamEvent};
use crate::exam::fold::Exam;
use crate::exam::review::{Change, Review};
use crate::exam::seq::Seq;
use crate::exam::sign::fault;
use crate::protocol::Protocols;

/// One thing that a person did.
#[derive(Debug, Clone, Serialize)]
pub(super) struct Deed {
    pub(super) seq: Seq,
    /// The first line of those that one act wrote: they are undone together.
    act: Seq,
    at: DateTime<Utc>,
    by: String,
    kind: DeedKind,
    /// In words, what stood there before included.
    what: String,
    why: String,
    /// It takes back the line with this number.
    #[serde(skip_serializing_if = "Option::is_none")]
    takes_back: Option<Seq>,
    /// Taken back by the line with this number.
    #[serde(skip_serializing_if = "Option::is_none")]
    taken_back_by: Option<Seq>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
enum DeedKind {
    Change,
    Words,
    Value,
    Signature,
}

/// What people did, oldest first.
pub(super) fn history(lines: &[ExamEvent], exam: &Exam, protocols: &Protocols) -> Vec<Deed> {
    let mut named: BTreeMap<Seq, String> = BTreeMap::new();
    let mut deeds = Vec::new();
    let taken: BTreeMap<Seq, Seq> = exam
        .standing_changes()
        .filter_map(|logged| match logged.review.change {
            Change::TakeBack { seq } if seq < logged.seq => Some((seq, logged.seq)),
            _ => None,
        })
        .collect();
    let mut before: Option<(&ExamEvent, Seq)> = None;
    for line in lines {
        let act = match before {
            Some((other, act)) if is_of_one_act(other, line) => act,
            _ => line.seq,
        };
        before = Some((line, act));
        let (kind, by, what, why, takes_back) = match &line.event {
            Event::Review(review) => {
                let back = match review.change {
                    Change::TakeBack { seq } => Some(seq),
                    _ => None,
                };
                let what = what_was_changed(review, exam, protocols, &named);
                let kind = match review.change {
                    Change::Words { .. } => DeedKind::Words,
                    _ => DeedKind::Change,
                };
                (kind, review.by.clone(), what, review.why.clone(), back)
            }
            Event::Entered(entered) => {
                let by = entered.by.clone().unwrap_or_default();
                (DeedKind::Value, by, value_in_words(entered, protocols), String::new(), None)
            }
            Event::Signed(signed) if fault(signed, &line.prev).is_none() => {
                let what = format!("Signed, licence {}", signed.licence);
                (DeedKind::Signature, signed.by.clone(), what, String::new(), None)
            }
            _ => continue,
        };
        named.insert(line.seq, what.clone());
        let taken_back_by = taken.get(&line.seq).copied();
        deeds.push(Deed { seq: line.seq, act, at: line.at, by, kind, what, why, takes_back, taken_back_by });
    }
    deeds
}

/// What the desk writes together has one instant; nobody acts twice in the same one.
fn is_of_one_act(one: &ExamEvent, next: &ExamEvent) -> bool {
    match (&one.event, &next.event) {
        (Event::Review(first), Event::Review(second)) => one.at == next.at && first.by == second.by,
        _ => false,
    }
}

/// A change with what stood there before; `named` has the words of all lines before it.
fn what_was_changed(
    review: &Review,
    exam: &Exam,
    protocols: &Protocols,
    named: &BTreeMap<Seq, String>,
) -> String {
    let still = |id: &str| match exam.frames.iter().position(|frame| frame.id == id) {
        Some(idx) => format!("Still {}", idx + 1),
        None => "A still".to_owned(),
    };
    let words = |codes: &str| in_words(codes, protocols);
    let became = |now: &str| step(&words(&review.was), &words(now));
    match &review.change {
        Change::Call { seq, act } => format!("Call {seq}: {}", became(&act.to_string())),
        Change::Place { seq, place } => format!("Call {seq} alone: {}", became(&place.to_string())),
        Change::Withdraw { seq } => format!("Call {seq} withdrawn: {}", words(&review.was)),
        Change::Add { sample, act } => {
            format!("Added at {}: {}", minutes(*sample), words(&act.to_string()))
        }
        Change::Move { seq, sample } => format!("Call {seq} moved to {}", minutes(*sample)),
        Change::Pair { still: id, seq } => format!("{}: paired with call {seq}", still(id)),
        Change::Label { still: id, place } if place.to_string() == review.was => {
            format!("{}: {} confirmed by hand", still(id), words(&review.was))
        }
        Change::Label { still: id, place } => format!("{}: {}", still(id), became(&place.to_string())),
        Change::LeaveOut { still: id } => format!("{}: not part of the exam", still(id)),
        Change::KeyPicture { still: id, shown: true, frame_number } => {
            let which = frame_number.map(|number| format!(", frame {number}")).unwrap_or_default();
            format!("{}{which}: added to the report's pictures", still(id))
        }
        Change::KeyPicture { still: id, shown: false, .. } => {
            format!("{}: left out of the report's pictures", still(id))
        }
        Change::Scale { still: id, distance_mm, .. } => {
            format!("{}: scale set by hand from {distance_mm} mm of its depth scale", still(id))
        }
        Change::Clock { offset_s } => {
            format!("Scanner's clock: {}", step(&review.was, &format!("{offset_s:+.1} s")))
        }
        Change::NoteText { seq, text } => {
            format!("Note {seq} read: {}", if text.is_empty() { "no words" } else { text })
        }
        Change::Words { part, text } if text.trim().is_empty() => format!("{}: removed", part.name()),
        Change::Words { part, text } => format!("{}: {text}", part.name()),
        Change::SameHorse { patient } => format!("Stills of {} are of this horse", patient.in_words()),
        Change::Looked { finding, .. } => format!("Accepted: {finding}"),
        Change::TakeBack { seq } => match named.get(seq) {
            Some(what) => match what.strip_prefix(UNDONE) {
                Some(what) => format!("{REDONE}{what}"),
                None => format!("{UNDONE}{what}"),
            },
            None => format!("{UNDONE}line {seq}"),
        },
    }
}

/// Before what was undone, and before what was redone.
const UNDONE: &str = "Undone: ";
const REDONE: &str = "Redone: ";

fn value_in_words(entered: &Entered, protocols: &Protocols) -> String {
    let Entered { limb, zone, structure, term, amount, frame_number, .. } = entered;
    let which = frame_number.map(|number| format!(" on frame {number}")).unwrap_or_default();
    let how = entered.how();
    in_words(&format!("{limb} {zone} {structure}: {term} {amount}, {how}{which}"), protocols)
}

/// Planes by their names; limbs, zones and structures are called by their codes at the horse, too.
fn in_words(codes: &str, protocols: &Protocols) -> String {
    let word = |part: &str| protocols.plane_name(part).to_owned();
    codes.split(' ').map(word).collect::<Vec<_>>().join(" ")
}

/// From one thing to another; what both begin with is said once.
fn step(was: &str, now: &str) -> String {
    if was.is_empty() {
        return now.to_owned();
    }
    let same = was.split(' ').zip(now.split(' ')).take_while(|(one, other)| one == other).count();
    let rest: Vec<&str> = now.split(' ').skip(same).collect();
    if rest.is_empty() { format!("{was} → {now}") } else { format!("{was} → {}", rest.join(" ")) }
}

fn minutes(sample: Sample) -> String {
    let whole = sample.seconds();
    let full = (whole / 60.0).floor();
    format!("{full:.0}:{:04.1}", whole - full * 60.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_says_once_what_both_ends_share() {
        assert_eq!(step("LF 2A transverse", "LF 2A longitudinal"), "LF 2A transverse → longitudinal");
        assert_eq!(step("", "LF 2A"), "LF 2A");
        assert_eq!(step("LF 2A transverse", "LF 2A"), "LF 2A transverse → LF 2A");
        assert_eq!(step("+1.0 s", "-2.0 s"), "+1.0 s → -2.0 s");
    }

    #[test]
    fn a_moment_reads_as_minutes_and_seconds() {
        assert_eq!(minutes(Sample(62 * 16_000 + 8_000)), "1:02.5");
    }
}
