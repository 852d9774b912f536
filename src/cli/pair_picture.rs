//! Looks at the pictures of stills that are new, as they are paired: later the card may have been used again.
//!
//! Takes: the stills of a folder, and what the exam has already.
//! Gives: a note on each new still whose picture is missing or cannot be decoded.
//! Never: decodes in this program; looks twice at a file that was paired.
//! Tested in: `tests/it/no_picture.rs`.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use sha2::{Digest as _, Sha256};

use crate::exam::event::Frame;
use crate::exam::fold::Exam;
use crate::file_name::kept_file;
use crate::plain_file;
use crate::report::picture::lacking;
use crate::terminal;

/// Stills that are decoded at once, at most; each by a program of its own.
const AT_ONCE_MAX: usize = 4;
/// Decoding more stills than this takes seconds: the program says what it is doing.
const ANNOUNCED_FROM: usize = 100;

/// Notes on each still that `exam` does not have yet, whether its picture can be shown.
pub(super) fn look_at_pictures(exam_folder: &Path, exam: &Exam, stills: &mut [Frame]) {
    let known: BTreeSet<&str> = exam.frames.iter().map(|still| still.sha256.as_str()).collect();
    let is_new = |still: &Frame| !known.contains(still.sha256.as_str());
    let new: Vec<usize> = (0..stills.len()).filter(|idx| is_new(&stills[*idx])).collect();
    if new.len() > ANNOUNCED_FROM {
        terminal::warn(format!("zonecall: looking at the pictures of {} new stills", new.len()));
    }
    let (next, found) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    let at_once = std::thread::available_parallelism().map_or(1, usize::from).min(AT_ONCE_MAX);
    let files: Vec<_> = new.iter().map(|idx| kept_file(exam_folder, &stills[*idx].file)).collect();
    std::thread::scope(|scope| {
        for _ in 0..at_once.min(files.len()) {
            scope.spawn(|| {
                while let Some((idx, file)) = {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    new.get(at).zip(files.get(at))
                } {
                    if let Some(problem) =
                        lacking(&stills[*idx], file).filter(|_| is_as_found(file, &stills[*idx]))
                    {
                        found.lock().unwrap_or_else(std::sync::PoisonError::into_inner).push((*idx, problem));
                    }
                }
            });
        }
    });
    for (idx, problem) in found.into_inner().unwrap_or_else(std::sync::PoisonError::into_inner) {
        stills[idx].problems.push(problem);
    }
}

/// Whether the file can still be read, and is the one that was found: a card that was pulled out says nothing of its pictures.
fn is_as_found(file: &Path, still: &Frame) -> bool {
    plain_file::read(file).is_ok_and(|bytes| crate::hex(&Sha256::digest(bytes)) == still.sha256)
}
