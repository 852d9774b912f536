//! Stills whose files are not the ones that were paired, reported once.
//!
//! Takes: an exam that was compared with its files.
//! Gives: a warning, and how many they are.
//! Never: a line for each of a whole memory card that is used again.
//! Tested in: `tests/it/other_file.rs`.

use crate::exam::fold::{Exam, FileChange};
use crate::terminal::{self, ShownText as _};

/// Whether this file is another one than the exam was paired with.
pub(crate) fn is_other(exam: &Exam, file: &str) -> bool {
    exam.changed_files.iter().any(|change| !change.is_gone && change.file == file)
}

/// Tells of the stills that are neither shown nor copied for that reason; gives how many.
pub(crate) fn tell_other_files(exam: &Exam) -> usize {
    let others: Vec<&FileChange> = (exam.changed_files.iter())
        .filter(|change| !change.is_gone && exam.frames.iter().any(|still| still.file == change.file))
        .collect();
    if let Some(first) = others.first() {
        let (name, more) = (first.file.shown(), others.len() - 1);
        let (which, are) = match more {
            0 => (format!("`{name}` is"), "it is"),
            1 => (format!("`{name}` and one more still are"), "they are"),
            _ => (format!("`{name}` and {more} more stills are"), "they are"),
        };
        terminal::warn(format!(
            "{which} not what was paired: the file has another content now, so {are} neither shown nor copied; run \
             `zonecall pair` with the folder or the medium that holds the paired files"
        ));
    }
    others.len()
}
