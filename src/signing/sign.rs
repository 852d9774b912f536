//! Signing the record of an exam, and taking a signature back.
//!
//! Takes: an exam folder, the list of people, a vet's name and passphrase.
//! Gives: the number of the line in the journal, or why there is none.
//! Never: signs what has changed since the vet saw it, a damaged journal, or without a word what has lost its evidence.
//! Tested in: `tests/it/people.rs`, `tests/it/review.rs`.

use chrono::Utc;
use sha2::{Digest, Sha256};

use crate::exam::event::Event;
use crate::exam::file_integrity::file_hashes;
use crate::exam::fold::LoggedSignature;
use crate::exam::review::{Change, Review, WordsPart};
use crate::exam::seq::Seq;
use crate::exam::sign::{FileHash, Signable, Signed};
use crate::exam_folder::{ExamFolder, FolderError, record_against};
use crate::knowledge::check::TORN;
use crate::knowledge::measure::Against;
use crate::knowledge::record::Record;
use crate::protocol::Protocols;
use crate::report::export::json;
use crate::report::signed::{keep, verified};
use crate::signing::missing_files::lacking;
use crate::signing::people::{People, PeopleError};

/// Why nothing was signed or taken back.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SignError {
    /// The journal cannot be read or written.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// This person may not, or the key does not open.
    #[error(transparent)]
    People(#[from] PeopleError),
    /// Somebody changed it meanwhile.
    #[error("the exam has changed since it was shown; nothing was signed; check it again, then sign")]
    Overtaken,
    /// The journal is damaged.
    #[error("the journal is damaged, so it cannot be signed; see `zonecall journal --verify`")]
    Damaged,
    /// A cut line waits for somebody.
    #[error(
        "a line of the journal was cut short, and nobody has settled it yet; listen to the sound there, add what is \
         missing, and accept the question; then sign"
    )]
    Torn,
    /// This person has signed it, and nothing has changed since.
    #[error("{by} has signed this record in line {line}, and nothing has changed since; nothing was written")]
    Already {
        /// Who.
        by: String,
        /// The line of the signature.
        line: Seq,
    },
    /// A recording or a still is gone, or is another file than it was.
    #[error(
        "{lacking}; nothing was signed; put the files back, or sign anyway with --incomplete: what is gone can no longer be proved"
    )]
    Incomplete {
        /// What lacks, in words.
        lacking: String,
    },
    /// Nobody wrote what the scan means, and nobody said that it is not wanted.
    #[error(
        "no impression is written, so the signed report would have none; nothing was signed; write it at the review desk, or \
         sign without one with --no-impression"
    )]
    NoImpression,
    /// Nothing is signed.
    #[error("there is no signature to take back; nothing was changed")]
    NoSignature,
}

/// Who wants it, proved by the passphrase.
#[derive(Debug, Clone, Copy)]
pub struct Signer<'a> {
    /// Name of the vet, as on the list.
    pub name: &'a str,
    /// What opens the vet's key.
    pub passphrase: &'a str,
}

/// What the vet has seen, and signs.
#[derive(Debug, Clone, Copy, Default)]
pub struct Seen {
    /// The last line that was shown; none where the record is signed as it is.
    pub last: Option<Seq>,
    /// That files are gone, or other ones than they were, and signs all the same.
    pub incomplete: bool,
    /// That the report has no impression, and wants none.
    pub no_impression: bool,
}

/// Whether the vet has to be asked before signing: nobody wrote an impression.
///
/// # Errors
/// When there is none, and the vet has not said that none is wanted.
pub fn asks_impression(record: &Record, seen: &Seen) -> Result<(), SignError> {
    let is_written = record.words.iter().any(|row| row.part == WordsPart::Impression);
    if is_written || seen.no_impression { Ok(()) } else { Err(SignError::NoImpression) }
}

/// Signs the record as it is; nobody signs what they have not seen.
///
/// # Errors
/// When this person may not sign, or the exam cannot be signed as it is.
pub fn sign(
    folder: &ExamFolder,
    protocols: &Protocols,
    people: &People,
    signer: Signer<'_>,
    seen: Seen,
) -> Result<Seq, SignError> {
    let mut journal = folder.append_journal().map_err(FolderError::from)?;
    let lines = folder.lines().map_err(FolderError::from)?;
    let last = lines.events.last().map(|line| line.seq).unwrap_or_default();
    if seen.last.is_some_and(|seen| seen != last) {
        return Err(SignError::Overtaken);
    }
    let exam = folder.exam_of(&lines, protocols)?;
    if !exam.damage.is_empty() {
        return Err(SignError::Damaged);
    }
    let record = record_against(&exam, protocols, &Against::default());
    if record.findings.iter().any(|finding| finding.rule == TORN && finding.settled.is_none()) {
        return Err(SignError::Torn);
    }
    asks_impression(&record, &seen)?;
    let (person, key) = people.open_key(signer.name, signer.passphrase)?;
    let compared = verified(folder, protocols)?;
    let by_same = |logged: &&LoggedSignature| {
        (&logged.signed.by, &logged.signed.key) == (&person.name, &crate::hex(key.verifying_key().as_bytes()))
    };
    if let Some(logged) = compared.signed.as_ref().filter(by_same).filter(|_| compared.is_signed) {
        return Err(SignError::Already { by: person.name, line: logged.seq });
    }
    if let Some(lacking) = lacking(folder.path(), &compared).filter(|_| !seen.incomplete) {
        return Err(SignError::Incomplete { lacking });
    }
    let record = json(&record);
    // What was signed can be shown in any later version, however that makes the record.
    let kept = keep(folder, &record)?;
    let record_sha256 = crate::hex(&Sha256::digest(record.as_bytes()));
    let (at, journal_sha256) = (Utc::now(), journal.last_hash().to_owned());
    let (by, licence, mut files) = (person.name, person.licence, file_hashes(folder.path(), &exam));
    // Signed with the others, so that it is missed where it is deleted.
    files.push(FileHash { file: kept, sha256: record_sha256.clone() });
    let signed = Signed::new(Signable { by, licence, at, journal_sha256, record_sha256, files }, &key);
    let event = Event::Signed(Box::new(signed));
    Ok(journal.append(at, exam.last_sample(), &event).map_err(FolderError::from)?)
}

/// Takes the signature back: a vet's act like signing, so it asks for the passphrase, too.
///
/// # Errors
/// When nothing is signed, or this person may not.
pub fn take_back(
    folder: &ExamFolder,
    protocols: &Protocols,
    people: &People,
    signer: Signer<'_>,
) -> Result<Seq, SignError> {
    let mut journal = folder.append_journal().map_err(FolderError::from)?;
    let lines = folder.lines().map_err(FolderError::from)?;
    let exam = folder.exam_of(&lines, protocols)?;
    let standing = exam.signed.as_ref().filter(|signed| signed.taken_back_by.is_none());
    let signed = standing.ok_or(SignError::NoSignature)?;
    let (person, _) = people.open_key(signer.name, signer.passphrase)?;
    let was = format!("signed by {}", signed.signed.by);
    let change = Change::TakeBack { seq: signed.seq };
    let review = Review { by: person.name, why: String::new(), was, change };
    let event = Event::Review(Box::new(review));
    Ok(journal.append(Utc::now(), exam.last_sample(), &event).map_err(FolderError::from)?)
}
