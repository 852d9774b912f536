//! Finds the stills in a folder.
//!
//! Takes: a folder, the exam folder (for short paths) and the exam's time zone.
//! Gives: the stills in the order they were saved, and what is wrong with files that are none.
//! Never: fails because of a bad file; changes a file; follows a link to another folder.
//! Tested in: `tests/it/frames.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Read;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use sha2::{Digest, Sha256};

use crate::exam::call::Problem;
use crate::exam::event::Frame;
use crate::exam::journal::JOURNAL_FILE;
use crate::file_name::{kept_file, spelled};
use crate::frames::beside::{is_own_file, is_own_folder};
use crate::frames::dicom::{self, StillHeader};
use crate::frames::image;
use crate::frames::part10::{START_BYTES, is_dicom};
use crate::frames::time_value::problem;
use crate::plain_file;

/// The kinds of files that can be stills.
pub const KINDS: &str = "DICOM, PNG, JPEG, BMP and TIFF";
/// Files and folders looked at in all; the rest is left out, and that is reported.
pub const MAX_FILES: usize = 50_000;
/// Folders inside folders.
pub const MAX_DEPTH: usize = 32;
/// The list that `zonecall receive` keeps beside the stills it took.
pub(crate) const RECEIVED_FILE: &str = "received.jsonl";
/// The archive of an export of labelled copies: the folder that holds it holds copies, and no stills.
pub const LABELLED_ARCHIVE: &str = "labelled.zip";
/// The same of copies for teaching.
pub const TEACHING_ARCHIVE: &str = "teaching.zip";
/// What an exam's reports and copies are in, beside its journal.
const MADE_FOLDER: &str = "out";
/// Larger files are not read.
pub const MAX_FILE_BYTES: u64 = 2 << 30;
/// Where the time of a still that states none comes from.
pub const FILE_TIME: &str = "file time";
/// Nobody saves stills faster than one in so many seconds, on average.
const SAVE_S_MIN: usize = 1;

/// What was found in a folder.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct FoundStills {
    /// The stills, in the order they were saved, then by their number on the scanner.
    pub stills: Vec<Frame>,
    /// What may be a still and cannot be used, with the reason.
    pub refused: Vec<(PathBuf, Problem)>,
    /// What a scanner or a computer keeps there for itself, such as a DICOMDIR; no still, and no fault.
    pub beside: Vec<PathBuf>,
}

/// Reads all stills under `folder`.
///
/// `utc_offset_s` is the exam's time zone, taken for files that name none.
/// Paths inside `exam_folder` are given relative to it.
#[must_use]
pub fn read(folder: &Path, exam_folder: &Path, utc_offset_s: i32) -> FoundStills {
    let Listing { files, beside, mut problems } = files(folder);
    let mut frames: Vec<Frame> = Vec::new();
    // By id: file and hash of the first that has it.
    let mut seen: BTreeMap<String, (String, String)> = BTreeMap::new();
    let exam_folder = absolute(exam_folder);
    for path in files {
        match frame(&path, shown(&path, &exam_folder), utc_offset_s) {
            Ok(frame) => match seen.get(&frame.id) {
                Some((first, sha256)) => {
                    if frame.sha256 != *sha256 {
                        note_namesake(&mut frames, &frame);
                    }
                    problems.push((path, same_name(&frame, first, sha256)));
                }
                None => {
                    seen.insert(frame.id.clone(), (frame.file.clone(), frame.sha256.clone()));
                    frames.push(frame);
                }
            },
            Err(fault) => problems.push((path, fault)),
        }
    }
    frames.sort_by(|a, b| {
        (a.saved_at, a.instance_number, &a.file).cmp(&(b.saved_at, b.instance_number, &b.file))
    });
    FoundStills { stills: frames, refused: problems, beside }
}

/// Notes on the still that is taken that another file has its name: which of the two was meant, the exam goes on asking.
fn note_namesake(taken: &mut [Frame], other: &Frame) {
    if let Some(first) = taken.iter_mut().find(|first| first.id == other.id) {
        first.problems.push(problem(
            format!(
                "another file, `{}`, has its SOP Instance UID and other content, and was left out",
                other.file
            ),
            "compare both files; one that shows another view must be exported again, or as PNG",
        ));
    }
}

