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
                @for (name, strand) in &measured.tables { (table(name, strand)) }
                (list("Not used", &measured.not_used))
            }
        }
    }
}

fn table(name: &str, table: &MeasureTable) -> Markup {
    html! {
        table.measured {
            caption { strong { (name) } " " span { "scheme " (table.scheme) } }
            thead { tr { th scope="col" { "Zone" } @for head in &table.heads { th.num scope="col" { (head) } } } }
            tbody { @for (zone, cells) in &table.lines {
                tr.total[zone == "total"] { th scope="row" { (zone) } @for cell in cells { td.num { (cell) } } }
            } }
        }
        @if !table.facts.is_empty() {
            dl.facts { @for (name, value) in &table.facts { div { dt { (name) } dd { (value) } } } }
        }
        @if !table.over.is_empty() {
            ul.over { @for line in &table.over { li { strong { "Over: " } (line) } } }
        }
        (list("Caution", &table.cautions))
        (list("Not computed", &table.why_not))
        (list("Sources", &table.sources))
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
