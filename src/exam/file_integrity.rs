//! Whether the kept sound and the stills are still the files that they were.
//!
//! Takes: an exam folder and its `Exam`.
//! Gives: the hashes of its files; which of them are other files than when the exam was closed or signed; the way to a
//! still's file, if that is the file that was paired.
//! Never: changes a file. A file that is gone is `sound`'s and the stills' own business.
//! Tested in: `tests/it/file_integrity.rs`.

use std::collections::BTreeSet;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use crate::exam::logged::{Exam, FileChange};
use crate::exam::sign::FileHash;
use crate::file_name::kept_file;
use crate::plain_file;

/// Bytes read at once.
const PIECE: usize = 1 << 16;

/// Why the file of a still must not be shown, measured or copied.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum StillFault {
    /// There is none, or it cannot be read.
    #[error("`{file}` cannot be read: {source}; run `zonecall pair` with the folder that it is in now")]
    Unread {
        /// Its name as the journal has it.
        file: String,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// A scanner numbers its files anew on each stick, so another picture may have this name now.
    #[error(
        "`{file}` is not the file that was paired: its content has changed; run `zonecall pair` with the folder \
         or the medium that holds the paired file, or put that file back"
    )]
    Other {
        /// Its name as the journal has it.
        file: String,
    },
}

/// Where the file of a still is, once its content is known to be what was paired: the one way to a picture under a label.
///
/// `file` and `sha256` are as the journal has them.
///
/// # Errors
/// When it cannot be read, or another file has its name now.
pub fn paired_file(folder: &Path, file: &str, sha256: &str) -> Result<PathBuf, StillFault> {
    let path = kept_file(folder, file);
    match self::sha256(&path) {
        Ok(now) if now == sha256 => Ok(path),
        Ok(_) => Err(StillFault::Other { file: file.to_owned() }),
        Err(source) => Err(StillFault::Unread { file: file.to_owned(), source }),
    }
}

/// The kept files of an exam as they are now; one that cannot be read is left out.
#[must_use]
pub fn file_hashes(folder: &Path, exam: &Exam) -> Vec<FileHash> {
    let sound = exam.audio.iter().map(|audio| &audio.file);
    let files = sound.chain(exam.frames.iter().map(|still| &still.file));
    let hashed = |file: &String| {
        let sha256 = sha256(&kept_file(folder, file)).ok()?;
        Some(FileHash { file: file.clone(), sha256 })
    };
    files.filter_map(hashed).collect()
}

/// Notes which files were changed since the exam was closed or last signed, and stills since they were found.
pub fn note_files(folder: &Path, exam: &mut Exam) {
    note(folder, exam, |_| true, sha256);
}

/// The same of the stills only; `hash` gives the SHA-256 of a file, which may be remembered as long as nothing hangs on it
/// but what is shown as a question.
pub fn note_stills(folder: &Path, exam: &mut Exam, hash: impl Fn(&Path) -> std::io::Result<String>) {
    let stills: BTreeSet<String> = exam.frames.iter().map(|still| still.file.clone()).collect();
    note(folder, exam, |file| stills.contains(file), hash);
}

fn note(
    folder: &Path,
    exam: &mut Exam,
    is_meant: impl Fn(&str) -> bool,
    hash: impl Fn(&Path) -> std::io::Result<String>,
) {
    let mut known: Vec<FileHash> =
        exam.signed.as_ref().map(|signed| signed.signed.files.clone()).unwrap_or_default();
    let signed = known.len();
    let is_known = |known: &[FileHash], file: &str| known[..signed].iter().any(|other| other.file == file);
    // A still is what was found: the name may have been used again before the exam was closed, even for another of its stills.
    for still in &exam.frames {
        let found = FileHash { file: still.file.clone(), sha256: still.sha256.clone() };
        if !is_known(&known, &found.file) && !known.contains(&found) {
            known.push(found);
        }
    }
    for one in &exam.sealed {
        if known.iter().all(|other| other.file != one.file) {
            known.push(one.clone());
        }
    }
    let is_signed = |file: &str| {
        exam.signed.as_ref().is_some_and(|signed| signed.signed.files.iter().any(|kept| kept.file == file))
    };
    let changed = |kept: &FileHash| {
        let now = hash(&kept_file(folder, &kept.file)).ok()?;
        (now != kept.sha256).then(|| FileChange {
            file: kept.file.clone(),
            was_signed: is_signed(&kept.file),
            is_gone: false,
        })
    };
    exam.changed_files = known.iter().filter(|kept| is_meant(&kept.file)).filter_map(changed).collect();
    // What a vet signed is what was there then.
    exam.is_signed &= exam.changed_files.iter().all(|change| !change.was_signed);
}

/// SHA-256 of a file, in hexadecimal.
///
/// # Errors
/// When it is no file or cannot be read.
pub(crate) fn sha256(path: &Path) -> std::io::Result<String> {
    let (mut file, mut hash, mut piece) = (plain_file::open(path)?, Sha256::new(), vec![0_u8; PIECE]);
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(crate::hex(&hash.finalize())),
            length => hash.update(&piece[..length]),
        }
    }
}
