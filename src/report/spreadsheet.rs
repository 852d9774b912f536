//! Stills and calls as one table for spreadsheets.
//!
//! Takes: `Record`.
//! Gives: CSV (RFC 4180, UTF-8, a header line): a row for each still with what was said in its view, for
//! each call, and for each value that was typed or traced.
//! Never: a cell that a spreadsheet would take for a formula.
//! Tested in: `tests/it/report.rs` and `tests/it/spreadsheet.rs`.

use crate::exam::call::Certainty;
use crate::exam::closed_sets::CallKind;
use crate::exam::comparator::Comparator;
use crate::exam::seq::Seq;
use crate::knowledge::record::{CallRow, EntryRow, FrameRow, Record};
use crate::language::closed_sets::Class;

use super::words::{self, CAUTIONS, meaning, standing};

/// The columns, in order. `row` is `still`, `call` or `entered`: filter by it.
pub(crate) const COLUMNS: [&str; 48] = [
    "row",
    "limb",
    "zone",
    "plane",
    "structure",
    "status",
    "confidence",
    "file",
    "said_in_view",
    "other_readings",
    "call_seq",
    "words",
    "kind",
    "class",
    "term",
    "degree",
    "position",
    "number",
    "unit",
    "unit_assumed",
    "comparator",
    "number_to",
    "number_by",
    "estimated",
    "scale",
    "certainty",
    "in_words",
    "state",
    "taken_back",
    "corrected_by",
    "replaced_by",
    "contradicted_by",
    "exam_time_utc",
    "scanner_time_utc",
    "audio_from_s",
    "audio_to_s",
    "still_id",
    "by",
    "added_by_hand",
    "scale_by_hand",
    "doubt",
    "exam_id",
    "horse",
    "exam_day",
    "exam_status",
    "signed_by",
    "signed_at_utc",
    "cautions",
];

/// What a spreadsheet takes for the beginning of a formula; see the OWASP page on CSV injection.
/// The last ones are the full-width forms that some spreadsheets read as the plain ones.
pub(crate) const FORMULA: [char; 11] = ['=', '+', '-', '@', '\t', '\r', '\n', '＝', '＋', '－', '＠'];

/// One table: a row for each still, joined with its call and with what was found and measured in its view; then the
/// calls; then what was typed or traced.
///
/// A text that a spreadsheet would take for a formula gets an apostrophe in front; so does a part of a text behind a sign
/// at which some spreadsheets begin a new cell, whatever the file says.
/// The exam's id, horse, day at its place and status, and the cautions, go with every row: a row is often copied alone.
/// Times are RFC 3339, UTC; `audio_from_s` and `audio_to_s` are seconds of the kept audio; lists are joined with `; `.
///
/// # Panics
/// Never: every row has as many cells as the header, and memory takes them all.
#[must_use]
pub fn csv(record: &Record) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let header = std::iter::once(COLUMNS.map(str::to_owned));
    let stills = record.frames.iter().map(|frame| still_row(frame, record));
    let calls = record.calls.iter().map(|call| call_cells(call, "call"));
    let entered = record.entries.iter().map(entry_cells);
    let about = about(record);
    let rows = stills.chain(calls).chain(entered).map(|mut cells| {
        put(&mut cells, about.clone());
        cells
    });
    for row in header.chain(rows) {
        if let Err(error) = writer.write_record(row) {
            unreachable!("every row has a cell a column: {error}");
        }
    }
    match writer.into_inner().map(String::from_utf8) {
        Ok(Ok(text)) => text,
        _ => unreachable!("text written to memory stays text"),
    }
}

