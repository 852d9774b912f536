//! Everything that an image archive gets of an exam, apart from the stills themselves.
//!
//! Takes: the exam, its record, its stills and the printed report.
//! Gives: files with their names: a structured report, presentation states, a selection, the report as PDF.
//! Never: a copy of a still or a change to one; the same exam gives the same files, byte for byte.
//! Tested in: `tests/it/exchange/`.

use std::path::{Path, PathBuf};

use dicom_dictionary_std::tags;
use dicom_object::OpenFileOptions;

use super::dataset::EncodeError;
use super::document::encapsulated;
use super::input::{ExportInput, is_labelled};
use super::key_objects::selection;
use super::presentation::state;
use super::report::{PredecessorReport, document};
use super::still::{Still, number_of};
use super::subject::{Identity, SrSubject, SubjectError};
use super::uid::uid;
use crate::frames::element::text_of;
use crate::knowledge::record::FrameRow;

/// A file of an export.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Made {
    /// Its name.
    pub name: String,
    /// SOP Instance UID.
    pub instance: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// Why an export was not made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ExportError {
    /// It is not clear whose exam it is.
    #[error(transparent)]
    Subject(#[from] SubjectError),
    /// An object cannot be written.
    #[error(transparent)]
    Encode(#[from] EncodeError),
}

/// Makes the files.
///
/// `earlier` is what was exported before, and `pdf` the printed report.
///
/// # Errors
/// When stills and exam disagree about the animal, or an object cannot be encoded.
pub fn export(
    input: &ExportInput,
    stills: &[Still],
    identity: Identity,
    earlier: &[PredecessorReport],
    pdf: &[u8],
) -> Result<Vec<Made>, ExportError> {
    let subject = SrSubject::of(input, stills, identity)?;
    let mut made = Vec::new();
    let report = document(input, &subject, stills)?;
    // What was exported already stays as it is: its number and its predecessor are those of that day.
    if !earlier.iter().any(|earlier| earlier.instance == report.instance) {
        let last = earlier.iter().max_by_key(|earlier| earlier.number);
        let number = last.map_or(1, |last| last.number + 1);
        let instance = report.instance.clone();
        made.push(Made {
            name: format!("{REPORT_NAME}{number:02}.dcm"),
            instance,
            bytes: report.file(last)?,
        });
    }
    let is_shown = |frame: &FrameRow| is_labelled(frame) && !frame.lacks_picture;
    for (idx, frame) in input.record.frames.iter().enumerate().filter(|(_, frame)| is_shown(frame)) {
        if let Some(still) = stills.iter().find(|still| still.id == frame.id) {
            let (instance, bytes) = state(input, &subject, still, frame, idx + 1)?;
            made.push(Made { name: format!("{STATE_NAME}{:03}.dcm", idx + 1), instance, bytes });
        }
    }
    if let Some((instance, bytes)) = selection(input, &subject, stills)? {
        made.push(Made { name: SELECTION_FILE.to_owned(), instance, bytes });
    }
    let (instance, bytes) = encapsulated(input, &subject, pdf)?;
    made.push(Made { name: "report-pdf.dcm".to_owned(), instance, bytes });
    Ok(made)
}

/// What an earlier export wrote into this folder that this one did not `make`: labels of stills that have none any more. The
/// reports stay, each as it was on its day.
pub fn outdated(folder: &Path, made: &[Made]) -> Vec<PathBuf> {
    let files = std::fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path());
    let is_outdated = |path: &PathBuf| {
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        let is_label = name.starts_with(STATE_NAME) && name.ends_with(".dcm");
        (is_label || name == SELECTION_FILE) && made.iter().all(|made| made.name != name)
    };
    files.filter(is_outdated).collect()
}

/// How the file of a presentation state begins; the number of its still follows.
const STATE_NAME: &str = "presentation-";
/// The file of the selection of key stills.
const SELECTION_FILE: &str = "selection.dcm";
/// The folder in `out/` of an exam that holds what goes to an image archive.
pub const DICOM_FOLDER: &str = "dicom";
/// How the file of a structured report begins; a number follows.
const REPORT_NAME: &str = "report-";

/// The structured reports of this exam that lie in a folder.
#[must_use]
pub fn earlier(folder: &Path, exam_id: &str) -> Vec<PredecessorReport> {
    let series = uid(&["series", "report", exam_id]);
    let files = std::fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path());
    let named = files.filter(|path| {
        let name = path.file_name().and_then(|name| name.to_str()).unwrap_or_default();
        name.starts_with(REPORT_NAME) && name.ends_with(".dcm")
    });
    let mut found: Vec<PredecessorReport> = named
        .filter_map(|path| {
            let file = OpenFileOptions::new().read_until(tags::CONTENT_SEQUENCE).open_file(path).ok()?;
            let head = file.into_inner();
            let found = PredecessorReport {
                instance: text_of(&head, tags::SOP_INSTANCE_UID)?,
                series: text_of(&head, tags::SERIES_INSTANCE_UID)?,
                study: text_of(&head, tags::STUDY_INSTANCE_UID)?,
                number: number_of(&head, tags::INSTANCE_NUMBER)?,
            };
            (found.series == series).then_some(found)
        })
        .collect();
    found.sort_by_key(|earlier| earlier.number);
    found
}
