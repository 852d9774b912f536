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
pub fn html(told: &ReportInput) -> String {
    let paper = ReportData::of(told);
    let body = html! {
        header {
            p.kicker { (paper.kicker) }
            h1 { (paper.horse) }
            (facts(&paper.facts))
        }
        (status(&paper.status))
        main {
            p.summary { (paper.summary) }
            (contents(&paper))
            (findings(&paper.findings))
            (coverage(&paper.grids))
            (said_table(&paper.said))
            (measures(paper.measured.as_ref()))
            (entered(&paper.entered))
            (still_table(&paper.stills, told.pictures))
            (call_table(&paper.calls))
            (notes(&paper.notes))
            (changes(&paper.changes))
            (settled(&paper.settled))
            section #clock { h2 { "Clock" } @for line in &paper.clock { p { (line) } } }
        }
        footer { (status(&paper.status)) p.sign { "Vet, date and signature" } }
    };
    page(&Document { title: &paper.title, style: STYLE, body: &body })
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

fn contents(paper: &ReportData) -> Markup {
    html! {
        nav aria-label="Parts of this report" {
            a href="#look" { "To check (" (paper.findings.len()) ")" }
            a href="#views" { "Views" }
            a href="#said" { "Findings said" }
            @if paper.measured.is_some() { a href="#measures" { "Measures" } }
            a href="#stills" { "Stills (" (paper.stills.len()) ")" }
            a href="#calls" { "Calls (" (paper.calls.len()) ")" }
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
