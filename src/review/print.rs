//! The report of the exam as it is now, made when somebody asks for it on the page.
//!
//! Takes: for whom, in which form and on which size of page.
//! Gives: a page or a PDF, the same as `zonecall report` writes.
//! Never: writes a file, or a page that may load anything or run a script.
//! Tested in: `tests/it/review.rs` and `tests/it/review_browser/`.

use axum::http::StatusCode;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_SECURITY_POLICY, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use base64::Engine as _;
use base64::prelude::BASE64_STANDARD;
use serde::Deserialize;
use sha2::{Digest, Sha256};

use crate::exam_folder::FolderError;
use crate::frames::pair::pair;
use crate::knowledge::assemble::record_against;
use crate::knowledge::measure::{Against, Earlier};
use crate::report::overlay::overlays;
use crate::report::picture::pictures_counted;
use crate::report::print::{Audience, PageSize, PrintError, pdf};
use crate::report::{ReportFrame, ReportInput, course, owner, vet};
use crate::review::desk::Desk;
use crate::review::running_tasks::TaskKind;
use crate::review::signature::practice;

/// What is wanted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
pub(super) struct ReportRequest {
    reader: RequestReader,
    form: ReportFormat,
    #[serde(default)]
    paper: PaperChoice,
    #[serde(default)]
    appendix: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum RequestReader {
    Vet,
    Owner,
    Course,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum ReportFormat {
    Html,
    Pdf,
}

#[derive(Debug, Default, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum PaperChoice {
    #[default]
    A4,
    Letter,
}

/// Why there is no report.
#[derive(Debug, thiserror::Error)]
pub(super) enum ReportError {
    #[error(transparent)]
    Desk(#[from] FolderError),
    #[error(transparent)]
    Print(#[from] PrintError),
    #[error("there is no earlier exam of this horse here")]
    NoCourse,
}

impl ReportRequest {
    /// The course needs the other exams of the horse.
    pub(super) fn is_course(&self) -> bool {
        self.reader == RequestReader::Course
    }
}

/// The report of the exam as it is now, held against `earlier`, ready to be sent.
pub(super) fn report_of(
    desk: &Desk,
    earlier: Vec<Earlier>,
    wanted: &ReportRequest,
) -> Result<Response, ReportError> {
    if wanted.is_course() && earlier.is_empty() {
        return Err(ReportError::NoCourse);
    }
    let task = desk.running.begin(TaskKind::Report, "checking and measuring");
    let seen = desk.seen()?;
    let against = Against { earlier, ..Against::default() };
    let record = record_against(&seen.exam, &pair(&seen.exam, &seen.exam.frames), &desk.protocols, &against);
    let all = record.frames.len();
    let pictures =
        pictures_counted(&record, desk.folder.path(), |done| task.count("reading the stills", done, all));
    let practice = practice();
    let drawn = overlays(&seen.exam);
    task.step("laying out the pages");
    let input = ReportInput {
        record: &record,
        earlier: &against.earlier,
        protocols: &desk.protocols,
        pictures: &pictures,
        frame: ReportFrame { practice: practice.as_ref(), drawn: Some(&drawn), appendix: wanted.appendix },
    };
    let (reader, name) = match wanted.reader {
        RequestReader::Vet => (Audience::Vet, "report"),
        RequestReader::Owner => (Audience::Owner, "report-owner"),
        RequestReader::Course => (Audience::Course, "report-course"),
    };
    if wanted.form == ReportFormat::Pdf {
        let page_size = if wanted.paper == PaperChoice::Letter { PageSize::Letter } else { PageSize::A4 };
        let printed = pdf(&input, reader, page_size)?;
        let shown_as = format!("inline; filename=\"{name}.pdf\"");
        let headers = [(CONTENT_TYPE, "application/pdf".to_owned()), (CONTENT_DISPOSITION, shown_as)];
        return Ok((StatusCode::OK, headers, printed.pdf).into_response());
    }
    let page = match reader {
        Audience::Vet => vet::html(&input),
        Audience::Owner => owner::html(&input),
        Audience::Course => course::html(&input),
    };
    let headers =
        [(CONTENT_TYPE, "text/html; charset=utf-8".to_owned()), (CONTENT_SECURITY_POLICY, policy(&page))];
    Ok((StatusCode::OK, headers, page).into_response())
}

/// The page's own style, named by its hash, and the pictures inside it; nothing else.
fn policy(page: &str) -> String {
    let style = page.split_once("<style>").and_then(|(_, rest)| rest.split_once("</style>"));
    let hash = BASE64_STANDARD.encode(Sha256::digest(style.map_or("", |(style, _)| style).as_bytes()));
    format!(
        "default-src 'none'; style-src 'sha256-{hash}'; img-src data:; base-uri 'none'; form-action 'none'; \
         frame-ancestors 'none'"
    )
}
