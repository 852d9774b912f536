//! What is computed once and kept with the exam: small pictures and the drawn sound.
//!
//! Takes: what a thing is made of, and how it is made.
//! Gives: its bytes, out of the hidden folder `CACHE_FOLDER` of the exam where they were made before.
//! Never: a part of the record; the folder can be deleted without loss, and an exam that cannot be written to is shown all the same.
//! Tested in: `tests/it/review.rs`.

use std::io::Write;
use std::path::Path;

use sha2::{Digest, Sha256};

use crate::hex;

/// Hidden, so that the search for stills passes it by.
pub(super) const CACHE_FOLDER: &str = ".cache";

/// The bytes for `made_of`, which names everything that they depend on; made and kept where they are not there yet.
pub(super) fn kept<E>(
    folder: &Path,
    made_of: &str,
    make: impl FnOnce() -> Result<Vec<u8>, E>,
) -> Result<Vec<u8>, E> {
    let cache = folder.join(CACHE_FOLDER);
    let path = cache.join(hex(&Sha256::digest(made_of.as_bytes())));
    if let Ok(bytes) = std::fs::read(&path) {
        return Ok(bytes);
    }
    let bytes = make()?;
    // Nothing is lost where it cannot be kept: then it is made again next time.
    drop(keep(&cache, &path, &bytes));
    Ok(bytes)
}

/// Whole or not at all, so that a half-written file is never shown.
fn keep(cache: &Path, path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    crate::private::make_folder(cache)?;
    let mut part = tempfile::NamedTempFile::new_in(cache)?;
    part.write_all(bytes)?;
    part.persist(path)?;
    Ok(())
}

/// A file as it is there now, for `made_of`: its path, length and time.
pub(super) fn file_state(path: &Path) -> String {
    let about = std::fs::metadata(path).ok();
    let changed = about.as_ref().and_then(|about| about.modified().ok());
    format!("{} {:?} {changed:?}\n", path.display(), about.map(|about| about.len()))
}