/// Why a file is left out that has the name of an object which is there already: it is a copy, or a faulty scanner gave two
/// stills one name. Nobody is told to remove what may be the only file of a view.
pub(crate) fn same_name(frame: &Frame, first: &str, sha256: &str) -> Problem {
    if frame.sha256 == sha256 {
        return problem(
            format!("the same still as `{first}`: both are `{}`", frame.id),
            "the first one is used; remove the copy",
        );
    }
    problem(
        format!("it has the name of `{first}`, `{}`, and other content", frame.id),
        "keep both files and compare them; a still that the scanner gave the name of another one must be exported again, or as \
         PNG",
    )
}

/// Notes on each still whose file is not where it was found; paths that are not absolute start from `exam_folder`.
pub fn note_missing<'a>(exam_folder: &Path, stills: impl IntoIterator<Item = &'a mut Frame>) {
    for still in stills {
        if !kept_file(exam_folder, &still.file).is_file() {
            still.problems.push(problem(
                format!("the file is no longer at `{}`", still.file),
                "run `zonecall pair` with its new folder; its label is kept",
            ));
        }
    }
}

/// Reads one still.
///
/// # Errors
/// When the file cannot be read or is no still.
pub fn one(path: &Path, exam_folder: &Path, utc_offset_s: i32) -> Result<Frame, Problem> {
    frame(path, shown(path, &absolute(exam_folder)), utc_offset_s)
}

/// The path as the journal holds it: short inside the exam folder, and so that the file can be opened again.
fn shown(path: &Path, exam_folder: &Path) -> String {
    let path = absolute(path);
    spelled(path.strip_prefix(exam_folder).unwrap_or(&path))
}

fn absolute(path: &Path) -> PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_owned())
}

/// The plain files under a folder, each kind sorted by path.
#[derive(Debug, Default)]
pub(crate) struct Listing {
    /// What may be a still.
    pub(crate) files: Vec<PathBuf>,
    /// Files and folders that a scanner or a computer keeps for itself.
    pub(crate) beside: Vec<PathBuf>,
    /// What could not be looked at.
    pub(crate) problems: Vec<(PathBuf, Problem)>,
}

/// All plain files under `folder`; other hidden ones are left out, and the receiver's own list.
pub(crate) fn files(folder: &Path) -> Listing {
    let mut found = Listing::default();
    list(folder, &mut found);
    found.files.sort();
    found.beside.sort();
    found
}

fn list(folder: &Path, found: &mut Listing) {
    let mut open = vec![(folder.to_owned(), 0)];
    let mut looked_at = 0;
    while let Some((folder, depth)) = open.pop() {
        if is_out_of_exam(&folder) {
            continue;
        }
        if [LABELLED_ARCHIVE, TEACHING_ARCHIVE].iter().any(|archive| folder.join(archive).is_file()) {
            let fault =
                problem("holds copies that zonecall made", "name the folder that the scanner exports into");
            found.problems.push((folder, fault));
            continue;
        }
        let entries = match std::fs::read_dir(&folder) {
            Ok(entries) => entries,
            Err(error) => {
                let fault =
                    problem(format!("cannot list the folder: {error}"), "check its name and its permissions");
                found.problems.push((folder, fault));
                continue;
            }
        };
        // Bounded before sorting: which files are left out is chance, but that some are is said.
        let mut paths: Vec<PathBuf> =
            entries.take(MAX_FILES + 1).filter_map(|entry| Some(entry.ok()?.path())).collect();
        paths.sort();
        for path in paths {
            looked_at += 1;
            if looked_at > MAX_FILES {
                let fault = problem(
                    format!("more than {MAX_FILES} files; the rest was left out"),
                    "name a folder that holds only this exam's stills",
                );
                found.problems.push((folder, fault));
                return;
            }
            let Ok(kind) = std::fs::symlink_metadata(&path) else { continue };
            if if kind.is_dir() { is_own_folder(&path) } else { is_own_file(&path) } {
                found.beside.push(path);
                continue;
            }
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            if name.starts_with('.') || name == RECEIVED_FILE {
                continue;
            }
            if !kind.is_dir() {
                if path.is_file() {
                    found.files.push(path);
                }
            } else if depth < MAX_DEPTH {
                open.push((path, depth + 1));
            } else {
                let fault = problem("folders nested too deep; left out", "name a folder further in");
                found.problems.push((path, fault));
            }
        }
    }
}

