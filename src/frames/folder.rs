//! Finds the saved stills in a folder.
//!
//! Takes: the folder, the exam folder and the exam's lead on UTC.
//! Gives: `Frame`s in the order they were saved, and the files that could not be used, with the reason.
//! Never: changes a file; a bad file is a problem to be told, not a failure.
//! Tested in: `tests/frames.rs`.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use sha2::{Digest, Sha256};

use crate::exam::call::Problem;
use crate::exam::event::Frame;
use crate::frames::dicom;

/// A folder with more files than this is refused.
pub const FILES_MAX: usize = 100_000;
/// Folders inside folders are followed this deep.
const DEPTH_MAX: usize = 16;
const PICTURES: [&str; 7] = ["png", "jpg", "jpeg", "bmp", "tif", "tiff", "gif"];

/// The folder cannot be searched.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FolderError {
    /// It cannot be opened.
    #[error("cannot search `{path}` for stills: {source}")]
    Read {
        /// The folder.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// It holds too many files.
    #[error("`{path}` holds more than {FILES_MAX} files; name the folder of this exam only")]
    TooMany {
        /// The folder.
        path: PathBuf,
    },
}

/// What was found.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Found {
    /// The stills, sorted by the scanner's clock.
    pub frames: Vec<Frame>,
    /// Files that are no stills or cannot be read.
    pub refused: Vec<(PathBuf, Problem)>,
}

/// Finds the stills in `folder`.
///
/// # Errors
/// When the folder itself cannot be searched.
pub fn stills(folder: &Path, exam_folder: &Path, utc_offset_s: i32) -> Result<Found, FolderError> {
    let mut files = Vec::new();
    walk(folder, 0, &mut files)?;
    files.sort();
    let mut found = Found::default();
    for path in files {
        match still(&path, exam_folder, utc_offset_s) {
            Ok(frame) => match found.frames.iter().find(|known| known.id == frame.id) {
                Some(known) => found.refused.push((path, Problem {
                    message: format!("is the same still as `{}`", known.file),
                    help: "it was taken once".to_owned(),
                })),
                None => found.frames.push(frame),
            },
            Err(problem) => found.refused.push((path, problem)),
        }
    }
    found.frames.sort_by(|a, b| (a.saved_at, a.instance_number, &a.id).cmp(&(b.saved_at, b.instance_number, &b.id)));
    Ok(found)
}

fn walk(folder: &Path, depth: usize, files: &mut Vec<PathBuf>) -> Result<(), FolderError> {
    let read = |source| FolderError::Read { path: folder.to_owned(), source };
    for entry in std::fs::read_dir(folder).map_err(read)? {
        let entry = entry.map_err(read)?;
        let kind = entry.file_type().map_err(read)?;
        if entry.file_name().to_string_lossy().starts_with('.') {
            continue;
        }
        if kind.is_dir() && depth < DEPTH_MAX {
            walk(&entry.path(), depth + 1, files)?;
        } else if kind.is_file() {
            files.push(entry.path());
        }
        if files.len() > FILES_MAX {
            return Err(FolderError::TooMany { path: folder.to_owned() });
        }
    }
    Ok(())
}

fn still(path: &Path, exam_folder: &Path, utc_offset_s: i32) -> Result<Frame, Problem> {
    let refuse = |message: String| Problem { message, help: "it was left out; the file itself is untouched".to_owned() };
    let bytes = std::fs::read(path).map_err(|error| refuse(format!("cannot be read: {error}")))?;
    let sha256 = crate::hex(&Sha256::digest(&bytes));
    let extension = path.extension().map(|ext| ext.to_string_lossy().to_lowercase()).unwrap_or_default();
    let header = if PICTURES.contains(&extension.as_str()) {
        dicom::Header { uid: None, saved: None, instance_number: None, size_px: None, problems: Vec::new() }
    } else {
        dicom::read(path, utc_offset_s).map_err(refuse)?
    };
    let mut problems = header.problems;
    let saved = match header.saved {
        Some(saved) => saved,
        None => {
            problems.push(Problem {
                message: "the file holds no time of its own".to_owned(),
                help: "its modification time was taken, which copying may have changed".to_owned(),
            });
            let changed = std::fs::metadata(path).and_then(|meta| meta.modified());
            let at: DateTime<Utc> = changed.map_err(|error| refuse(format!("has no time: {error}")))?.into();
            dicom::Saved { at, resolution_s: 1.0, source: "file time", zone_assumed: false }
        }
    };
    let (here, root) = (absolute(path), absolute(exam_folder));
    let file = here.strip_prefix(&root).map_or_else(|_| here.clone(), Path::to_owned);
    Ok(Frame {
        id: header.uid.unwrap_or_else(|| format!("sha256:{sha256}")),
        file: file.to_string_lossy().into_owned(),
        sha256,
        saved_at: saved.at,
        resolution_s: saved.resolution_s,
        time_source: saved.source.to_owned(),
        zone_assumed: saved.zone_assumed,
        instance_number: header.instance_number,
        size_px: header.size_px,
        problems,
    })
}

fn absolute(path: &Path) -> PathBuf {
    std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned())
}
