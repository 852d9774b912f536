//! The inbox: the exams of a folder with what is open, signed and sent.
//!
//! Takes: `ServedExams`, and words to search for.
//! Gives: a row for each exam, the newest day first and within a day in the order in which they began.
//! Never: changes anything; an exam that cannot be read is a row that says why.
//! Tested in: `tests/it/review_inbox.rs`.

use chrono::{DateTime, FixedOffset, NaiveDate, Utc};
use serde::Serialize;

use crate::exam::event::Horse;
use crate::review::exams::{ServedExamError, ServedExams};
use crate::review::question::questions;

/// Exams that are read for the list; older ones are found by searching.
const LISTED_MAX: usize = 60;
/// Exams that a search reads at most.
const SEARCHED_MAX: usize = 500;

/// One exam.
#[derive(Debug, Clone, Serialize)]
pub(super) struct InboxRow {
    /// Name of its folder.
    name: String,
    horse: String,
    /// An earlier exam of the same horse is among those that were read, so that there is a course over both.
    has_course: bool,
    /// Who the horse is, for comparing.
    #[serde(skip)]
    identity: Horse,
    #[serde(skip_serializing_if = "Option::is_none")]
    started_at: Option<DateTime<Utc>>,
    utc_offset_s: i32,
    person: String,
    /// Questions that nobody has settled.
    open: usize,
    stills: usize,
    signed: bool,
    /// Who signed last; empty where nobody did.
    signed_by: String,
    /// How often it was sent to another system.
    sent: usize,
    /// Listening has not ended, or was cut off.
    recording: bool,
    /// Why it cannot be read; empty where it can.
    problem: String,
}

/// The rows; with words to search for, those whose folder or horse has them in its name.
pub(super) fn inbox(exams: &ServedExams, search: &str) -> Vec<InboxRow> {
    let search = search.trim().to_lowercase();
    let most = if search.is_empty() { LISTED_MAX } else { SEARCHED_MAX };
    let names = exams.names().into_iter().take(most);
    let mut rows: Vec<InboxRow> = names.map(|name| row(exams, name)).collect();
    let with_course: Vec<bool> = rows.iter().map(|row| rows.iter().any(|other| row.follows(other))).collect();
    rows.iter_mut().zip(with_course).for_each(|(row, has_course)| row.has_course = has_course);
    let has = |text: &str| text.to_lowercase().contains(&search);
    rows.retain(|row| has(&row.name) || has(&row.horse));
    rows.sort_by_key(|row| (std::cmp::Reverse(row.day()), row.started_at, row.name.clone()));
    rows
}

fn row(exams: &ServedExams, name: String) -> InboxRow {
    let empty = InboxRow {
        name: name.clone(),
        horse: String::new(),
        has_course: false,
        identity: Horse::default(),
        started_at: None,
        utc_offset_s: 0,
        person: String::new(),
        open: 0,
        stills: 0,
        signed: false,
        signed_by: String::new(),
        sent: 0,
        recording: false,
        problem: String::new(),
    };
    let broken = |problem: String| InboxRow { problem, ..empty.clone() };
    let served = match exams.served(Some(&name)) {
        Ok(served) => served,
        Err(ServedExamError::Folder(error)) => return broken(error.to_string()),
        Err(ServedExamError::Unknown) => return broken("it is not there any more".to_owned()),
    };
    let seen = match served.desk.seen() {
        Ok(seen) => seen,
        Err(error) => return broken(error.to_string()),
    };
    let info = &seen.record.exam;
    InboxRow {
        horse: info.horse.name.clone().or_else(|| info.horse.id.clone()).unwrap_or_default(),
        identity: info.horse.clone(),
        started_at: Some(info.started_at),
        utc_offset_s: info.utc_offset_s,
        person: info.person.clone().unwrap_or_default(),
        open: questions(&seen.record, &served.desk.protocols.rules).len(),
        stills: seen.record.frames.len(),
        signed: info.is_signed(),
        signed_by: info.signed.as_ref().map(|signed| signed.by.clone()).unwrap_or_default(),
        sent: seen.sent,
        recording: seen.exam.closed.is_none(),
        ..empty
    }
}

impl InboxRow {
    /// Whether the other exam is an earlier one of the same horse: a name alone may be that of two horses.
    fn follows(&self, other: &InboxRow) -> bool {
        let is_earlier = other.started_at.zip(self.started_at).is_some_and(|(then, now)| then < now);
        is_earlier && other.identity.is_same(&self.identity) == Some(true)
    }

    /// The day at the place of the exam.
    fn day(&self) -> Option<NaiveDate> {
        let offset = FixedOffset::east_opt(self.utc_offset_s)?;
        Some(self.started_at?.with_timezone(&offset).date_naive())
    }
}