/// Whether the folder is that of an exam's reports and copies, which are no stills of a scanner.
fn is_out_of_exam(folder: &Path) -> bool {
    folder.file_name().is_some_and(|name| name == MADE_FOLDER)
        && folder.parent().is_some_and(|exam| exam.join(JOURNAL_FILE).is_file())
}

fn frame(path: &Path, shown: String, utc_offset_s: i32) -> Result<Frame, Problem> {
    let broken = |error: std::io::Error| {
        problem(format!("cannot be read: {error}"), "check its permissions, or export it again")
    };
    let (head, sha256, bytes) = digest(path).map_err(broken)?;
    if bytes > MAX_FILE_BYTES {
        return Err(problem(format!("longer than {MAX_FILE_BYTES} bytes"), "a still is never that large"));
    }
    let dicom_name = path.extension().is_some_and(|end| end.eq_ignore_ascii_case("dcm"));
    // Asked first: the bytes before a DICOM head may make the file a picture of another kind as well.
    let mut header: StillHeader = if is_dicom(&head) {
        dicom::read(path, utc_offset_s)?
    } else if let Some(kind) = image::kind(&head) {
        image::read(path, kind, utc_offset_s)?
    } else if dicom_name {
        dicom::read(path, utc_offset_s)?
    } else {
        return Err(problem(
            format!("none of {KINDS}"),
            "ignore it if it is not a still; otherwise export it again in one of these",
        ));
    };
    if header.saved_at.is_none() {
        file_time(path, &mut header).map_err(broken)?;
    }
    Ok(Frame {
        id: header.id.unwrap_or_else(|| format!("sha256:{sha256}")),
        file: shown,
        sha256,
        saved_at: header.saved_at.unwrap_or_default(),
        resolution_s: header.resolution_s,
        time_source: header.time_source,
        zone_assumed: header.zone_assumed,
        instance_number: header.instance_number,
        size_px: header.size_px,
        patient: header.patient,
        animal: header.animal,
        stated_site: header.stated_site,
        study: header.study,
        pixels_sha256: header.pixels_sha256,
        content_at: header.content_at,
        scanner: header.scanner,
        also_in: Vec::new(),
        problems: header.problems,
    })
}

/// Whether stills that only have the times of their files have them so close together that nobody could have saved them so
/// fast: then the files were copied or unpacked, and their times are those of that.
#[must_use]
pub fn were_copied(stills: &[Frame]) -> bool {
    let of_files = || stills.iter().filter(|still| still.time_source == FILE_TIME);
    let times: BTreeSet<DateTime<Utc>> = of_files().map(|still| still.saved_at).collect();
    let Some((first, last)) = times.first().zip(times.last()) else { return false };
    let gaps = of_files().skip(1).count();
    usize::try_from((*last - *first).num_seconds()).is_ok_and(|seconds| seconds < gaps * SAVE_S_MIN)
}

/// Takes the file's modification time, and says so.
///
/// Memory cards keep it in steps of 2 s (FAT), other file systems in less than a millisecond.
fn file_time(path: &Path, header: &mut StillHeader) -> std::io::Result<()> {
    let time: DateTime<Utc> = path.metadata()?.modified()?.into();
    header.resolution_s = if time.timestamp_subsec_nanos() == 0 { 2.0 } else { 0.001 };
    header.saved_at = Some(time);
    header.time_source = FILE_TIME.to_owned();
    header.problems.push(problem(
        "the file states no time that can be read; its modification time is used",
        "copying may have changed it: check its label by eye",
    ));
    Ok(())
}

/// The first bytes, the SHA-256 and the length of a file.
fn digest(path: &Path) -> std::io::Result<(Vec<u8>, String, u64)> {
    let mut file = plain_file::open(path)?.take(MAX_FILE_BYTES + 1);
    let (mut head, mut hash, mut bytes) = (Vec::new(), Sha256::new(), 0);
    let mut piece = vec![0_u8; 1 << 16];
    loop {
        let length = file.read(&mut piece)?;
        if length == 0 {
            return Ok((head, crate::hex(&hash.finalize()), bytes));
        }
        bytes += length as u64;
        hash.update(&piece[..length]);
        let wanted = START_BYTES.saturating_sub(head.len()).min(length);
        head.extend_from_slice(&piece[..wanted]);
    }
}
