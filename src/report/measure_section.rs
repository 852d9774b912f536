//! The measures in the HTML report: the chart of the leg, and a table for each strand.
//!
//! Takes: the measures of a `Paper`.
//! Gives: a section of the page, escaped; nothing when nothing was measured.
//! Never: a value without its cautions and the source of its cut-off.
//! Tested in: `tests/it/report_measures.rs`.

use maud::{Markup, PreEscaped, html};

use super::data::MeasuredSection;
use super::measure_table::MeasureTable;

/// Computed measures.
pub(crate) fn measures(measured: Option<&MeasuredSection>) -> Markup {
    html! {
        @if let Some(measured) = measured {
            section #measures {
                h2 { "Measurements" }
                @for line in &measured.injuries { p { (line) } }
                @for drawn in &measured.charts { figure.leg { (PreEscaped(drawn)) } }
                @for (name, sheet) in &measured.sheets { (table(name, sheet)) }
                (list("Not used", &measured.not_used))
            }
        }
    }
}

fn table(name: &str, sheet: &MeasureTable) -> Markup {
    html! {
        table.measured {
            caption { strong { (name) } " " span { "scheme " (sheet.scheme) } }
            thead { tr { th scope="col" { "Zone" } @for head in &sheet.heads { th.num scope="col" { (head) } } } }
            tbody { @for (zone, cells) in &sheet.lines {
                tr.total[zone == "total"] { th scope="row" { (zone) } @for cell in cells { td.num { (cell) } } }
            } }
        }
        @if !sheet.facts.is_empty() {
            dl.facts { @for (name, value) in &sheet.facts { div { dt { (name) } dd { (value) } } } }
        }
        @if !sheet.over.is_empty() {
            ul.over { @for line in &sheet.over { li { strong { "Over: " } (line) } } }
        }
        (list("Caution", &sheet.cautions))
        (list("Not computed", &sheet.why_not))
        (list("Sources", &sheet.sources))
    }
}

fn list(head: &str, lines: &[String]) -> Markup {
    html! {
        @if !lines.is_empty() {
            p.small { (head) ":" }
            ul.small { @for line in lines { li { (line) } } }
        }
    }
}