/// Which exam a row is of, and how far it can be relied on.
fn about(record: &Record) -> [(&'static str, String); 7] {
    let exam = &record.exam;
    let day = words::local(exam.started_at, exam.utc_offset_s).format("%Y-%m-%d").to_string();
    let signed = exam.signed.as_ref().filter(|_| exam.is_signed());
    [
        ("exam_id", text(Some(&exam.id))),
        ("horse", text(Some(words::horse(record)))),
        ("exam_day", day),
        ("exam_status", text(Some(exam.status.as_str()))),
        ("signed_by", text(signed.map(|signed| signed.by.as_str()))),
        ("signed_at_utc", signed.map(|signed| rfc3339(signed.at)).unwrap_or_default()),
        ("cautions", text(Some(CAUTIONS))),
    ]
}

fn still_row(frame: &FrameRow, record: &Record) -> [String; COLUMNS.len()] {
    let call = frame.call_seq.and_then(|seq| record.calls.iter().find(|call| call.seq == seq));
    let mut cells = match call {
        Some(call) => call_cells(call, "still"),
        None => std::array::from_fn(|idx| if idx == 0 { "still".to_owned() } else { String::new() }),
    };
    let rivals: Vec<String> = frame
        .rivals
        .iter()
        .map(|rival| format!("{} ({:.2}, {})", rival.place.codes(), rival.confidence, rival.reason))
        .collect();
    let said: Vec<String> = said_in_view(frame, record).map(said_with_structure).collect();
    let own = [
        ("limb", text(frame.place.limb.as_deref())),
        ("zone", text(frame.place.zone.as_deref())),
        ("plane", text(frame.place.plane.as_deref())),
        ("structure", text(frame.place.structure.as_deref())),
        ("status", words::status_code(frame.status).to_owned()),
        ("confidence", frame.confidence.to_string()),
        ("file", text(Some(&frame.file))),
        ("said_in_view", text(Some(&said.join("; ")))),
        ("other_readings", text(Some(&rivals.join("; ")))),
        ("exam_time_utc", frame.saved_at_exam.map(rfc3339).unwrap_or_default()),
        ("scanner_time_utc", rfc3339(frame.saved_at)),
        ("still_id", text(Some(&frame.id))),
        ("doubt", text(Some(&frame.doubt.join("; ")))),
    ];
    put(&mut cells, own);
    cells
}

fn call_cells(call: &CallRow, row: &str) -> [String; COLUMNS.len()] {
    let mut cells = std::array::from_fn(|_| String::new());
    let cell = |number: Option<f64>| number.map(|number| number.to_string()).unwrap_or_default();
    put(
        &mut cells,
        [
            // Without these a bound, a range or a guess would read as a plain number, and a doubt as a finding.
            // As the record writes it: a sign of equality in front would make a formula of it, in second place it does not.
            ("comparator", call.comparator.map(Comparator::sign).unwrap_or_default().to_owned()),
            ("number_to", cell(call.to)),
            ("number_by", cell(call.by)),
            ("estimated", call.approx.to_string()),
            ("scale", text(call.scale.as_deref())),
            ("certainty", call.certainty.map(certainty).unwrap_or_default().to_owned()),
            ("in_words", text(Some(&meaning(call)))),
        ],
    );
    put(
        &mut cells,
        [
            ("row", row.to_owned()),
            ("limb", text(call.place.limb.as_deref())),
            ("zone", text(call.place.zone.as_deref())),
            ("plane", text(call.place.plane.as_deref())),
            ("structure", text(call.place.structure.as_deref())),
            ("confidence", call.confidence.to_string()),
            ("call_seq", call.seq.to_string()),
            ("words", text(Some(&call.words))),
            ("kind", text(Some(call.kind.as_str()))),
            ("class", text(call.class.as_ref().map(Class::as_str))),
            ("term", text(call.term.as_deref())),
            ("degree", text(call.degree.as_deref())),
            ("position", text(Some(&call.position.join("; ")))),
            ("number", cell(call.number)),
            ("unit", text(call.unit.as_deref())),
            ("unit_assumed", call.unit_assumed.to_string()),
            ("state", text(call.state.as_deref())),
            ("taken_back", call.withdrawn.to_string()),
            ("added_by_hand", call.added.to_string()),
            ("corrected_by", lines(&call.corrected_by)),
            ("replaced_by", line(call.replaced_by)),
            ("contradicted_by", lines(&call.contradicted_by)),
            ("exam_time_utc", rfc3339(call.said_at)),
            ("audio_from_s", format!("{:.3}", call.span_s.0)),
            ("audio_to_s", format!("{:.3}", call.span_s.1)),
            ("doubt", text(Some(&call.doubt.join("; ")))),
        ],
    );
    cells
}

const fn certainty(certainty: Certainty) -> &'static str {
    match certainty {
        Certainty::Possible => "possible",
    }
}

