//! The vet's report of an exam: one HTML page that holds everything it shows.
//!
//! Takes: `ReportInput`.
//! Gives: HTML with its style and pictures inside, to be read on a tablet or printed.
//! Never: I/O, a clock, a script, or anything loaded from elsewhere; equal input gives equal bytes.
//! Tested in: `tests/it/report.rs`.

use maud::{Markup, html};

use super::ReportInput;
use super::data::{FindingLine, FirstPage, KeyPicture, Letterhead, ReportData, Standing};
use super::document::{Document, page};
use super::measure_section::measures;
use super::overlay::OverlayLine;
use super::picture::Picture;
use super::tables::{call_table, changes, coverage, entered, notes, said_table, settled, still_table};

pub(super) const STYLE: &str = include_str!("style.css");

/// The report as one HTML page.
#[must_use]
pub fn html(input: &ReportInput) -> String {
    let data = ReportData::of(input);
    let first_page = &data.first_page;
    let body = html! {
        (letterhead(first_page.letterhead.as_ref(), input))
        header {
            p.kicker { (data.kicker) }
            h1 { (data.horse) }
            dl.facts { @for (name, value) in &first_page.signalment { div { dt { (name) } dd { (value) } } } }
        }
        (status(&data.status))
        main {
            (written(first_page, &data.status))
            (found(first_page))
            section #extent {
                h2 { "Extent of the scan" }
                p.summary { (data.summary) }
            }
            (measures(data.measured.as_ref()))
            (key_pictures(&first_page.pictures, input))
            @for line in &first_page.not_shown { p { (line) } }
            @if first_page.appendix { (appendix(&data, input)) }
        }
        footer { (status(&data.status)) (sign_here(input)) }
    };
    page(&Document { title: &data.title, style: STYLE, body: &body })
}

/// What only somebody who goes through the exam needs.
fn appendix(data: &ReportData, input: &ReportInput) -> Markup {
    html! {
        (facts(&data.facts))
        (contents(data))
        (findings(&data.findings))
        (coverage(&data.grids))
        (said_table(&data.said))
        (entered(&data.entered))
        (still_table(&data.stills, input.pictures))
        (call_table(&data.calls))
        (notes(&data.notes))
        (changes(&data.changes))
        (settled(&data.settled))
        section #clock { h2 { "Clock" } @for line in &data.clock { p { (line) } } }
    }
}

/// The place for a hand; a record that was signed with a key needs none.
pub(super) fn sign_here(input: &ReportInput) -> Markup {
    html! { @if !input.record.exam.is_signed() { p.sign { "Vet, date and signature" } } }
}

/// Whose report it is.
pub(super) fn letterhead(head: Option<&Letterhead>, input: &ReportInput) -> Markup {
    let logo = input.frame.practice.and_then(|practice| practice.picture.as_ref());
    html! {
        @if let Some(head) = head {
            div.letterhead {
                p { strong { (head.name) } @for line in &head.lines { br; (line) } }
                @if let Some(logo) = logo { img src=(logo.data_uri()) alt={ "Logo of " (head.name) }; }
            }
        }
    }
}

/// What people wrote.
fn written(first_page: &FirstPage, standing: &Standing) -> Markup {
    html! {
        @for (name, text) in &first_page.words {
            section { h2 { (name) } @for line in text.lines() { p { (line) } } }
        }
        @if first_page.lacks_impression {
            section {
                h2 { "Impression" }
                p.small {
                    @if standing.word == "DRAFT" { "Not written yet. A vet writes it at the review desk before signing." }
                    @else { "The vet signed without a written impression." }
                }
            }
        }
    }
}

fn found(first_page: &FirstPage) -> Markup {
    html! {
        section #found {
            h2 { "What was found" }
            @if first_page.found.is_empty() { p { "No findings were spoken." } }
            @for found in &first_page.found {
                h3 { (found.limb) }
                @if !found.lines.is_empty() { table {
                    thead { tr { th scope="col" { "Structure" } th scope="col" { "What" } th scope="col" { "Where" } } }
                    tbody { @for line in &found.lines { tr { td { (line.structure) } td { (line.what) } td { (line.places) } } } }
                } }
                @if !found.normal.is_empty() { p { "Normal where it was mentioned: " (found.normal) "." } }
            }
        }
    }
}

fn key_pictures(pictures: &[KeyPicture], input: &ReportInput) -> Markup {
    html! {
        @if !pictures.is_empty() {
            section #key { h2 { "Key pictures" } div.pair { @for one in pictures {
                @if let Some(Picture::Shown { jpeg, width_px, height_px }) = input.pictures.get(&one.id) {
                    figure {
                        div.over {
                            img src=(super::picture::data_uri(jpeg)) width=(width_px) height=(height_px) alt=(one.caption);
                            (lines_over(one))
                        }
                        figcaption { strong { (one.caption) } @if !one.said.is_empty() { ul { @for said in &one.said { li { (said) } } } } }
                    }
                }
            } } }
        }
    }
}

/// What was traced, over the picture.
fn lines_over(one: &KeyPicture) -> Markup {
    let points = |line: &OverlayLine| {
        let corners = line.corners.iter().map(|(x, y)| format!("{:.4},{:.4}", x, y * one.tall));
        corners.collect::<Vec<_>>().join(" ")
    };
    html! {
        @if !one.lines.is_empty() {
            svg viewBox={ "0 0 1 " (format!("{:.4}", one.tall)) } role="img" aria-label="What was traced" {
                @for line in &one.lines {
                    @if line.closed { polygon points=(points(line)) {} } @else { polyline points=(points(line)) {} }
                }
            }
        }
    }
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
