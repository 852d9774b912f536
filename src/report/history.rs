//! The exams of a horse one after the other: what was measured, and what changed from one to the next.
//!
//! Takes: exams out of the archive, the earliest first, and `Protocols`.
//! Gives: plain text.
//! Never: compares unlike things; the measures refuse and say why.
//! Tested in: `tests/it/archive_command.rs`.

use std::fmt::Write as _;

use crate::archive::ArchivedRecord;
use crate::knowledge::measure::row::{MeasureRow, Name};
use crate::knowledge::measure::{Earlier, changes};
use crate::protocol::Protocols;

use super::measure_table::title;
use super::words::{CAUTIONS, count, date_time, structure};

/// One block an exam.
#[must_use]
pub fn text(kept: &[ArchivedRecord], protocols: &Protocols) -> String {
    let mut out = String::new();
    let mut before: Option<Earlier> = None;
    for exam in kept {
        let record = &exam.record;
        let info = &record.exam;
        let open = record.findings.iter().filter(|finding| finding.is_open()).count();
        let _ = writeln!(
            out,
            "{}  {}, {} to check, {}",
            date_time(info.started_at, info.utc_offset_s),
            count(record.frames.len(), "still"),
            open,
            info.status
        );
        for row in record.measures.iter().filter(|row| row.value.is_some() && is_summary(row)) {
            let _ = writeln!(out, "  {}", line(row, protocols));
        }
        if let Some(earlier) = &before {
            for row in changes(&record.measures, earlier, protocols) {
                let _ = writeln!(out, "  {}", change(&row, protocols));
            }
        }
        let _ = writeln!(out, "  {}\n", exam.folder);
        before = Some(Earlier {
            id: info.id.clone(),
            at: info.started_at,
            utc_offset_s: info.utc_offset_s,
            rows: record.measures.clone(),
        });
    }
    let _ = writeln!(out, "{CAUTIONS}");
    out
}

fn is_summary(row: &MeasureRow) -> bool {
    matches!(row.name, Name::Area | Name::LesionPercent | Name::AreaTotal | Name::LesionPercentTotal)
}

fn place(row: &MeasureRow, protocols: &Protocols) -> String {
    let strand = row.structure.as_deref().unwrap_or_default();
    let zone = row.zone.as_deref().unwrap_or("total");
    format!("{}, {}, {zone}", protocols.limb_name(&row.limb), structure(strand, protocols))
}

fn line(row: &MeasureRow, protocols: &Protocols) -> String {
    let value = row.value.unwrap_or_default();
    format!("{}: {} {value:.1} {}", place(row, protocols), title(row), row.unit)
}

/// A change with its sign, or why there is none; a threshold with its source.
fn change(row: &MeasureRow, protocols: &Protocols) -> String {
    let value = match (row.value, &row.why_not) {
        (Some(value), _) => format!("{value:+.1} {}", row.unit),
        (None, why) => format!("not compared: {}", why.as_deref().unwrap_or("no reason is known")),
    };
    let over = match (&row.over, &row.source) {
        (Some(over), Some(source)) => format!("; over: {over} ({source})"),
        (Some(over), None) => format!("; over: {over}"),
        (None, _) => String::new(),
    };
    format!("{}: {} {value}{over}", place(row, protocols), title(row))
}
