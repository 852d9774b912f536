//! What is in a folder, as it goes into an archive.
//!
//! Takes: a folder.
//! Gives: its files and folders, in the order of their paths.
//! Never: follows a link; what is neither a file nor a folder is an error, for an archive could not give it back.
//! Tested in: `tests/it/encryption.rs`.

use std::io::Result;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

/// What is made from the exam and may be deleted is left out.
const LEFT_OUT: &str = ".cache";

/// A file or a folder.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct FolderItem {
    /// Its path, from the folder.
    pub(super) path: PathBuf,
    /// Length of a file in bytes; none for a folder.
    pub(super) bytes: Option<u64>,
    pub(super) changed: SystemTime,
}

/// Something that no archive could give back.
#[derive(Debug)]
pub(super) enum ContentsError {
    /// Neither file nor folder.
    Odd(PathBuf),
    /// It cannot be read.
    Io(PathBuf, std::io::Error),
}

/// Everything in a folder.
pub(super) fn contents(folder: &Path) -> std::result::Result<Vec<FolderItem>, ContentsError> {
    let mut all = Vec::new();
    let mut open = vec![PathBuf::new()];
    while let Some(inside) = open.pop() {
        let here = folder.join(&inside);
        let entries = std::fs::read_dir(&here).and_then(Iterator::collect::<Result<Vec<_>>>);
        for entry in entries.map_err(|error| ContentsError::Io(here.clone(), error))? {
            let path = inside.join(entry.file_name());
            if path == Path::new(LEFT_OUT) {
                continue;
            }
            let failed = |error| ContentsError::Io(entry.path(), error);
            let about = std::fs::symlink_metadata(entry.path()).map_err(failed)?;
            let changed = about.modified().map_err(failed)?;
            let bytes = match about.file_type() {
                kind if kind.is_file() => Some(about.len()),
                kind if kind.is_dir() => {
                    open.push(path.clone());
                    None
                }
                _ => return Err(ContentsError::Odd(entry.path())),
            };
            all.push(FolderItem { path, bytes, changed });
        }
    }
    all.sort();
    Ok(all)
}
