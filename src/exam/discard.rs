//! Deletes kept files of an exam by a line of its journal that keeps their hashes.
//!
//! Takes: an exam folder, the exam as it is, its open journal, and what is to go.
//! Gives: the files that are gone, and the stills that are still elsewhere.
//! Never: deletes a file before the line that says so is on the disk, or one that an exam elsewhere holds.
//! Tested in: `tests/it/retention.rs`.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use crate::exam::event::{Discarded, Event, Frame};
use crate::exam::file_integrity::{file_hashes, paired_file};
use crate::exam::fold::Exam;
use crate::exam::journal::{Journal, JournalError};
use crate::exam::sign::FileHash;
use crate::file_name::kept_file;
use crate::terminal::ShownText as _;

/// What of an exam is deleted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Discard {
    /// The kept sound.
    Sound,
    /// Sound, the stills in the folder, and what was made from the exam; the journal stays.
    Files,
}

/// What was deleted, and what was not.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Deleted {
    /// Kept files: recordings and stills.
    pub kept: Vec<FileHash>,
    /// How many files went that had been made from the exam: reports, and copies for others.
    pub made: usize,
    /// Stills of the exam that are still there, outside its folder.
    pub outside: Vec<PathBuf>,
}

/// Why files could not be deleted.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DiscardError {
    /// The journal cannot be written.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// Somebody may still be listening.
    #[error("the exam was never closed, so nothing was deleted; close it with `zonecall resume`")]
    Open,
    /// A file cannot be deleted.
    #[error("cannot delete `{path}`: {source}; its line is written, so try again", path = path.shown())]
    Delete {
        /// The file.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
}

/// Deletes kept files; a second time it deletes what is still there of them.
///
/// # Errors
/// When the exam was never closed, or the disk refuses.
pub fn discard(
    folder: &Path,
    exam: &Exam,
    journal: &mut Journal,
    what: Discard,
    (why, by): (&str, Option<&str>),
    at: DateTime<Utc>,
) -> Result<Deleted, DiscardError> {
    if exam.closed.is_none() {
        return Err(DiscardError::Open);
    }
    let is_sound = |file: &str| exam.audio.iter().any(|audio| audio.file == file);
    let kept = file_hashes(folder, exam).into_iter();
    let gone: Vec<FileHash> = kept
        .filter(|kept| is_inside(&kept.file) && (what == Discard::Files || is_sound(&kept.file)))
        .collect();
    let new: Vec<FileHash> = gone.iter().filter(|kept| !exam.discarded.contains(kept)).cloned().collect();
    if !new.is_empty() {
        let event =
            Event::Discarded(Discarded { files: new, why: why.to_owned(), by: by.map(str::to_owned) });
        journal.append(at, exam.last_sample(), &event)?;
    }
    for path in gone.iter().map(|kept| kept_file(folder, &kept.file)) {
        std::fs::remove_file(&path).map_err(|source| DiscardError::Delete { path, source })?;
    }
    let made: &[&str] = match what {
        Discard::Sound => &[".cache"],
        Discard::Files => &[".cache", "out"],
    };
    let n_made = if what == Discard::Files { n_files(&folder.join("out")) } else { 0 };
    for path in made.iter().map(|name| folder.join(name)).filter(|path| path.is_dir()) {
        std::fs::remove_dir_all(&path).map_err(|source| DiscardError::Delete { path, source })?;
    }
    let outside = |still: &Frame| {
        let is_elsewhere = what == Discard::Files && !is_inside(&still.file);
        is_elsewhere.then(|| paired_file(folder, &still.file, &still.sha256).ok()).flatten()
    };
    Ok(Deleted { kept: gone, made: n_made, outside: exam.frames.iter().filter_map(outside).collect() })
}

/// How many files are in a folder and those in it; what cannot be looked at is not counted.
fn n_files(folder: &Path) -> usize {
    let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
    entries
        .map(
            |entry| {
                if entry.file_type().is_ok_and(|kind| kind.is_dir()) { n_files(&entry.path()) } else { 1 }
            },
        )
        .sum()
}

/// The file is in the exam folder, by the name that the journal has for it.
pub(super) fn is_inside(file: &str) -> bool {
    Path::new(file).is_relative() && !file.split('/').any(|part| part == "..")
}
