//! Stills copied into the exam's own folder, so that they outlive the scanner's memory card.
//!
//! Takes: an exam folder whose stills are elsewhere.
//! Gives: copies in `stills/` that only the owner can read, and lines of the journal that name them.
//! Never: a copy of another file than the one that was paired, of another horse's still, or over a file that is there.
//! Tested in: `tests/it/other_file.rs`.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use chrono::Utc;

use crate::exam::event::{Event, Frame};
use crate::exam::file_integrity::sha256;
use crate::exam::fold::Exam;
use crate::exam::review::Change;
use crate::exam_folder::ExamFolder;
use crate::file_name::spelled;
use crate::plain_file;
use crate::private;
use crate::protocol::Protocols;
use crate::report::words::count;
use crate::terminal::ShownText as _;

/// Where the copies are, inside the exam folder.
pub(crate) const STILLS_FOLDER: &str = "stills";

/// Whether a still's file is one that pairing copied into the exam's folder.
pub(super) fn is_own_copy(file: &str) -> bool {
    Path::new(file).starts_with(STILLS_FOLDER)
}

/// The exam's stills that are named by a place outside its folder: no longer there, the exam has no picture.
fn elsewhere(exam: &Exam) -> impl Iterator<Item = &Frame> {
    let refused = exam.refused(&exam.frames);
    let is_left_out = |still: &Frame| {
        exam.said_of_still(&still.id)
            .is_some_and(|said| matches!(said.review.change, Change::LeaveOut { .. }))
    };
    let of_exam =
        exam.frames.iter().zip(refused).filter(|(_, refused)| refused.is_none()).map(|(still, _)| still);
    of_exam.filter(move |still| Path::new(&still.file).is_absolute() && !is_left_out(still))
}

/// Copies them if that is wanted, or says that they are only named; false where a copy failed.
pub(super) fn copy_or_tell(
    out: &mut impl Write,
    folder: &ExamFolder,
    protocols: &Protocols,
    is_wanted: bool,
) -> anyhow::Result<bool> {
    let exam = folder.exam(protocols)?;
    let outside: Vec<&Frame> = elsewhere(&exam).collect();
    let Some(first) = outside.first() else { return Ok(true) };
    let n_outside = count(outside.len(), "still");
    if !is_wanted {
        let at = Path::new(&first.file).parent().unwrap_or(Path::new("/")).shown();
        writeln!(
            out,
            "{n_outside} stayed where the files are, such as in {at}: the journal names them and does not hold them, so keep the \
             files, or pair again with --copy, which copies them into the exam's folder"
        )?;
        return Ok(true);
    }
    if exam.is_signed {
        writeln!(
            out,
            "NOT COPIED {n_outside}: the exam is signed, and a line that names other files would make it a draft; keep the files"
        )?;
        return Ok(false);
    }
    let mut journal = folder.append_journal()?;
    let now = Utc::now();
    let (mut copied, mut whole) = (0, true);
    for still in outside {
        match copy(folder, still) {
            Ok(file) => {
                journal.append(
                    now,
                    exam.last_sample(),
                    &Event::Frame(Box::new(Frame { file, ..still.clone() })),
                )?;
                copied += 1;
            }
            Err(error) => {
                whole = false;
                writeln!(out, "NOT COPIED {}: {error:#}", still.file.shown())?;
            }
        }
    }
    writeln!(out, "{} copied into {}", count(copied, "still"), folder.path().join(STILLS_FOLDER).shown())?;
    Ok(whole)
}

/// Copies one still; gives the name that the journal has for it.
fn copy(folder: &ExamFolder, still: &Frame) -> anyhow::Result<String> {
    let from = folder.paired_file(still)?;
    let into = folder.path().join(STILLS_FOLDER);
    private::make_folder(&into).with_context(|| format!("cannot make `{}`", into.shown()))?;
    let to = free_name(&into, &from, &still.sha256);
    if !to.exists() {
        let failed = || format!("cannot write `{}`", to.shown());
        // Whole or not at all, and for its owner alone, as temporary files are.
        let mut part = tempfile::NamedTempFile::new_in(&into).with_context(failed)?;
        let mut file = plain_file::open(&from).with_context(failed)?;
        std::io::copy(&mut file, &mut part).with_context(failed)?;
        part.as_file().sync_all().with_context(failed)?;
        anyhow::ensure!(
            sha256(part.path()).with_context(failed)? == still.sha256,
            "it changed while it was copied"
        );
        part.persist_noclobber(&to).with_context(failed)?;
    }
    Ok(spelled(&Path::new(STILLS_FOLDER).join(to.file_name().unwrap_or_default())))
}

/// The still's own name, or with a number where another file has it: a scanner begins anew with each memory card.
fn free_name(into: &Path, from: &Path, wanted: &str) -> PathBuf {
    let name = from.file_name().unwrap_or_default();
    let numbered = |number: u32| {
        let mut stem = from.file_stem().unwrap_or_default().to_owned();
        stem.push(format!("-{number}"));
        if let Some(ending) = from.extension() {
            stem.push(".");
            stem.push(ending);
        }
        into.join(stem)
    };
    let mut paths = std::iter::once(into.join(name)).chain((2..).map(numbered));
    let is_free = |path: &PathBuf| !path.exists() || sha256(path).is_ok_and(|there| there == wanted);
    paths.find(is_free).unwrap_or_else(|| into.join(name))
}
