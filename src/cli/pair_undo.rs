//! Stills that were added by mistake are left out again, and taken in again.
//!
//! Takes: an exam folder, who wants it, and for taking in the stills of a folder.
//! Gives: lines of the journal, each of which can be taken back; or why there is nothing to do, with the way out.
//! Never: what a person placed or left out by hand.
//! Tested in: `tests/it/pair_folder.rs`, `tests/it/moved.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write as _;

use anyhow::bail;
use chrono::Utc;

use crate::exam::event::{Event, Frame};
use crate::exam::fold::{Exam, LoggedChange};
use crate::exam::journal::Lines;
use crate::exam::review::{Change, Review};
use crate::exam_folder::ExamFolder;
use crate::protocol::Protocols;
use crate::terminal::{self, ShownText as _};

/// Why a still was left out here, and not at the desk.
const BY_MISTAKE: &str = "added by mistake";

/// What `--undo` did.
pub(super) struct Undone {
    /// Stills that were left out.
    pub(super) left_out: usize,
    /// Stills of the same folder that a person placed or left out; they stay as they are.
    pub(super) by_hand: usize,
}

/// Leaves out again what was added last.
///
/// # Errors
/// When there is nothing to leave out.
pub(super) fn leave_out_last(
    exam_folder: &ExamFolder,
    protocols: &Protocols,
    by: &str,
) -> anyhow::Result<Undone> {
    let lines = exam_folder.lines()?;
    let exam = exam_folder.exam_of(&lines, protocols)?;
    let added = added_last(&lines);
    let (open, by_hand): (Vec<&str>, Vec<&str>) =
        added.iter().copied().partition(|id| exam.said_of_still(id).is_none());
    if open.is_empty() {
        let folder = exam_folder.path().shown();
        let undone = by_hand.iter().find_map(|id| left_out_by_mistake(&exam, id));
        match undone {
            _ if added.is_empty() => bail!("this exam has no stills yet, so there is nothing to leave out"),
            Some(logged) => bail!(
                "the stills that were added last are left out already, by {}; `zonecall pair {folder} --frames FOLDER --again \
                 --by NAME` uses them again; leave out others at the desk (`zonecall review {folder}`)",
                logged.review.by
            ),
            None => bail!(
                "the stills that were added last were all placed or left out by hand, and stay so; change them at the desk \
                 (`zonecall review {folder}`)"
            ),
        }
    }
    let change = |id: &str| Change::LeaveOut { still: id.to_owned() };
    write(exam_folder, &exam, by, BY_MISTAKE, open.iter().map(|id| change(id)))?;
    Ok(Undone { left_out: open.len(), by_hand: by_hand.len() })
}

/// The ids of the stills that were added last, together: what was moved or recorded once more since was added before.
fn added_last(lines: &Lines) -> Vec<&str> {
    let mut known = BTreeSet::new();
    let mut groups = BTreeMap::new();
    let mut last = None;
    for line in &lines.events {
        if let Event::Frame(frame) = &line.event
            && known.insert(frame.id.as_str())
        {
            groups.entry(line.at).or_insert_with(Vec::new).push(frame.id.as_str());
            last = Some(line.at);
        }
    }
    last.and_then(|at| groups.remove(&at)).unwrap_or_default()
}

/// The change by which `--undo` left this still out, if that counts.
pub(super) fn left_out_by_mistake<'a>(exam: &'a Exam, id: &str) -> Option<&'a LoggedChange> {
    exam.said_of_still(id).filter(|logged| {
        matches!(logged.review.change, Change::LeaveOut { .. }) && logged.review.why == BY_MISTAKE
    })
}

/// What `--undo` left out of these stills stays so and is reported, or is taken in again where somebody wants that; gives how
/// many stay left out.
pub(super) fn mind_left_out(
    exam_folder: &ExamFolder,
    exam: &Exam,
    stills: &[Frame],
    taken_in_by: Option<&str>,
) -> anyhow::Result<usize> {
    let undone: Vec<&LoggedChange> =
        stills.iter().filter_map(|still| left_out_by_mistake(exam, &still.id)).collect();
    let count = undone.len();
    if let Some(by) = taken_in_by {
        let changes = undone.iter().map(|logged| Change::TakeBack { seq: logged.seq });
        write(exam_folder, exam, by, "belongs to the exam", changes)?;
        writeln!(terminal::out(), "{count} stills that had been left out are used again")?;
        return Ok(0);
    }
    if let Some(first) = undone.first() {
        let by = first.review.by.shown();
        writeln!(
            terminal::out(),
            "{count} stills of this folder stay left out: {by} left them out with --undo; to use them again, pair \
             with --again --by YOUR-NAME"
        )?;
    }
    Ok(count)
}

fn write(
    exam_folder: &ExamFolder,
    exam: &Exam,
    by: &str,
    why: &str,
    changes: impl Iterator<Item = Change>,
) -> anyhow::Result<()> {
    let mut journal = exam_folder.append_journal()?;
    for change in changes {
        let review = Review { by: by.to_owned(), why: why.to_owned(), was: String::new(), change };
        journal.append(Utc::now(), exam.last_sample(), &Event::Review(Box::new(review)))?;
    }
    Ok(())
}
