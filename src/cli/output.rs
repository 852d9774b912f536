//! What a command writes: files, and errors.
//!
//! Takes: a path and its content; an error.
//! Gives: the file, whole or not at all; the error in one line.
//! Never: makes a folder.
//! Tested in: `tests/it/cli.rs`, and here.

use std::io::Write as _;
use std::path::Path;

use anyhow::{Context as _, ensure};

use crate::session::error::in_one_line;
use crate::terminal::ShownText as _;

/// Writes a file whole or not at all; into a device or a pipe it writes as it comes. It makes no folder: a slip of the
/// hand in a path would be lost in one that nobody looks for.
pub(crate) fn write_file(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        let shown = folder.shown();
        ensure!(
            folder.is_dir(),
            "cannot write `{}`: there is no folder `{shown}`; make it with `mkdir -p \"{shown}\"`, or name another file",
            path.shown()
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
    write().with_context(|| format!("cannot write `{}`", path.shown()))
}

/// The error and its causes in one line; a cause that the error names itself is not named twice.
pub(crate) fn one_line(error: &anyhow::Error) -> String {
    in_one_line(error.as_ref())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cause_that_the_error_names_itself_is_named_once() {
        let cause = std::io::Error::other("unexpected end of file");
        let error =
            crate::speech::recording::RecordingError::Read { path: "visit.flac".into(), source: cause };
        let error = anyhow::Error::new(error).context("what was heard is kept");
        let text = one_line(&error);
        assert!(text.starts_with("what was heard is kept: cannot read the recording `visit.flac`"), "{text}");
        assert_eq!(text.matches("unexpected end of file").count(), 1, "{text}");
    }
}
