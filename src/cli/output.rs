//! What a command writes: files, and errors.
//!
//! Takes: a path and its content; an error.
//! Gives: the file, whole or not at all; the error in one line.
//! Never: makes a folder, or writes over what belongs to an exam.
//! Tested in: `tests/it/cli.rs`, and here.

use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};

use anyhow::{Context as _, ensure};

use super::pair_copy::STILLS_FOLDER;
use crate::exam::journal::JOURNAL_FILE;
use crate::exam::time_stamp_file::STAMPS_FOLDER;
use crate::exam_folder::{AUDIO_FOLDER, OUT_FOLDER};
use crate::plain_file;
use crate::report::signed::SIGNED_FOLDER;
use crate::session::error::in_one_line;
use crate::terminal::ShownText as _;

/// How the names of what is exported end; only such a file beside a journal is replaced.
const EXPORTS: [&str; 6] = ["html", "pdf", "json", "csv", "vtt", "zip"];
/// The folders of an exam that hold what was recorded.
const RECORDS: [&str; 4] = [AUDIO_FOLDER, STILLS_FOLDER, SIGNED_FOLDER, STAMPS_FOLDER];
/// How the names of pictures and recordings end: they may be the only ones.
const ORIGINALS: [&str; 9] = ["dcm", "png", "jpg", "jpeg", "bmp", "tif", "tiff", "wav", "flac"];

/// Writes a file whose name a person chose: one that may be an original is not replaced.
pub(crate) fn write_named(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    let is_original = path.is_file() && (ends_in(path, &ORIGINALS) || begins_as_original(path));
    ensure!(
        !is_original,
        "`{}` is a picture or a recording, and would be lost; name another file",
        path.shown()
    );
    write_file(path, bytes)
}

/// Whether a file begins as pictures and recordings do: many scanners give their files names without an ending.
///
/// The marks are those of DICOM PS3.10, 7.1, and, from memory, of PNG, JPEG, BMP, TIFF, WAV and AVI, FLAC and AIFF.
fn begins_as_original(path: &Path) -> bool {
    let mut start = Vec::new();
    let read = plain_file::open(path).and_then(|file| file.take(132).read_to_end(&mut start));
    let marks: [&[u8]; 8] =
        [b"\x89PNG", b"\xff\xd8\xff", b"BM", b"II*\0", b"MM\0*", b"RIFF", b"fLaC", b"FORM"];
    read.is_ok() && (marks.iter().any(|mark| start.starts_with(mark)) || start.get(128..) == Some(b"DICM"))
}

fn ends_in(path: &Path, endings: &[&str]) -> bool {
    let ending = path.extension().unwrap_or_default();
    endings.iter().any(|known| ending.eq_ignore_ascii_case(known))
}

/// The exam folder whose journal, sound, stills or signatures a file of this name would be among or in place of.
fn exam_at_risk(path: &Path) -> Option<PathBuf> {
    let absolute = |path: &Path| std::fs::canonicalize(path).or_else(|_| std::path::absolute(path));
    // A link is where it leads to.
    let real = if path.exists() {
        absolute(path).ok()?
    } else {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
        absolute(folder).ok()?.join(path.file_name()?)
    };
    let exam = real.ancestors().skip(1).find(|folder| folder.join(JOURNAL_FILE).is_file())?;
    let inside = real.strip_prefix(exam).ok()?;
    let is_record = if inside.components().count() == 1 {
        real.exists() && !ends_in(&real, &EXPORTS)
    } else {
        RECORDS.iter().any(|folder| inside.starts_with(folder))
    };
    is_record.then(|| exam.to_owned())
}

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
    if let Some(exam) = exam_at_risk(path) {
        let (path, exam) = (path.shown(), exam.join(OUT_FOLDER));
        let exam = exam.shown();
        anyhow::bail!(
            "`{path}` is among the records of an exam, and nothing was written; name a file in `{exam}` or elsewhere"
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
