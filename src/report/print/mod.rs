//! The reports as PDF: laid out by the typesetting library `typst`, with templates of our own.
//!
//! Takes: `ReportInput`, the reader and the size of the page.
//! Gives: one PDF/A file that is accessible as PDF/UA requires, every font embedded.
//! Never: I/O but for fonts of the machine, and those only for letters that the own typeface lacks; a clock.
//! Tested in: `tests/it/print.rs`, by readers of PDF that are not ours.

mod fonts;
mod world;

use chrono::{DateTime, Datelike as _, Timelike as _, Utc};
use serde::Serialize;
use serde_json::{Value, json};
use typst::diag::SourceDiagnostic;
use typst::foundations::{Datetime, Smart};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

use super::ReportInput;
use super::course::CourseReport;
use super::data::ReportData;
use super::owner::OwnerReport;
use super::picture::Picture;
use world::{VirtualFile, World};

/// Size of a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PageSize {
    /// 210 by 297 mm (ISO 216).
    A4,
    /// 8.5 by 11 inches.
    Letter,
}

/// Who reads it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Audience {
    /// A vet: every number, with its source.
    Vet,
    /// The owner: plain words.
    Owner,
    /// Whoever follows the horse: every measure over its exams.
    Course,
}

/// A printed report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Printed {
    /// The PDF.
    pub pdf: Vec<u8>,
    /// Letters that no font here has, in order; each is printed as its number, such as `U+1F434`.
    pub without_font: Vec<char>,
}

/// Why a report was not printed; the templates are ours, so this is a fault of the program or of a picture in it.
#[derive(Debug, thiserror::Error)]
#[error("the report cannot be laid out: {}; please report this, and use the HTML report meanwhile", .why.join("; "))]
pub struct PrintError {
    /// What the typesetting library said.
    why: Vec<String>,
}

/// The template that all others use, and one for each report.
const TEMPLATES: [(&str, &str); 4] = [
    ("common.typ", include_str!("common.typ")),
    ("vet.typ", include_str!("vet.typ")),
    ("owner.typ", include_str!("owner.typ")),
    ("course.typ", include_str!("course.typ")),
];

/// The report as a PDF; equal input, and equal fonts for letters that are not Latin, Greek or Cyrillic, give equal bytes.
///
/// # Errors
/// When the library cannot lay it out.
pub fn pdf(input: &ReportInput, reader: Audience, page_size: PageSize) -> Result<Printed, PrintError> {
    let mut files: Vec<VirtualFile> =
        TEMPLATES.map(|(name, text)| VirtualFile::new(name, text.as_bytes().to_vec())).into();
    let (main, mut data) = match reader {
        Audience::Vet => ("vet.typ", vet(input, &mut files)),
        Audience::Owner => ("owner.typ", owner(input, &mut files)),
        Audience::Course => ("course.typ", course(input, &mut files)),
    };
    data["page_size"] = json!(if page_size == PageSize::A4 { "a4" } else { "us-letter" });
    let (fonts, without_font) = fonts::for_texts(&mut data);
    files.push(VirtualFile::new("report.json", data.to_string().into_bytes()));
    let world = World::new(main, files, fonts);
    let document = typst::compile::<PagedDocument>(&world).output.map_err(|errors| failed(&errors))?;
    let pdf = typst_pdf::pdf(&document, &options(input)).map_err(|errors| failed(&errors))?;
    // What the library remembers of this page helps no other one.
    typst::comemo::evict(0);
    Ok(Printed { pdf, without_font })
}

fn failed<'a>(errors: impl IntoIterator<Item = &'a SourceDiagnostic>) -> PrintError {
    PrintError { why: errors.into_iter().map(|error| error.message.to_string()).collect() }
}

fn as_value(text: &impl Serialize) -> Value {
    serde_json::to_value(text)
        .unwrap_or_else(|error| unreachable!("texts, numbers and lists of them can be written: {error}"))
}

/// The vet's report: its charts and pictures become files next to the template.
fn vet(input: &ReportInput, files: &mut Vec<VirtualFile>) -> Value {
    let report = ReportData::of(input);
    let mut data = as_value(&report);
    put_charts(report.measured.iter().flat_map(|measured| &measured.charts), files);
    for still in &report.stills {
        if let Some(Picture::Shown { jpeg, .. }) = input.pictures.get(&still.id) {
            files.push(VirtualFile::new(&format!("still-{}.jpg", still.number), jpeg.clone()));
        }
    }
    put_logo(input, files);
    put_texts_of_charts(data.pointer_mut("/measured/charts"));
    data
}

/// The course of the horse over its exams.
fn course(input: &ReportInput, files: &mut Vec<VirtualFile>) -> Value {
    let report = CourseReport::of(input);
    let mut data = as_value(&report);
    put_charts(&report.charts, files);
    put_logo(input, files);
    put_texts_of_charts(data.get_mut("charts"));
    data
}

fn put_charts<'a>(charts: impl IntoIterator<Item = &'a String>, files: &mut Vec<VirtualFile>) {
    for (idx, chart) in charts.into_iter().enumerate() {
        files.push(VirtualFile::new(&format!("chart-{idx}.svg"), fonts::in_own_face(chart).into_bytes()));
    }
}

/// A chart is a file of its own: this text is for those who cannot see it.
fn put_texts_of_charts(charts: Option<&mut Value>) {
    let Some(charts) = charts.and_then(Value::as_array_mut) else { return };
    for chart in charts {
        let title = chart.as_str().and_then(|svg| svg.split_once("<title>")?.1.split_once("</title>"));
        let title = title.map_or("chart", |(title, _)| title);
        let plain =
            title.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&");
        *chart = json!(plain);
    }
}

fn put_logo(input: &ReportInput, files: &mut Vec<VirtualFile>) {
    if let Some(logo) = input.frame.practice.and_then(|practice| practice.picture.as_ref()) {
        files.push(VirtualFile::new(&format!("logo.{}", logo.ending), logo.bytes.clone()));
    }
}

fn owner(input: &ReportInput, files: &mut Vec<VirtualFile>) -> Value {
    let report = OwnerReport::of(input);
    for (idx, picture) in report.pictures.iter().enumerate() {
        if let Some(Picture::Shown { jpeg, .. }) = input.pictures.get(&picture.id) {
            files.push(VirtualFile::new(&format!("picture-{idx}.jpg"), jpeg.clone()));
        }
    }
    as_value(&report)
}

/// Dated when the exam ended, so that the same exam always prints the same.
fn options(input: &ReportInput) -> PdfOptions {
    let exam = &input.record.exam;
    let at = exam.signed.as_ref().map_or(exam.ended_at.unwrap_or(exam.started_at), |signed| signed.at);
    PdfOptions {
        ident: Smart::Custom(exam.id.clone()),
        creator: Smart::Custom(Some("zonecall".to_owned())),
        timestamp: datetime(at).map(Timestamp::new_utc),
        standards: PdfStandards::new(&[PdfStandard::A_2a, PdfStandard::Ua_1])
            .unwrap_or_else(|error| unreachable!("PDF/A-2a and PDF/UA-1 go together: {error:?}")),
        ..PdfOptions::default()
    }
}

fn datetime(at: DateTime<Utc>) -> Option<Datetime> {
    let part = |number: u32| u8::try_from(number).ok();
    Datetime::from_ymd_hms(
        at.year(),
        part(at.month())?,
        part(at.day())?,
        part(at.hour())?,
        part(at.minute())?,
        part(at.second())?,
    )
}
