//! Whether the record that a vet signed is still the one that its journal makes.
//!
//! Takes: an exam folder, the lines of its journal and the protocols.
//! Gives: the signature whose record is another one today, with what differs; the record as it was signed.
//! Never: calls a signature broken because this version words or computes a record differently.
//! Tested in: `tests/it/file_integrity.rs`.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use serde_json::Value;
use sha2::{Digest, Sha256};

use crate::exam::event::Event;
use crate::exam::file_integrity::note_files;
use crate::exam::fold::{Exam, FileChange, OtherRecord, RecordDiffers};
use crate::exam::journal::{Lines, head_is_gone};
use crate::exam::sign::{Signed, fault};
use crate::exam::time_stamp_file::note_stamp;
use crate::exam_folder::{ExamFolder, FolderError, record_against};
use crate::knowledge::measure::Against;
use crate::protocol::Protocols;
use crate::report::export::json;
use crate::report::signed_differs::differs;

/// Where records are kept as they were signed, inside an exam folder.
pub(crate) const SIGNED_FOLDER: &str = "signed";

/// The exam in `folder`, compared with what was there when it was closed and signed: every kept file is read for that.
///
/// A record of which only the program's own words differ is still the one that was signed; one that is computed
/// differently is not what the vet saw, and a draft.
///
/// # Errors
/// When there is no journal, or it is not one of an exam.
pub fn verified(folder: &ExamFolder, protocols: &Protocols) -> Result<Exam, FolderError> {
    let lines = folder.lines()?;
    let mut exam = folder.exam_of(&lines, protocols)?;
    note_files(folder.path(), &mut exam);
    if let Some(change) = last_signed(&lines).and_then(|(_, signed)| change_of_kept(folder, signed)) {
        // It may be noted already, as one of the files that were signed.
        exam.changed_files.retain(|other| other.file != change.file);
        exam.changed_files.push(change);
        exam.is_signed = false;
    }
    exam.other_record = other_record(folder, &lines, protocols);
    exam.head_is_gone = head_is_gone(folder.path(), &lines);
    exam.unclaimed = unclaimed(folder, &lines);
    exam.is_signed &= exam.other_record.as_ref().is_none_or(|other| other.how == RecordDiffers::Worded);
    // Noted here and not where an exam is read: what is signed must not depend on the time stamp of an earlier signature.
    note_stamp(folder.path(), &lines, &mut exam);
    Ok(exam)
}

/// The record of a signature that is kept otherwise than it was signed, or not any more.
fn change_of_kept(folder: &ExamFolder, signed: &Signed) -> Option<FileChange> {
    let file = kept_name(&signed.record_sha256);
    // Versions before this one did not sign that they kept it.
    let was_kept = signed.files.iter().any(|kept| kept.file == file);
    let is_gone = match kept(folder, signed) {
        Kept::Whole(..) => return None,
        Kept::Missing if !was_kept => return None,
        Kept::Missing => true,
        Kept::Changed => false,
    };
    Some(FileChange { file, was_signed: true, is_gone })
}

/// The last signature, if the record that it was given for is not the one that is made of the lines before it today.
///
/// Of a journal that was changed by hand there is none: that is why its record is another one.
#[must_use]
pub fn other_record(folder: &ExamFolder, lines: &Lines, protocols: &Protocols) -> Option<OtherRecord> {
    if !lines.damage.is_empty() {
        return None;
    }
    let (idx, signed) = last_signed(lines)?;
    let exam = folder.exam_of(&lines.first(idx), protocols).ok()?;
    let made = json(&record_against(&exam, protocols, &Against::default()));
    if sha256(made.as_bytes()) == signed.record_sha256 {
        return None;
    }
    let kept = match kept(folder, signed) {
        Kept::Whole(file, bytes) => Some((file, bytes)),
        Kept::Changed | Kept::Missing => None,
    };
    let both = kept.as_ref().and_then(|(_, then)| {
        Some((serde_json::from_slice::<Value>(then).ok()?, serde_json::from_str::<Value>(&made).ok()?))
    });
    let (how, what) = match both {
        Some((then, now)) => differs(&then, &now, &|term| protocols.is_no_lesion(term))
            .unwrap_or_else(|| (RecordDiffers::Worded, vec!["only the form of the file differs".to_owned()])),
        None => (RecordDiffers::Unknown, Vec::new()),
    };
    let kept = kept.map(|(file, _)| file);
    Some(OtherRecord { seq: lines.events[idx].seq, by: signed.by.clone(), how, what, kept })
}

