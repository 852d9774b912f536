//! Whether the kept sound and the stills are still the files that they were.
//!
//! Takes: an exam folder and its `Exam`.
//! Gives: the hashes of its files; which of them are other files than when the exam was closed or signed.
//! Never: changes a file. A file that is gone is `sound`'s and the stills' own business.
//! Tested in: `tests/it/seal.rs`.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::exam::logged::{Exam, FileChange};
use crate::exam::sign::FileHash;
use crate::file_name::kept_file;

/// Bytes read at once.
const PIECE: usize = 1 << 16;

/// The kept files of an exam as they are now; one that cannot be read is left out.
#[must_use]
pub fn seal(folder: &Path, exam: &Exam) -> Vec<FileHash> {
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
    let mut known: Vec<FileHash> =
        exam.signed.as_ref().map(|signed| signed.signed.files.clone()).unwrap_or_default();
    let sealed = exam.sealed.iter().cloned();
    let found =
        exam.frames.iter().map(|still| FileHash { file: still.file.clone(), sha256: still.sha256.clone() });
    for one in sealed.chain(found) {
        if known.iter().all(|other| other.file != one.file) {
            known.push(one);
        }
    }
    let is_signed = |file: &str| {
        exam.signed.as_ref().is_some_and(|signed| signed.signed.files.iter().any(|kept| kept.file == file))
    };
    let changed = |kept: &FileHash| {
        let now = sha256(&kept_file(folder, &kept.file)).ok()?;
        (now != kept.sha256).then(|| FileChange {
            file: kept.file.clone(),
            was_signed: is_signed(&kept.file),
            is_gone: false,
        })
    };
    exam.changed_files = known.iter().filter_map(changed).collect();
    // What a vet signed is what was there then.
    exam.is_signed &= exam.changed_files.iter().all(|change| !change.was_signed);
}

/// SHA-256 of a file, in hexadecimal.
///
/// # Errors
/// When it is no file or cannot be read.
pub(crate) fn sha256(path: &Path) -> std::io::Result<String> {
    // A pipe of this name would be waited for without end.
    if !std::fs::metadata(path)?.is_file() {
        return Err(std::io::ErrorKind::InvalidInput.into());
    }
    let (mut file, mut hash, mut piece) = (File::open(path)?, Sha256::new(), vec![0_u8; PIECE]);
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(crate::hex(&hash.finalize())),
            length => hash.update(&piece[..length]),
        }
    }
}
