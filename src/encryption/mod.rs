//! Exams encrypted at rest: whoever takes the disk learns nothing from them.
//!
//! Takes: a closed exam folder and the public keys of those who may read it; or an encrypted file and a secret key.
//! Gives: one file in the format of age (C2SP `age`), a tar archive inside; or the folder again.
//! Never: needs a secret key to encrypt, or removes a folder before its file was written, synced and read back whole.
//! Tested in: `tests/it/encryption.rs`, against the program age.

pub mod keys;
mod contents;
pub mod encrypt;
pub mod decrypt;

use std::path::{Path, PathBuf};

pub use crate::exam_folder::ENCRYPTED;
use crate::exam_folder::with_ending;

/// Where the encrypted file of an exam folder is, unless another name is given: beside it.
#[must_use]
pub fn encrypted_file(folder: &Path) -> PathBuf {
    with_ending(folder, ENCRYPTED)
}
