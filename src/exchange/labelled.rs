//! Copies of the stills for people: named by what they show, with the label below the picture.
//!
//! Takes: the record, and the stills' files.
//! Gives: files with their names, an index page and a table; the caller writes or zips them.
//! Never: a still that a person left out; a name that hides a doubt.
//! Tested in: `tests/it/exchange/labelled.rs`.

use std::collections::BTreeSet;
use std::path::Path;

use maud::{DOCTYPE, html};

use super::derived::derived;
use super::input::{ExportInput, is_labelled};
use super::still::Still;
use super::strip::{as_png, below};
use crate::knowledge::record::{FrameRow, Status};
use crate::report::picture::paired;
use crate::report::spreadsheet::text;
use crate::report::words::{date_time, local};

/// A file of the export.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Labelled {
    /// Its name.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// What was made, and which stills could not be copied and why.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Copies {
    /// The files.
    pub files: Vec<Labelled>,
    /// By name of the still.
    pub problems: Vec<(String, String)>,
    /// Scanners in whose pictures nothing was blackened; an empty name stands for stills that name none.
    pub bare: BTreeSet<String>,
}

struct Row<'a> {
    frame: &'a FrameRow,
    /// Its name, or why there is none.
    picture: Result<String, String>,
    dicom: Option<String>,
}

/// Makes the copies.
#[must_use]
pub fn copies(input: &ExportInput, stills: &[Still], exam_folder: &Path) -> Copies {
    let mut made = Copies::default();
    let mut rows = Vec::new();
    let frames =
        own_stills(input).filter(|(_, frame)| frame.status != Status::LeftOut && frame.refused.is_none());
    for (number, frame) in frames {
        let stem = stem(frame, number);
        let drawn = picture(input, frame, exam_folder).map(|bytes| {
            let name = format!("{stem}.png");
            made.files.push(Labelled { name: name.clone(), bytes });
            name
        });
        if let Err(why) = &drawn {
            made.problems.push((frame.name().to_owned(), no_picture(why)));
        }
        let mut row = Row { frame, picture: drawn, dicom: None };
        if let Some(still) = stills.iter().find(|still| still.id == frame.id) {
            match derived(input, still, frame) {
                Ok((_, bytes)) => {
                    let name = format!("{stem}.dcm");
                    row.dicom = Some(name.clone());
                    made.files.push(Labelled { name, bytes });
                }
                Err(error) => made.problems.push((frame.name().to_owned(), no_copy(&error))),
            }
        }
        rows.push(row);
    }
    made.files.push(Labelled { name: "index.html".to_owned(), bytes: index(input, &rows).into_bytes() });
    made.files.push(Labelled { name: "index.csv".to_owned(), bytes: table(input, &rows).into_bytes() });
    made
}

/// What a person reads where only the picture is missing.
pub(super) fn no_picture(why: &str) -> String {
    format!("no picture of it was made: {why}")
}

/// The same of the DICOM copy.
pub(super) fn no_copy(error: &dyn std::fmt::Display) -> String {
    format!("no DICOM copy of it was made: {error}")
}

