//! The measures in the report: the chart of the leg, and a table for each strand.
//!
//! Takes: `Record` and `Protocols`.
//! Gives: a section of the page, escaped; nothing when nothing was measured.
//! Never: a value without its cautions and the source of its cut-off.
//! Tested in: `tests/tell_measures.rs`.

use maud::{Markup, PreEscaped, html};

use crate::knowledge::measure::Earlier;
use crate::knowledge::record::Record;
use crate::protocol::Protocols;

use super::chart::chart;
use super::course::course;
use super::sheet::{Sheet, injuries, sheets};
use super::words::{limb, structure};

/// Computed measures.
pub(crate) fn measures(record: &Record, earlier: &[Earlier], protocols: &Protocols) -> Markup {
    let sheets = sheets(record, protocols);
    let injuries = injuries(record, protocols);
    html! {
        @if !record.measures.is_empty() {
            section #measures {
                h2 { "Computed from what was said and traced" }
                @for line in &injuries { p { (line) } }
                @for drawn in chart(record, protocols) { figure.leg { (PreEscaped(drawn)) } }
                @for drawn in course(record, earlier, protocols) { figure.leg { (PreEscaped(drawn)) } }
                @for sheet in &sheets { (table(sheet, protocols)) }
            }
        }
    }
}

fn table(sheet: &Sheet, protocols: &Protocols) -> Markup {
    html! {
        table.measured {
            caption {
                strong { (limb(&sheet.limb, protocols)) ", " (structure(&sheet.strand, protocols)) }
                " " span { "scheme " (sheet.scheme) }
            }
            thead { tr { th scope="col" { "Zone" } @for head in &sheet.heads { th.num scope="col" { (head) } } } }
            tbody { @for (zone, cells) in &sheet.lines {
                tr { th scope="row" { (zone) } @for cell in cells { td.num { (cell) } } }
            } }
        }
        @if !sheet.facts.is_empty() {
            dl.facts { @for (name, value) in &sheet.facts { div { dt { (name) } dd { (value) } } } }
        }
        @if !sheet.over.is_empty() {
            ul.over { @for line in &sheet.over { li { strong { "Over: " } (line) } } }
        }
        (list("Take care", &sheet.cautions))
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
