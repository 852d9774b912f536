//! Files that a command writes.
//!
//! Takes: a path and what is to stand there.
//! Gives: the file, whole or not at all.
//! Never: makes a folder.
//! Tested in: `tests/it/cli.rs`.

use std::io::Write as _;
use std::path::Path;

use anyhow::{Context as _, ensure};

/// Writes a file whole or not at all; into a device or a pipe it writes as it comes. It makes no folder: a slip of the
/// hand in a path would be lost in one that nobody looks for.
pub(crate) fn write_file(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        let shown = folder.display();
        ensure!(
            folder.is_dir(),
            "cannot write `{}`: there is no folder `{shown}`; make it with `mkdir -p \"{shown}\"`, or name another file",
            path.display()
        );
    }
    let write = || -> std::io::Result<()> {
        // A device or a pipe is written into, never replaced by a file of its name.
        if std::fs::metadata(path).is_ok_and(|found| !found.is_file()) {
            return std::fs::OpenOptions::new().write(true).open(path)?.write_all(bytes);
        }
        // Under a name that nobody else has, in the same folder: only there can it take the other's place at once.
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        let mut builder = tempfile::Builder::new();
        #[cfg(unix)]
        builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
        let mut file = builder.tempfile_in(folder)?;
        file.write_all(bytes)?;
        file.as_file().sync_all()?;
        file.persist(path)?;
        Ok(())
    };
    write().with_context(|| format!("cannot write `{}`", path.display()))
}