fn entry_cells(entry: &EntryRow) -> [String; COLUMNS.len()] {
    let mut cells = std::array::from_fn(|_| String::new());
    put(
        &mut cells,
        [
            ("row", "entered".to_owned()),
            ("limb", text(entry.place.limb.as_deref())),
            ("zone", text(entry.place.zone.as_deref())),
            ("plane", text(entry.place.plane.as_deref())),
            ("structure", text(entry.place.structure.as_deref())),
            ("kind", entry.how().to_owned()),
            ("term", text(Some(&entry.term))),
            ("number", entry.number.to_string()),
            ("unit", text(entry.unit.as_deref())),
            ("scale", text(entry.scale.as_deref())),
            ("exam_time_utc", rfc3339(entry.at)),
            ("still_id", text(entry.still.as_deref())),
            ("by", text(entry.by.as_deref())),
            ("scale_by_hand", entry.scale_by_hand.to_string()),
            ("replaced_by", line(entry.replaced_by)),
            ("contradicted_by", lines(&entry.contradicted_by)),
        ],
    );
    cells
}

fn line(seq: Option<Seq>) -> String {
    seq.map(|seq| seq.to_string()).unwrap_or_default()
}

fn lines(seqs: &[Seq]) -> String {
    seqs.iter().map(Seq::to_string).collect::<Vec<_>>().join("; ")
}

fn put<const N: usize>(cells: &mut [String; COLUMNS.len()], values: [(&str, String); N]) {
    for (column, value) in values {
        let idx = COLUMNS.iter().position(|known| *known == column);
        match idx.and_then(|idx| cells.get_mut(idx)) {
            Some(cell) => *cell = value,
            None => unreachable!("`{column}` is no column"),
        }
    }
}

/// Findings and values that were not taken back and were said in the still's view: same limb, zone and plane.
pub(crate) fn said_in_view<'a>(frame: &'a FrameRow, record: &'a Record) -> impl Iterator<Item = &'a CallRow> {
    let known = frame.place.limb.is_some() && frame.place.zone.is_some();
    standing(record).filter(move |call| {
        known
            && matches!(call.kind, CallKind::Finding | CallKind::Value)
            && call.place.same_view(&frame.place)
    })
}

/// `<structure>: <what>`, by code.
pub(crate) fn said_with_structure(call: &CallRow) -> String {
    let by_hand = if call.added { " (added by hand)" } else { "" };
    let replaced = call.replaced_by.map(|seq| format!(" (replaced by line {seq})")).unwrap_or_default();
    let what = format!("{}{by_hand}{replaced}", meaning(call));
    match &call.place.structure {
        Some(structure) => format!("{structure}: {what}"),
        None => what,
    }
}

fn rfc3339(at: chrono::DateTime<chrono::Utc>) -> String {
    at.to_rfc3339_opts(chrono::SecondsFormat::Millis, true)
}

/// Where a spreadsheet may begin a new cell though this file parts its cells by commas: set to another sign, many do.
const PARTS: [char; 5] = [';', '|', '\t', '\r', '\n'];

/// Text that no spreadsheet takes for a formula, nor any part of it.
pub(crate) fn text(cell: Option<&str>) -> String {
    let mut safe = String::new();
    let mut at_start = true;
    for sign in cell.unwrap_or_default().chars() {
        if at_start && FORMULA.contains(&sign) {
            safe.push('\'');
        }
        safe.push(sign);
        // What is not seen in front of a sign does not keep it from being one.
        let unseen =
            sign.is_whitespace() || sign.is_control() || matches!(sign, '"' | '\u{200B}' | '\u{FEFF}');
        at_start = PARTS.contains(&sign) || (at_start && unseen);
    }
    safe
}
