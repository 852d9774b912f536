//! A change that a browser asks for: judged, put into words, and written into the journal.
//!
//! Takes: what the page sent, and the exam as it is now while the journal is held.
//! Gives: the event's number, or a refusal that says what to do.
//! Never: a change of something that is not there, or one over a change that its maker had not seen.
//! Tested in: `tests/it/review.rs`.

use std::collections::BTreeSet;

use chrono::Utc;
use serde::{Deserialize, Serialize};

use crate::exam::call::Problem;
use crate::exam::call::View;
use crate::exam::event::{Event, ExamEvent};
use crate::exam::fold::{Exam, LoggedCall, LoggedChange};
use crate::exam::place::Place;
use crate::exam::review::{Change, Review, TEXT_MAX};
use crate::exam::seq::Seq;
use crate::exam_folder::FolderError;
use crate::frames::clock_fit::OFFSET_S_MAX;
use crate::frames::pair::pair;
use crate::knowledge::contradiction::{Abnormal, Contradiction, contradictions};
use crate::knowledge::label::labels;
use crate::review::desk::Desk;
use crate::review::judge::{Judged, judge, may_change, own_place_fits};
use crate::review::refusal::{Refusal, wrong};
use crate::review::signature::name_of;
use crate::terminal::is_plain;

/// What the page sends.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    /// Who.
    by: String,
    /// Why.
    #[serde(default)]
    why: String,
    /// Number of the last line that the page had been given.
    seen: Seq,
    change: Change,
    /// The place of an added call, where it is another one than the current.
    #[serde(default)]
    place: Option<View>,
    /// Changes of the same act: all of it is written, or nothing.
    #[serde(default)]
    more: Vec<Change>,
    /// The person has seen what is unlikely about it and what it contradicts.
    #[serde(default)]
    confirmed: bool,
    /// The person knows that a signed record becomes a draft again.
    #[serde(default)]
    draft_again: bool,
}

/// Writes the change and what belongs to it, or nothing; the journal is held from reading to writing, so that nothing comes
/// between. Gives the number of its first line.
pub(super) fn write(desk: &Desk, asked: Asked) -> Result<Seq, Refusal> {
    let mut journal = desk.folder.append_journal().map_err(FolderError::from)?;
    let seen = desk.seen()?;
    let (by, why) = (asked.by.trim().to_owned(), asked.why.trim().to_owned());
    if by.is_empty() || by.chars().count() > TEXT_MAX {
        return wrong("no name is entered", "enter your name at the top");
    }
    if !is_plain(&by) || !is_plain(&why) {
        return wrong("the name or reason holds invisible characters", "type it again, in plain text");
    }
    if why.chars().count() > TEXT_MAX {
        return wrong(format!("the reason is longer than {TEXT_MAX} characters"), "shorten it");
    }
    let by = name_of(&by)?;
    if asked.seen >= journal.next_seq() {
        return wrong("the page names a line that is not written yet", "load the page again");
    }
    let (mut reviews, mut doubts) = (Vec::new(), Vec::new());
    if let Some(place) = &asked.place {
        own_place_fits(desk, &seen.exam, &asked.change, place)?;
    }
    for change in std::iter::once(asked.change).chain(asked.more) {
        overtaken(&seen.exam, asked.seen, &change)?;
        let Judged { was, doubt } = judge(desk, &seen, &change)?;
        doubts.extend(doubt);
        reviews.push(Review { by: by.clone(), why: why.clone(), was, change });
    }
    if let Some(place) = asked.place {
        let change = Change::Place { seq: journal.next_seq(), place };
        reviews.insert(1, Review { by, why, was: String::new(), change });
    }
    may_change(&seen, asked.draft_again)?;
    if !asked.confirmed {
        doubts.extend(contradiction(desk, &seen.exam, &reviews)?);
        confirmed(&doubts)?;
    }
    let events: Vec<Event> = reviews.into_iter().map(|review| Event::Review(Box::new(review))).collect();
    let written = journal.append_all(Utc::now(), seen.exam.last_sample(), &events);
    let first = written.map_err(FolderError::from)?.first().copied();
    Ok(first.unwrap_or_default())
}

