//! Stills that are neither shown nor copied: their files are gone or not the ones that were paired, or they were not accepted.
//!
//! Takes: an exam that was compared with its files, and its record.
//! Gives: a warning, and how many they are.
//! Never: a line for each of a whole memory card that is used again.
//! Tested in: `tests/it/other_file.rs`.

use std::path::Path;

use crate::exam::event::Frame;
use crate::exam::fold::{Exam, FileChange};
use crate::file_name::kept_file;
use crate::knowledge::record::{FrameRow, Record, Status};
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
        let are = if others.len() == 1 { "it is" } else { "they are" };
        terminal::warn(format!(
            "{} not what was paired: the file has another content now, so {are} neither shown nor copied; run `zonecall pair` \
             with the folder or the medium that holds the paired files",
            named(&first.file, others.len())
        ));
    }
    others.len()
}

/// Tells of the stills whose files are no longer where they were paired; gives how many.
pub(crate) fn tell_gone_files(folder: &Path, exam: &Exam, record: &Record) -> usize {
    let is_gone = |(still, row): &(&Frame, &FrameRow)| {
        let is_used = row.status != Status::LeftOut && row.refused.is_none();
        is_used && !exam.is_discarded(&still.file) && !kept_file(folder, &still.file).is_file()
    };
    let gone: Vec<&Frame> =
        exam.frames.iter().zip(&record.frames).filter(is_gone).map(|(still, _)| still).collect();
    if let Some(first) = gone.first() {
        let (was, its) = if gone.len() == 1 { ("it was", "its") } else { ("they were", "their") };
        terminal::warn(format!(
            "{} no longer where {was} paired, so not shown; run `zonecall pair` with {its} new folder",
            named(&first.file, gone.len())
        ));
    }
    gone.len()
}

/// Tells of the stills that were not accepted, and so are in no export; gives how many.
pub(crate) fn tell_refused(record: &Record) -> usize {
    let refused: Vec<(&FrameRow, &String)> =
        record.frames.iter().filter_map(|row| Some((row, row.refused.as_ref()?))).collect();
    if let Some((first, why)) = refused.first() {
        terminal::warn(format!(
            "{} not accepted, so left out, the first because of this: {}; if it is this exam's horse, pair again with --same-horse, else leave it out \
             for good at the desk",
            named(&first.file, refused.len()),
            why.shown()
        ));
    }
    refused.len()
}

/// The first of so many stills, and the verb.
fn named(first: &str, count: usize) -> String {
    match count {
        1 => format!("`{}` is", first.shown()),
        2 => format!("`{}` and one more still are", first.shown()),
        _ => format!("`{}` and {} more stills are", first.shown(), count - 1),
    }
}