/// The stills in scan order, each with its number: what is there in two formats is one.
pub(super) fn own_stills<'a>(
    input: &ExportInput<'a>,
) -> impl Iterator<Item = (usize, &'a FrameRow)> + use<'a> {
    (1..).zip(input.record.frames.iter().filter(|frame| frame.copy_of.is_none()))
}

/// Limb, zone, plane, structure and number in scan order; a label in doubt says so in the name.
pub(super) fn stem(frame: &FrameRow, number: usize) -> String {
    let place = &frame.place;
    let plain =
        |code: &str| code.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect::<String>();
    let mut parts: Vec<String> = place.parts().into_iter().flatten().map(plain).collect();
    if !is_labelled(frame) {
        parts = vec![if frame.status == Status::Ambiguous { "open" } else { "unlabelled" }.to_owned()];
    } else if !frame.doubt.is_empty() {
        parts.push("in-doubt".to_owned());
    }
    parts.push(format!("{number:02}"));
    parts.join("_")
}

/// What is below the picture.
fn lines(input: &ExportInput, frame: &FrameRow) -> Vec<String> {
    let exam = &input.record.exam;
    let label = match frame.place.in_words(input.protocols) {
        words if words.is_empty() || !is_labelled(frame) => "no label".to_owned(),
        words => format!("{}: {words}", frame.place.codes()),
    };
    let at = date_time(frame.saved_at_exam.unwrap_or(frame.saved_at), exam.utc_offset_s);
    let draft = if exam.is_signed() { "" } else { "; draft, not signed by a vet" };
    let mut lines = vec![label];
    if !frame.doubt.is_empty() {
        lines.push(format!("in doubt: {}", frame.doubt.join("; ")));
    }
    for rival in &frame.rivals {
        lines.push(format!("or {}: {}", rival.place.codes(), rival.reason));
    }
    lines.push(format!("{}, {at}{draft}", crate::report::words::horse(input.record)));
    lines
}

fn picture(input: &ExportInput, frame: &FrameRow, exam_folder: &Path) -> Result<Vec<u8>, String> {
    let picture = paired(frame, exam_folder).map_err(|error| error.to_string())?;
    let labelled = below(&picture, &lines(input, frame)).map_err(|error| error.to_string())?;
    as_png(&labelled).map_err(|error| error.to_string())
}

fn index(input: &ExportInput, rows: &[Row]) -> String {
    let exam = &input.record.exam;
    let title = format!(
        "Stills of {}, {}",
        crate::report::words::horse(input.record),
        date_time(exam.started_at, exam.utc_offset_s)
    );
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width";
                title { (title) }
                style {
                    "body{font-family:sans-serif;margin:1em;max-width:70em}img{max-width:100%;height:auto}"
                    "figure{margin:0 0 2em}"
                }
            }
            body {
                h1 { (title) }
                p { (input.cautions) }
                @for row in rows {
                    figure id=(row.frame.id) {
                        @match &row.picture {
                            Ok(name) => { a href=(name) { img src=(name) alt=(row.frame.place.in_words(input.protocols)) loading="lazy"; } }
                            Err(why) => { p { "Not shown: " (why) "." } }
                        }
                        figcaption {
                            @for line in lines(input, row.frame) { (line) br; }
                            "made from " (row.frame.name())
                            @if let Some(name) = &row.dicom { ", " a href=(name) { "as DICOM" } }
                        }
                    }
                }
            }
        }
    };
    page.into_string()
}

fn table(input: &ExportInput, rows: &[Row]) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let exam = &input.record.exam;
    let day = local(exam.started_at, exam.utc_offset_s).date_naive().to_string();
    let header = [
        "picture",
        "dicom",
        "limb",
        "zone",
        "plane",
        "structure",
        "in_words",
        "status",
        "doubt",
        "saved_at_utc",
        "made_from",
        "exam_id",
        "horse",
        "horse_id",
        "exam_day",
        "exam_status",
    ];
    let header = header.map(str::to_owned);
    let cells = rows.iter().map(|row| {
        let (frame, place) = (row.frame, &row.frame.place);
        let saved = frame.saved_at_exam.unwrap_or(frame.saved_at);
        [
            text(row.picture.as_deref().ok()),
            text(row.dicom.as_deref()),
            text(place.limb.as_deref()),
            text(place.zone.as_deref()),
            text(place.plane.as_deref()),
            text(place.structure.as_deref()),
            text(Some(&place.in_words(input.protocols))),
            crate::report::words::status_code(frame.status).to_owned(),
            text(Some(&frame.doubt.join("; "))),
            saved.to_rfc3339_opts(chrono::SecondsFormat::Millis, true),
            text(Some(frame.name())),
            text(Some(&exam.id)),
            text(Some(crate::report::words::horse(input.record))),
            text(exam.horse.id.as_deref()),
            day.clone(),
            text(Some(exam.status.as_str())),
        ]
    });
    for row in std::iter::once(header).chain(cells) {
        if let Err(error) = writer.write_record(row) {
            unreachable!("every row has a cell a column: {error}");
        }
    }
    match writer.into_inner().map(String::from_utf8) {
        Ok(Ok(text)) => text,
        _ => unreachable!("text written to memory stays text"),
    }
}
