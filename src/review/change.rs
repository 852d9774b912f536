//! A change that a browser asks for: judged, put into words, and written into the journal.
//!
//! Takes: what the page sent, and the exam as it stands while the journal is held.
//! Gives: the event's number, or a refusal that says what to do.
//! Never: a change of something that is not there, or one over a change that its maker had not seen.
//! Tested in: `tests/it/review.rs`.

use chrono::Utc;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::exam::call::Problem;
use crate::exam::event::Event;
use crate::exam::fold::Exam;
use crate::exam::review::{Change, LoggedChange, Review, TEXT_MAX, is_plain};
use crate::exam::sign::Signed;
use crate::exam_folder::FolderError;
use crate::frames::clock_fit::OFFSET_S_MAX;
use crate::frames::pair::pair;
use crate::knowledge::place::Place;
use crate::knowledge::rows::frame_rows;
use crate::report::export::json;
use crate::review::desk::Desk;
use crate::review::judge::judge;
use crate::review::key::key;

/// What the page sends.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    /// Who.
    by: String,
    /// Why.
    #[serde(default)]
    why: String,
    /// Number of the last line that the page had been given.
    seen: u64,
    change: Change,
}

/// Why a change was not made.
#[derive(Debug)]
pub(super) enum Refusal {
    /// It makes no sense.
    Wrong(Problem),
    /// Somebody else changed the same thing meanwhile.
    Overtaken(Problem),
    /// The journal could not be read or written.
    Desk(FolderError),
}

impl From<FolderError> for Refusal {
    fn from(error: FolderError) -> Refusal {
        Refusal::Desk(error)
    }
}

pub(super) fn wrong<T>(message: impl Into<String>, help: &str) -> Result<T, Refusal> {
    Err(Refusal::Wrong(Problem { message: message.into(), help: help.to_owned() }))
}

/// Writes the change; the journal is held from reading to writing, so that nothing comes between.
pub(super) fn write(desk: &Desk, asked: Asked) -> Result<u64, Refusal> {
    let mut journal = desk.folder.append_journal().map_err(FolderError::from)?;
    let seen = desk.seen()?;
    let (by, why) = (asked.by.trim().to_owned(), asked.why.trim().to_owned());
    if by.is_empty() || by.chars().count() > TEXT_MAX {
        return wrong("nobody is named as the one who changes it", "enter your name at the top");
    }
    if !is_plain(&by) || !is_plain(&why) {
        return wrong("name or reason holds signs that cannot be seen", "type it again, in plain text");
    }
    if why.chars().count() > TEXT_MAX {
        return wrong(format!("the reason is longer than {TEXT_MAX} characters"), "say it shorter");
    }
    overtaken(&seen.exam, &asked)?;
    let was = judge(desk, &seen, &asked.change)?;
    let review = Event::Review(Box::new(Review { by, why, was, change: asked.change }));
    let seq = journal.append(Utc::now(), seen.exam.last_sample(), &review).map_err(FolderError::from)?;
    Ok(seq)
}

/// A wish to sign.
#[derive(Debug, Deserialize)]
pub(super) struct Signing {
    by: String,
    licence: String,
    /// Number of the last line that the page had been given.
    seen: u64,
}

/// Signs the record as it stands; nobody signs what they have not seen.
pub(super) fn sign(desk: &Desk, asked: &Signing) -> Result<u64, Refusal> {
    let mut journal = desk.folder.append_journal().map_err(FolderError::from)?;
    let seen = desk.seen()?;
    let (by, licence) = (asked.by.trim(), asked.licence.trim());
    if by.is_empty() || licence.is_empty() || by.len().max(licence.len()) > TEXT_MAX {
        return wrong("name and licence are needed to sign", "enter both, as they stand on the licence");
    }
    if !is_plain(by) || !is_plain(licence) {
        return wrong("name or licence holds signs that cannot be seen", "type it again, in plain text");
    }
    if asked.seen != seen.version {
        return Err(Refusal::Overtaken(Problem {
            message: "the exam was changed since this page showed it".to_owned(),
            help: "nothing was signed; look at it again, then sign".to_owned(),
        }));
    }
    if !seen.exam.damage.is_empty() {
        return wrong("the journal is damaged, so it cannot be signed", "see `zonecall journal --verify`");
    }
    let key = match key() {
        Ok(key) => key,
        Err(error) => return wrong(error.to_string(), "nothing was signed"),
    };
    let record_sha256 = crate::hex(&Sha256::digest(json(&seen.record).as_bytes()));
    let signed = Signed::new(by, licence, journal.last_hash(), &record_sha256, &key);
    let event = Event::Signed(Box::new(signed));
    Ok(journal.append(Utc::now(), seen.exam.last_sample(), &event).map_err(FolderError::from)?)
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
    exam.changes.push(LoggedChange { seq: u64::MAX, at: Utc::now(), review, taken_back_by: None });
    let after = frame_rows(&exam, &pair(&exam, &exam.frames));
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

fn overtaken(exam: &Exam, asked: &Asked) -> Result<(), Refusal> {
    let newer =
        |change: &&LoggedChange| change.seq > asked.seen && change.review.change.same_target(&asked.change);
    let Some(other) = exam.changes.iter().find(newer) else {
        return Ok(());
    };
    Err(Refusal::Overtaken(Problem {
        message: format!("{} changed this just now: {}", other.review.by, other.review.change),
        help: "nothing of yours was written; look at it again, then change it if it is still wrong"
            .to_owned(),
    }))
}
