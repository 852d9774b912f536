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
use crate::exam::fold::{Exam, LoggedChange};
use crate::exam::place::Place;
use crate::exam::review::{Change, Review, TEXT_MAX, is_plain};
use crate::exam::seal::seal;
use crate::exam::seq::Seq;
use crate::exam::sign::{Signable, Signed};
use crate::exam_folder::FolderError;
use crate::frames::clock_fit::OFFSET_S_MAX;
use crate::frames::pair::pair;
use crate::knowledge::check::TORN;
use crate::knowledge::label::labels;
use crate::report::export::json;
use crate::review::desk::Desk;
use crate::review::judge::judge;
use crate::review::key::key;
use crate::review::refusal::{Refusal, wrong};

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
}

/// Writes the change; the journal is held from reading to writing, so that nothing comes between.
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
    seen: Seq,
}

/// Signs the record as it stands; nobody signs what they have not seen.
pub(super) fn sign(desk: &Desk, asked: &Signing) -> Result<Seq, Refusal> {
    let mut journal = desk.folder.append_journal().map_err(FolderError::from)?;
    let seen = desk.seen()?;
    let (by, licence) = (asked.by.trim(), asked.licence.trim());
    if by.is_empty() || licence.is_empty() || by.len().max(licence.len()) > TEXT_MAX {
        return wrong(
            "a name and a licence number are needed to sign",
            "enter both as they are on the licence",
        );
    }
    if !is_plain(by) || !is_plain(licence) {
        return wrong("the name or licence holds invisible characters", "type it again, in plain text");
    }
    if asked.seen != seen.version {
        return Err(Refusal::Overtaken(Problem {
            message: "the exam has changed since this page showed it".to_owned(),
            help: "nothing was signed; check it again, then sign".to_owned(),
        }));
    }
    if !seen.exam.damage.is_empty() {
        return wrong("the journal is damaged, so it cannot be signed", "see `zonecall journal --verify`");
    }
    let mut torn = seen.record.findings.iter().filter(|finding| finding.rule == TORN);
    if torn.any(|finding| finding.settled.is_none()) {
        return wrong(
            "a line of the journal was cut short, and nobody has settled it yet",
            "listen to the sound there, add what is missing, and accept the question; then sign",
        );
    }
    let key = match key() {
        Ok(key) => key,
        Err(error) => return wrong(error.to_string(), "nothing was signed"),
    };
    let record_sha256 = crate::hex(&Sha256::digest(json(&seen.record).as_bytes()));
    let (at, journal_sha256) = (Utc::now(), journal.last_hash().to_owned());
    let (by, licence, files) = (by.to_owned(), licence.to_owned(), seal(desk.folder.path(), &seen.exam));
    let signed = Signed::new(Signable { by, licence, at, journal_sha256, record_sha256, files }, &key);
    let event = Event::Signed(Box::new(signed));
    Ok(journal.append(at, seen.exam.last_sample(), &event).map_err(FolderError::from)?)
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

fn overtaken(exam: &Exam, asked: &Asked) -> Result<(), Refusal> {
    let newer =
        |change: &&LoggedChange| change.seq > asked.seen && change.review.change.same_target(&asked.change);
    let Some(other) = exam.changes.iter().find(newer) else {
        return Ok(());
    };
    Err(Refusal::Overtaken(Problem {
        message: format!("{} changed this just now: {}", other.review.by, other.review.change),
        help: "your change was not saved; look at it again, then change it if it is still wrong".to_owned(),
    }))
}
