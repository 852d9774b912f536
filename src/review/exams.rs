//! The exams that one desk serves: a single one, or every exam in a folder.
//!
//! Takes: a `Desk`, or a folder of exam folders.
//! Gives: `ServedExams`, and for each request the `ServedExam` that its address names.
//! Never: a path out of an address: a name that is not in the folder is no exam.
//! Tested in: `tests/it/review_inbox.rs`.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::SystemTime;

use axum::body::Bytes;
use axum::extract::{FromRequestParts, RawPathParams};
use axum::http::StatusCode;
use axum::http::request::Parts;
use axum::response::Response;

use serde::Deserialize;

use crate::clock::Sample;
use crate::exam_folder::{ExamFolder, FolderError};
use crate::protocol::Protocols;
use crate::review::answer::{broken, problem};
use crate::review::desk::{Desk, EarlierExam};
use crate::review::export::ExportProgram;
use crate::review::print::ReportRequest;
use crate::time_stamp::StampServer;

/// One exam with what is kept of it between requests.
#[derive(Debug)]
pub(super) struct ServedExam {
    pub(super) desk: Desk,
    /// The drawn sound, by the number of audio files it was made of.
    pub(super) drawn: Mutex<Option<(Sample, Bytes)>>,
    /// Held while a picture is made small: one at a time, so that the browser on the same machine can still draw.
    pub(super) making: Mutex<()>,
    /// A report that was made and not yet fetched: the length of the journal it tells, and what was wanted.
    pub(super) made: Mutex<Option<(u64, ReportRequest, Response)>>,
    /// The exam before this one, once it was looked for.
    pub(super) before: Mutex<Option<KnownEarlier>>,
}

impl ServedExam {
    fn of(desk: Desk) -> Arc<ServedExam> {
        Arc::new(ServedExam {
            desk,
            drawn: Mutex::new(None),
            making: Mutex::new(()),
            made: Mutex::new(None),
            before: Mutex::new(None),
        })
    }
}

/// The exam before this one, with what it was found by.
#[derive(Debug)]
pub(super) struct KnownEarlier {
    /// The exams of the folder, and the length of this one's journal.
    pub(super) of: (Vec<String>, u64),
    /// None where there is none; with the length of its journal.
    pub(super) found: Option<(Arc<ServedExam>, u64, Arc<EarlierExam>)>,
}

impl KnownEarlier {
    /// Nothing that it was found by has changed since.
    pub(super) fn holds(&self, of: &(Vec<String>, u64)) -> bool {
        let is_same = |(exam, grown, _): &(Arc<ServedExam>, u64, _)| exam.desk.grown() == *grown;
        self.of == *of && self.found.as_ref().is_none_or(is_same)
    }
}

/// Every exam that can be opened.
#[derive(Debug)]
pub struct ServedExams {
    exams: OneOrMany,
    /// Who stamps the signatures that are made here.
    pub(super) stamps: Option<StampServer>,
    /// What makes the files for other systems.
    pub(super) exporter: Option<ExportProgram>,
}

#[derive(Debug)]
enum OneOrMany {
    One(Arc<ServedExam>),
    Many { folder: PathBuf, protocols: Box<Protocols>, open: Mutex<BTreeMap<String, Arc<ServedExam>>> },
}

impl ServedExams {
    /// A single exam.
    #[must_use]
    pub fn one(desk: Desk) -> ServedExams {
        ServedExams { exams: OneOrMany::One(ServedExam::of(desk)), stamps: None, exporter: None }
    }

    /// All exams in a folder, those that are added later, too.
    #[must_use]
    pub fn of_folder(folder: PathBuf, protocols: Protocols) -> ServedExams {
        let exams = OneOrMany::Many { folder, protocols: Box::new(protocols), open: Mutex::default() };
        ServedExams { exams, stamps: None, exporter: None }
    }

    /// Has what is signed here stamped by this server.
    #[must_use]
    pub fn stamped_by(self, stamps: Option<StampServer>) -> ServedExams {
        ServedExams { stamps, ..self }
    }

    /// Exports by this program.
    #[must_use]
    pub fn exporting_by(self, exporter: Option<ExportProgram>) -> ServedExams {
        ServedExams { exporter, ..self }
    }

    /// Whether there is an exam in the folder.
    #[must_use]
    pub fn has_exams(&self) -> bool {
        !self.names().is_empty()
    }

    /// Whether it has an inbox.
    pub(super) fn has_inbox(&self) -> bool {
        matches!(self.exams, OneOrMany::Many { .. })
    }

    /// The names of the exams in the folder, the one that was written to last first; none where there is one exam only.
    pub(super) fn names(&self) -> Vec<String> {
        let OneOrMany::Many { folder, .. } = &self.exams else { return Vec::new() };
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        let mut found: Vec<(SystemTime, String)> = entries
            .filter_map(|entry| {
                let journal = ExamFolder::at(entry.path()).journal_file();
                let written = std::fs::metadata(journal).ok()?.modified().ok()?;
                Some((written, entry.file_name().into_string().ok()?))
            })
            .collect();
        found.sort_by(|one, other| other.cmp(one));
        found.into_iter().map(|(_, name)| name).collect()
    }

    /// The exam of this name; without a name the only one.
    pub(super) fn served(&self, name: Option<&str>) -> Result<Arc<ServedExam>, ServedExamError> {
        match (&self.exams, name) {
            (OneOrMany::One(served), None) => Ok(Arc::clone(served)),
            (OneOrMany::Many { folder, protocols, open }, Some(name)) => {
                if let Some(served) = open.lock().unwrap_or_else(PoisonError::into_inner).get(name) {
                    return Ok(Arc::clone(served));
                }
                if !self.names().iter().any(|known| known == name) {
                    return Err(ServedExamError::Unknown);
                }
                let desk = Desk::open(&folder.join(name), (**protocols).clone())?;
                let mut open = open.lock().unwrap_or_else(PoisonError::into_inner);
                // Somebody may have opened it meanwhile: each exam is held once.
                Ok(Arc::clone(open.entry(name.to_owned()).or_insert_with(|| ServedExam::of(desk))))
            }
            _ => Err(ServedExamError::Unknown),
        }
    }
}

/// Why an exam cannot be opened.
#[derive(Debug)]
pub(super) enum ServedExamError {
    Unknown,
    Folder(FolderError),
}

impl From<FolderError> for ServedExamError {
    fn from(error: FolderError) -> ServedExamError {
        ServedExamError::Folder(error)
    }
}

/// The exam that a request is about.
pub(super) struct Held(pub(super) Arc<ServedExam>);

impl FromRequestParts<Arc<ServedExams>> for Held {
    type Rejection = Response;

    async fn from_request_parts(parts: &mut Parts, exams: &Arc<ServedExams>) -> Result<Held, Response> {
        let params = RawPathParams::from_request_parts(parts, exams).await;
        let name = params.ok().and_then(|params| {
            params.iter().find(|(key, _)| *key == "exam").map(|(_, name)| name.to_owned())
        });
        let exams = Arc::clone(exams);
        match tokio::task::spawn_blocking(move || exams.served(name.as_deref())).await {
            Ok(Ok(served)) => Ok(Held(served)),
            Ok(Err(ServedExamError::Folder(error))) => Err(broken(&error)),
            Ok(Err(ServedExamError::Unknown)) | Err(_) => {
                Err(problem(StatusCode::NOT_FOUND, "there is no such exam here", "go back to the inbox"))
            }
        }
    }
}

/// The number in an address, whatever exam stands before it.
#[derive(Debug, Deserialize)]
pub(super) struct Numbered {
    pub(super) number: usize,
}
