//! An encrypted exam becomes a folder again.
//!
//! Takes: the file and a secret key.
//! Gives: the folder, whole or not at all.
//! Never: writes outside the new folder, or over anything that is there.
//! Tested in: `tests/it/encryption.rs`.

use std::fs::File;
use std::io::BufReader;
use std::path::{Component, Path, PathBuf};
use std::time::{Duration, SystemTime};

use super::keys::Identities;
use crate::machine;
use crate::private;
use crate::terminal::ShownText as _;

/// Why a file was not decrypted; then there is no folder.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DecryptError {
    /// There is a folder.
    #[error("`{path}` already exists, and nothing is overwritten; name another folder with --into", path = path.shown())]
    There {
        /// The folder.
        path: PathBuf,
    },
    /// The disk refuses.
    #[error("cannot {doing} `{path}`: {source}", path = path.shown())]
    Io {
        /// What was being done.
        doing: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// Another key, or a damaged file.
    #[error(
        "`{path}` cannot be decrypted: {why}; check that --identity names the secret key of one of those it was encrypted \
         for, and that the file is whole",
        path = path.shown()
    )]
    Closed {
        /// The file.
        path: PathBuf,
        /// Why not.
        why: String,
    },
    /// Something that no exam folder of ours holds.
    #[error("`{path}` holds `{what}`, which does not belong in an exam folder; nothing was kept of it", path = path.shown())]
    Odd {
        /// The file.
        path: PathBuf,
        /// What it holds.
        what: String,
    },
}

/// Decrypts `file` into the new folder `into`; gives how many files it holds.
///
/// # Errors
/// When no key opens it, it is damaged or cut short, or the disk refuses.
pub fn decrypt(file: &Path, identities: &Identities, into: &Path) -> Result<usize, DecryptError> {
    let io = |doing, path: &Path| {
        let path = path.to_owned();
        move |source| DecryptError::Io { doing, path, source }
    };
    let closed = |why: String| DecryptError::Closed { path: file.to_owned(), why };
    if std::fs::symlink_metadata(into).is_ok() {
        return Err(DecryptError::There { path: into.to_owned() });
    }
    if !file.is_file() {
        let source = std::io::Error::new(std::io::ErrorKind::NotFound, "there is no such file");
        return Err(DecryptError::Io { doing: "read", path: file.to_owned(), source });
    }
    let sealed = BufReader::new(File::open(file).map_err(io("read", file))?);
    let sealed = age::Decryptor::new_buffered(sealed).map_err(|error| closed(error.to_string()))?;
    let mut plain = sealed.decrypt(identities.each()).map_err(|error| closed(error.to_string()))?;
    let parent = into.parent().filter(|parent| !parent.as_os_str().is_empty()).unwrap_or(Path::new("."));
    private::make_folder(parent).map_err(io("make", parent))?;
    // Beside the new folder, for its owner alone; it is gone again after an error.
    let room = room_in(parent).map_err(io("make", parent))?;
    let mut n_files = 0;
    let mut archive = tar::Archive::new(&mut plain);
    for entry in archive.entries().map_err(|error| closed(error.to_string()))? {
        let mut entry = entry.map_err(|error| closed(error.to_string()))?;
        let named = entry.path().map_err(|error| closed(error.to_string()))?.into_owned();
        let odd = || DecryptError::Odd { path: file.to_owned(), what: named.shown() };
        let inside = inside(&named).ok_or_else(odd)?;
        let path = room.path().join(&inside);
        match entry.header().entry_type() {
            // The folder itself, as `tar` names it.
            tar::EntryType::Directory if inside.as_os_str().is_empty() => {}
            _ if inside.as_os_str().is_empty() => return Err(odd()),
            tar::EntryType::Directory => private::make_folder(&path).map_err(io("make", &inside))?,
            tar::EntryType::Regular => {
                private::make_folder(path.parent().unwrap_or(room.path())).map_err(io("make", &inside))?;
                let new = private::options().write(true).create_new(true).open(&path);
                let mut new = new.map_err(io("write", &inside))?;
                std::io::copy(&mut entry, &mut new).map_err(|error| closed(error.to_string()))?;
                let seconds = entry.header().mtime().unwrap_or(0);
                let changed = SystemTime::UNIX_EPOCH + Duration::from_secs(seconds.min(u64::from(u32::MAX)));
                // A disk that keeps no times is no fault.
                let _ = new.set_modified(changed);
                new.sync_all().map_err(io("write", &inside))?;
                n_files += 1;
            }
            _ => return Err(odd()),
        }
    }
    // To the very end: only there it shows that nothing was cut off.
    std::io::copy(&mut plain, &mut std::io::sink()).map_err(|error| closed(error.to_string()))?;
    std::fs::rename(room.path(), into).map_err(io("rename", into))?;
    machine::this().sync_folder(parent).map_err(io("sync", parent))?;
    Ok(n_files)
}

fn room_in(parent: &Path) -> std::io::Result<tempfile::TempDir> {
    let mut room = tempfile::Builder::new();
    room.prefix(".zonecall-");
    #[cfg(unix)]
    room.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o700));
    room.tempdir_in(parent)
}

/// The path without the name of the folder that was encrypted, empty for the folder itself; none where it leads elsewhere.
fn inside(named: &Path) -> Option<PathBuf> {
    let parts: Option<Vec<_>> = named
        .components()
        .map(|part| if let Component::Normal(name) = part { Some(name) } else { None })
        .collect();
    parts.filter(|parts| !parts.is_empty()).map(|parts| parts.into_iter().skip(1).collect())
}
