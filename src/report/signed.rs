//! Whether the record that a vet signed is still the one that its journal makes.
//!
//! Takes: an exam folder, the lines of its journal and the protocols.
//! Gives: the signature whose record is another one today.
//! Never: says why: cut-offs, protocols, files and the program all make the record.
//! Tested in: `tests/it/seal.rs`.

use sha2::{Digest, Sha256};

use crate::exam::event::Event;
use crate::exam::fold::{Exam, OtherRecord};
use crate::exam::journal::Lines;
use crate::exam::seal::note_files;
use crate::exam_folder::{ExamFolder, FolderError, record_against};
use crate::knowledge::measure::Against;
use crate::protocol::Protocols;
use crate::report::export::json;

/// The exam in `folder`, compared with what was there when it was closed and signed: every kept file is read for that.
///
/// # Errors
/// When there is no journal, or it is not one of an exam.
pub fn verified(folder: &ExamFolder, protocols: &Protocols) -> Result<Exam, FolderError> {
    let lines = folder.lines()?;
    let mut exam = folder.exam_of(&lines, protocols)?;
    note_files(folder.path(), &mut exam);
    exam.other_record = other_record(folder, &lines, protocols);
    exam.is_signed &= exam.other_record.is_none();
    Ok(exam)
}

/// The last signature, if the record that it was given for is not the one that is made of the lines before it today.
#[must_use]
pub fn other_record(folder: &ExamFolder, lines: &Lines, protocols: &Protocols) -> Option<OtherRecord> {
    let idx = lines.events.iter().rposition(|line| matches!(line.event, Event::Signed(_)))?;
    let line = &lines.events[idx];
    let Event::Signed(signed) = &line.event else { return None };
    let exam = folder.exam_of(&lines.first(idx), protocols).ok()?;
    let made = json(&record_against(&exam, protocols, &Against::default()));
    let is_same = crate::hex(&Sha256::digest(made.as_bytes())) == signed.record_sha256;
    (!is_same).then(|| OtherRecord { seq: line.seq, by: signed.by.clone() })
}
