//! Files that lie in a folder, opened to be read: only plain ones.
//!
//! Takes: the path of a file that was found, not one that a person names.
//! Gives: the file, its bytes or its text.
//! Never: waits for a pipe that nobody writes into, or reads a device without end.
//! Tested in: `tests/it/pipes.rs`; `tests/it/tidy.rs` keeps the folders that read exams to it.

use std::fs::{File, OpenOptions};
use std::io::{Error, ErrorKind, Read as _, Result};
use std::path::Path;

/// Opens a plain file.
///
/// # Errors
/// When there is none, it is something else, or it cannot be read.
pub fn open(path: &Path) -> Result<File> {
    let mut options = OpenOptions::new();
    options.read(true);
    // A pipe is opened at once, though nobody writes into it; to a plain file it makes no difference.
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::custom_flags(
        &mut options,
        rustix::fs::OFlags::NONBLOCK.bits().cast_signed(),
    );
    let file = options.open(path)?;
    // Of what was opened, for the name may lead elsewhere by now.
    if file.metadata()?.is_file() {
        Ok(file)
    } else {
        Err(Error::new(ErrorKind::InvalidInput, "it is not a file"))
    }
}

/// All of a plain file.
///
/// # Errors
/// As `open`.
pub fn read(path: &Path) -> Result<Vec<u8>> {
    let mut bytes = Vec::new();
    open(path)?.read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// All of a plain file, as text.
///
/// # Errors
/// As `open`, and when it is no UTF-8.
pub fn read_to_string(path: &Path) -> Result<String> {
    let mut text = String::new();
    open(path)?.read_to_string(&mut text)?;
    Ok(text)
}
