//! Files and folders that only their owner can read: an exam is between a practice and the owner of a horse.
//!
//! Takes: paths.
//! Gives: folders of mode 0700 and files of mode 0600, where the system knows modes.
//! Never: changes the mode of what is there already.
//! Tested in: `tests/it/journal.rs`.

use std::fs::{DirBuilder, File, OpenOptions};
use std::io::Write as _;
use std::path::Path;

/// Makes a folder, and those above it, for its owner alone; one that is there is left as it is.
///
/// # Errors
/// When the file system refuses.
pub fn make_folder(path: &Path) -> std::io::Result<()> {
    let mut builder = DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}

/// Options that make a file for its owner alone.
#[must_use]
pub fn options() -> OpenOptions {
    let mut options = OpenOptions::new();
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options
}

/// Writes a file for its owner alone, and the folders above it: whole, or what was there before stays.
///
/// # Errors
/// When the file system refuses.
pub fn replace(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    make_folder(folder)?;
    // For its owner alone, as `tempfile` makes it.
    let mut part = tempfile::NamedTempFile::new_in(folder)?;
    part.write_all(bytes)?;
    part.as_file().sync_all()?;
    part.persist(path)?;
    #[cfg(unix)]
    File::open(folder)?.sync_all()?;
    Ok(())
}

/// Whether `path` leads to the file that is open as `file`.
#[must_use]
pub fn is_same_file(file: &File, path: &Path) -> bool {
    let (Ok(open), Ok(there)) = (file.metadata(), std::fs::metadata(path)) else { return false };
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt as _;
        (open.dev(), open.ino()) == (there.dev(), there.ino())
    }
    #[cfg(not(unix))]
    {
        (open.len(), open.created().ok()) == (there.len(), there.created().ok())
    }
}