/// Refuses what is unlikely, until the person has seen all of it.
fn confirmed(doubts: &[Problem]) -> Result<(), Refusal> {
    let Some(last) = doubts.last() else { return Ok(()) };
    let messages: Vec<&str> = doubts.iter().map(|doubt| doubt.message.as_str()).collect();
    Err(Refusal::Doubtful(Problem { message: messages.join("; "), help: last.help.clone() }))
}

/// A still that would be labelled otherwise.
#[derive(Debug, Serialize)]
pub(super) struct Relabelled {
    number: usize,
    before: Place,
    after: Place,
}

/// The stills that would get another label if the scanner's clock were set to this offset.
pub(super) fn preview(desk: &Desk, offset_s: f64) -> Result<Vec<Relabelled>, FolderError> {
    let seen = desk.seen()?;
    let mut exam = seen.exam.clone();
    let review = Review {
        by: String::new(),
        why: String::new(),
        was: String::new(),
        change: Change::Clock { offset_s: offset_s.clamp(-OFFSET_S_MAX, OFFSET_S_MAX) },
    };
    exam.changes.push(LoggedChange { seq: Seq(u64::MAX), at: Utc::now(), review, taken_back_by: None });
    let after = labels(&exam, &pair(&exam, &exam.frames));
    let rows = seen.record.frames.iter().zip(after).enumerate();
    Ok(rows
        .filter(|(_, (before, after))| before.place != after.place)
        .map(|(number, (before, after))| Relabelled {
            number,
            before: before.place.clone(),
            after: after.place,
        })
        .collect())
}

/// What would say of one place that it is normal and that it is not.
fn contradiction(desk: &Desk, exam: &Exam, reviews: &[Review]) -> Result<Option<Problem>, Refusal> {
    let says_something = |review: &Review| {
        matches!(
            review.change,
            Change::Add { .. } | Change::Call { .. } | Change::Place { .. } | Change::Move { .. }
        )
    };
    if !reviews.iter().any(says_something) {
        return Ok(None);
    }
    let mut lines = desk.folder.lines().map_err(FolderError::from)?;
    let mut seq = lines.events.last().map_or(Seq(1), |line| line.seq.next());
    for review in reviews {
        let event = Event::Review(Box::new(review.clone()));
        let (at, sample, prev) = (Utc::now(), exam.last_sample(), String::new());
        lines.events.push(ExamEvent { seq, at, sample, event, prev });
        seq = seq.next();
    }
    let after = desk.folder.exam_of(&lines, &desk.protocols)?;
    let known: BTreeSet<(Seq, Seq)> = contradictions(exam, &desk.protocols)
        .iter()
        .map(|both| (both.normal.seq, both.finding.seq()))
        .collect();
    let is_new = |both: &Contradiction| !known.contains(&(both.normal.seq, both.finding.seq()));
    let Some(both) = contradictions(&after, &desk.protocols).into_iter().find(is_new) else {
        return Ok(None);
    };
    let at = both.finding.place().in_words(&desk.protocols);
    let said = |call: &LoggedCall| match call.is_added() {
        true => format!("“{}”, added by hand", call.act),
        false => format!("“{}”, call {}", call.act, call.seq),
    };
    let finding = match both.finding {
        Abnormal::Call(call) => said(call),
        Abnormal::Entry(_) => format!("“{}”", both.finding.what()),
    };
    Ok(Some(Problem {
        message: format!("{at}: {finding} contradicts {}", said(both.normal)),
        help: "listen to both; save it only if it is right".to_owned(),
    }))
}

fn overtaken(exam: &Exam, seen: Seq, asked: &Change) -> Result<(), Refusal> {
    let newer = |change: &&LoggedChange| change.seq > seen && change.review.change.same_target(asked);
    let Some(other) = exam.changes.iter().find(newer) else {
        return Ok(());
    };
    Err(Refusal::Overtaken(Problem {
        message: format!("{} changed this just now: {}", other.review.by, other.review.change),
        help: "your change was not saved; look at it again, then change it if it is still wrong".to_owned(),
    }))
}
