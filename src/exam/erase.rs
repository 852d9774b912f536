//! Erases an exam on request: its words, sound and stills, and what was made from it.
//!
//! Takes: an exam folder, the exam as it is, its open journal, why, and who wants it.
//! Gives: one line in the place of the journal, with number and hash of the last line that it had; what is still there.
//! Never: removes a file that the exam does not name or this program did not make, or follows a link.
//! Tested in: `tests/it/retention.rs`.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use crate::exam::chain_head::HEAD_FILE;
use crate::exam::discard::is_inside;
use crate::exam::event::Erased;
use crate::exam::file_integrity::paired_file;
use crate::exam::fold::Exam;
use crate::exam::journal::{JOURNAL_FILE, Journal, JournalError};
use crate::file_name::kept_file;
use crate::terminal::ShownText as _;

/// Folders that this program makes in an exam folder.
const FOLDERS: [&str; 5] = ["audio", "out", "signed", "stamps", ".cache"];

/// Why an exam was not erased, or not wholly.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum EraseError {
    /// The journal cannot be written.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// Only the link would go.
    #[error("`{path}` is a link, and what it leads to would stay; name the folder of that exam", path = path.shown())]
    Link {
        /// The journal.
        path: PathBuf,
    },
    /// Somebody may still be listening.
    #[error("the exam was never closed, so nothing was erased; close it with `zonecall resume`")]
    Open,
    /// Something cannot be removed or looked at.
    #[error("the words are erased, but `{path}` cannot be removed: {source}; try again", path = path.shown())]
    Remove {
        /// What it is.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
}

/// Erases an exam; gives what is still there of it or beside it: stills outside its folder, and what else is in the folder.
///
/// The line that is left follows the last one that a copy has, so nothing else is written before it.
///
/// # Errors
/// When the exam was never closed, or the disk refuses; what was not removed then is removed or reported by another try.
pub fn erase(
    folder: &Path,
    exam: &Exam,
    journal: Journal,
    (why, by): (&str, &str),
    at: DateTime<Utc>,
) -> Result<Vec<PathBuf>, EraseError> {
    let path = folder.join(JOURNAL_FILE);
    if path.is_symlink() {
        return Err(EraseError::Link { path });
    }
    if exam.closed.is_none() {
        return Err(EraseError::Open);
    }
    let lines = journal.next_seq().0.saturating_sub(1);
    let erased = Erased { exam: exam.header.id.clone(), lines, why: why.to_owned(), by: Some(by.to_owned()) };
    journal.erase(at, erased)?;
    let mut outside = Vec::new();
    for still in &exam.frames {
        let file = kept_file(folder, &still.file);
        if is_inside(&still.file) && is_really_in(folder, &file) {
            std::fs::remove_file(&file).map_err(|source| EraseError::Remove { path: file, source })?;
        } else if paired_file(folder, &still.file, &still.sha256).is_ok() {
            outside.push(file);
        }
    }
    outside.extend(remove_rest(folder)?);
    Ok(outside)
}

/// No folder on the way to this file is a link that leads elsewhere; false where it is not there.
fn is_really_in(folder: &Path, file: &Path) -> bool {
    let real = |path: &Path| path.canonicalize().ok();
    let parent = file.parent().and_then(real);
    file.symlink_metadata().is_ok()
        && real(folder).is_some_and(|folder| parent.is_some_and(|at| at.starts_with(folder)))
}

/// Removes what this program made besides the journal; gives what else is in the folder.
///
/// # Errors
/// When the disk refuses.
pub fn remove_rest(folder: &Path) -> Result<Vec<PathBuf>, EraseError> {
    let failed = |path: &Path| {
        let path = path.to_owned();
        move |source| EraseError::Remove { path, source }
    };
    let mut left = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed(folder))? {
        let entry = entry.map_err(failed(folder))?;
        let (path, name) = (entry.path(), entry.file_name());
        let is_folder = entry.file_type().map_err(failed(&path))?.is_dir();
        if is_folder && FOLDERS.iter().any(|own| name == *own) {
            std::fs::remove_dir_all(&path).map_err(failed(&path))?;
        } else if name != JOURNAL_FILE && name != HEAD_FILE {
            // A folder whose stills are gone is empty and goes, too.
            if !is_folder || std::fs::remove_dir(&path).is_err() {
                left.push(path);
            }
        }
    }
    left.sort();
    Ok(left)
}
