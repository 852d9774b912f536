//! Stills that other exams have already.
//!
//! Takes: the folder of an exam.
//! Gives: for a still, the other exams whose journals name it.
//! Never: reads more than a bounded number of exams, or takes a journal for damaged; that is for `check` to say.
//! Tested in: `tests/it/identity.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use serde::Deserialize;

use crate::exam::event::{Frame, OtherExam};
use crate::exam::journal::JOURNAL_FILE;
use crate::plain_file;

/// Exams that are looked through, the ones written last first.
pub const EXAMS_MAX: usize = 500;
/// Bytes of one journal that are read.
const JOURNAL_BYTES_MAX: u64 = 64 << 20;

/// The stills of the exams that lie in the same folder as this one.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Elsewhere {
    /// By id and by hash of the file, in the order of the folders' names.
    exams: BTreeMap<String, Vec<OtherExam>>,
}

impl Elsewhere {
    /// Reads the journals next to `exam_folder`, whose own exam began at `started_at`.
    #[must_use]
    pub fn read(exam_folder: &Path, started_at: DateTime<Utc>) -> Elsewhere {
        let mut found = Elsewhere::default();
        for beside in journals_beside(exam_folder) {
            let Some((began_at, stills)) = stills_of(&beside) else { continue };
            let other = OtherExam { exam: beside.exam, again: began_at == started_at };
            for key in stills {
                found.exams.entry(key).or_default().push(other.clone());
            }
        }
        found
    }

    /// The exams that have this still.
    #[must_use]
    pub fn have(&self, still: &Frame) -> Vec<OtherExam> {
        let by = [&still.id, &still.sha256].map(|key| self.exams.get(key).cloned().unwrap_or_default());
        let mut exams: Vec<OtherExam> = by.into_iter().flatten().collect();
        exams.sort();
        exams.dedup();
        exams
    }
}

/// The journal of an exam in the same folder of exams.
#[derive(Debug, Clone)]
pub(super) struct Beside {
    /// Name of the exam's folder.
    pub(super) exam: String,
    journal: PathBuf,
}

impl Beside {
    /// Its lines, as far as they can be read.
    pub(super) fn lines(&self) -> impl Iterator<Item = String> + use<> {
        let file = plain_file::open(&self.journal).ok();
        let lines = file.map(|file| BufReader::new(file.take(JOURNAL_BYTES_MAX)).lines());
        lines.into_iter().flatten().map_while(Result::ok)
    }
}

/// The journals of the exams beside this one, the ones written last first.
pub(super) fn journals_beside(exam_folder: &Path) -> Vec<Beside> {
    let Ok(own) = exam_folder.canonicalize() else { return Vec::new() };
    let Some(beside) = own.parent() else { return Vec::new() };
    let entries = std::fs::read_dir(beside).into_iter().flatten();
    let folders = entries.filter_map(|entry| Some(entry.ok()?.path())).filter(|folder| *folder != own);
    let mut journals: Vec<_> = folders
        .filter_map(|folder| {
            let journal = folder.join(JOURNAL_FILE);
            let written = journal.metadata().ok()?.modified().ok()?;
            Some((written, folder.file_name()?.to_string_lossy().into_owned(), journal))
        })
        .collect();
    journals.sort();
    let last = journals.into_iter().rev().take(EXAMS_MAX);
    last.map(|(_, exam, journal)| Beside { exam, journal }).collect()
}

/// When an exam began, and ids and hashes of its stills, but for those that a person left out.
fn stills_of(journal: &Beside) -> Option<(DateTime<Utc>, BTreeSet<String>)> {
    let mut lines = journal.lines();
    let began_at = serde_json::from_str::<LineElsewhere>(&lines.next()?).ok()?.body.started_at?;
    let mut stills = BTreeMap::new();
    // Most lines are of what was heard; only those that can speak of a still are worth reading.
    for line in lines.filter(|line| line.contains(HASH) || line.contains(LEAVE_OUT)) {
        let Ok(LineElsewhere { body }) = serde_json::from_str(&line) else { continue };
        match (body.id, body.sha256, body.still) {
            (Some(id), Some(sha256), None) => {
                stills.insert(id, sha256);
            }
            (None, None, Some(still)) => {
                stills.remove(&still);
            }
            _ => {}
        }
    }
    Some((began_at, stills.into_iter().flat_map(<[String; 2]>::from).collect()))
}

/// In the line of every still.
const HASH: &str = "\"sha256\"";
/// In the line by which a person leaves a still out.
const LEAVE_OUT: &str = "\"leave_out\"";

/// What is read of a line of another journal.
#[derive(Deserialize)]
struct LineElsewhere {
    body: Body,
}

#[derive(Deserialize)]
struct Body {
    started_at: Option<DateTime<Utc>>,
    id: Option<String>,
    sha256: Option<String>,
    still: Option<String>,
}