/// Keeps a record as it is signed, named by its hash: `record` is the JSON, and the name is given.
///
/// # Errors
/// When the disk refuses.
pub fn keep(folder: &ExamFolder, record: &str) -> Result<String, FolderError> {
    let name = kept_name(&sha256(record.as_bytes()));
    let path = folder.path().join(&name);
    let refused = |source| FolderError::Make { path: path.clone(), source };
    let machine = folder.machine();
    if machine.read(&path).is_ok_and(|bytes| bytes == record.as_bytes()) {
        return Ok(name);
    }
    let above = folder.path().join(SIGNED_FOLDER);
    machine.make_folder(&above).map_err(refused)?;
    machine.replace(&path.with_extension("new"), &path, record.as_bytes()).map_err(refused)?;
    let file = machine.open(&path).map_err(refused)?;
    machine.sync(&file, &path).map_err(refused)?;
    machine.sync_folder(&above).map_err(refused)?;
    Ok(name)
}

/// Whether the record of this signature is kept as it was signed.
#[must_use]
pub fn record_is_kept(folder: &ExamFolder, signed: &Signed) -> bool {
    matches!(kept(folder, signed), Kept::Whole(..))
}

/// Records that are kept as they were signed, and that no line of the journal is the signature of.
#[must_use]
pub fn unclaimed(folder: &ExamFolder, lines: &Lines) -> Vec<String> {
    let signed = lines.events.iter().filter_map(|line| match &line.event {
        Event::Signed(signed) => Some(kept_name(&signed.record_sha256)),
        _ => None,
    });
    let signed: BTreeSet<String> = signed.collect();
    let entries = std::fs::read_dir(folder.path().join(SIGNED_FOLDER)).into_iter().flatten();
    let names = entries.filter_map(|entry| entry.ok()?.file_name().into_string().ok());
    let records = names.filter(|name| Path::new(name).extension().is_some_and(|ending| ending == "json"));
    let kept: BTreeSet<String> = records.map(|name| format!("{SIGNED_FOLDER}/{name}")).collect();
    kept.difference(&signed).cloned().collect()
}

/// The record of a signature as it was signed.
enum Kept {
    /// It is there, in this file.
    Whole(String, Vec<u8>),
    /// The file is there, and holds something else.
    Changed,
    /// It was never kept, or is gone.
    Missing,
}

fn kept(folder: &ExamFolder, signed: &Signed) -> Kept {
    let is_hash = signed.record_sha256.bytes().all(|byte| byte.is_ascii_hexdigit());
    let name = kept_name(&signed.record_sha256);
    let path: PathBuf = folder.path().join(&name);
    if !is_hash {
        return Kept::Missing;
    }
    match folder.machine().read(&path) {
        Ok(bytes) if sha256(&bytes) == signed.record_sha256 => Kept::Whole(name, bytes),
        Ok(_) => Kept::Changed,
        Err(_) => Kept::Missing,
    }
}

/// The last signature that holds: what is in a line that does not was signed by nobody.
fn last_signed(lines: &Lines) -> Option<(usize, &Signed)> {
    lines.events.iter().enumerate().rev().find_map(|(idx, line)| match &line.event {
        Event::Signed(signed) if fault(signed, &line.prev).is_none() => Some((idx, signed.as_ref())),
        _ => None,
    })
}

fn kept_name(record_sha256: &str) -> String {
    format!("{SIGNED_FOLDER}/{record_sha256}.json")
}

fn sha256(bytes: &[u8]) -> String {
    crate::hex(&Sha256::digest(bytes))
}
