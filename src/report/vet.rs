//! The vet's report of an exam: one HTML page that holds everything it shows.
//!
//! Takes: `ReportInput`.
//! Gives: HTML with its style and pictures inside, to be read on a tablet or printed.
//! Never: I/O, a clock, a script, or anything loaded from elsewhere; equal input gives equal bytes.
//! Tested in: `tests/it/report.rs`.

use maud::{Markup, html};

use super::ReportInput;
use super::data::{FindingLine, ReportData, Standing};
use super::document::{Document, page};
use super::measure_section::measures;
use super::tables::{call_table, changes, coverage, entered, notes, said_table, settled, still_table};

pub(super) const STYLE: &str = include_str!("style.css");

/// The report as one HTML page.
#[must_use]
pub fn html(input: &ReportInput) -> String {
    let data = ReportData::of(input);
    let body = html! {
        header {
            p.kicker { (data.kicker) }
            h1 { (data.horse) }
            (facts(&data.facts))
        }
        (status(&data.status))
        main {
            p.summary { (data.summary) }
            (contents(&data))
            (findings(&data.findings))
            (coverage(&data.grids))
            (said_table(&data.said))
            (measures(data.measured.as_ref()))
            (entered(&data.entered))
            (still_table(&data.stills, input.pictures))
            (call_table(&data.calls))
            (notes(&data.notes))
            (changes(&data.changes))
            (settled(&data.settled))
            section #clock { h2 { "Clock" } @for line in &data.clock { p { (line) } } }
        }
        footer { (status(&data.status)) p.sign { "Vet, date and signature" } }
    };
    page(&Document { title: &data.title, style: STYLE, body: &body })
}

fn facts(facts: &[(&str, Vec<String>)]) -> Markup {
    html! {
        dl.facts { @for (name, lines) in facts {
            div.wide[*name == "Zones"] {
                dt { (name) }
                dd { @if let [line] = lines.as_slice() { (line) } @else { @for line in lines { span.line { (line) } } } }
            }
        } }
    }
}

pub(super) fn status(standing: &Standing) -> Markup {
    html! {
        aside.status role="note" {
            strong { (standing.word) }
            @if !standing.signed.is_empty() { " " (standing.signed) }
            " " (standing.cautions)
        }
    }
}

fn contents(data: &ReportData) -> Markup {
    html! {
        nav aria-label="Parts of this report" {
            a href="#look" { "To check (" (data.findings.len()) ")" }
            a href="#views" { "Views" }
            a href="#said" { "Findings said" }
            @if data.measured.is_some() { a href="#measures" { "Measures" } }
            a href="#stills" { "Stills (" (data.stills.len()) ")" }
            a href="#calls" { "Calls (" (data.calls.len()) ")" }
            a href="#clock" { "Clock" }
        }
    }
}

fn findings(findings: &[FindingLine]) -> Markup {
    html! {
        section #look {
            h2 { "To check" }
            @if findings.is_empty() { p { "Nothing to check." } } @else {
                ul.findings { @for finding in findings {
                    li class=(finding.class) {
                        span.tag { (finding.word) }
                        span.what {
                            (finding.text)
                            span.where {
                                @if !finding.at.is_empty() { span { (finding.at) } }
                                @if let Some(seq) = finding.call { a href={ "#call-" (seq) } { "call " (seq) } }
                                @if let Some(number) = finding.still { a href={ "#still-" (number) } { "still " (number) } }
                            }
                        }
                    }
                } }
            }
        }
    }
}
