//! The report of an exam: one HTML page that holds everything it shows.
//!
//! Takes: `Record`, `Protocols` and `Pictures`.
//! Gives: HTML with its style and pictures inside, to be read on a tablet or printed.
//! Never: I/O, a clock, a script, or anything loaded from elsewhere; equal input gives equal bytes.
//! Tested in: `tests/tell.rs`.

use std::collections::BTreeMap;

use maud::{Markup, html};

use crate::knowledge::measure::Earlier;
use crate::knowledge::record::{Finding, Record, Severity};
use crate::protocol::Protocols;

use super::measured::measures;
use super::page::{Sheet, page};
use super::picture::Pictures;
use super::said::said_table;
use super::tables::{call_table, changes, clock, coverage, notes, still_table};
use super::words::{CAUTIONS, Cover, count, date_time, limb, quoted, time_of_day};

const STYLE: &str = include_str!("style.css");

/// The report as one HTML page.
#[must_use]
pub fn report(record: &Record, protocols: &Protocols, pictures: &Pictures) -> String {
    report_since(record, &[], protocols, pictures)
}

/// The report with the course of the areas since earlier exams, the latest last.
#[must_use]
pub fn report_since(
    record: &Record,
    earlier: &[Earlier],
    protocols: &Protocols,
    pictures: &Pictures,
) -> String {
    let exam = &record.exam;
    let horse = exam.horse.name.as_deref().or(exam.horse.id.as_deref()).unwrap_or("horse without a name");
    let title = format!("Scan of {horse}, {}", date_time(exam.started_at, exam.utc_offset_s));
    let body = html! {
        header {
            p.kicker { "Ultrasound scan of the limbs" }
            h1 { (horse) }
            (facts(record, protocols))
        }
        (status(record))
        main {
            p.summary { (summary(record, protocols)) }
            (contents(record))
            (findings(record))
            (coverage(record, protocols))
            (said_table(record, protocols))
            (measures(record, earlier, protocols))
            (still_table(record, protocols, pictures))
            (call_table(record, protocols))
            (notes(record))
            (changes(record))
            (clock(record))
        }
        footer { (status(record)) p.sign { "Vet, date and signature" } }
    };
    page(&Sheet { title: &title, style: STYLE, body: &body })
}

fn facts(record: &Record, protocols: &Protocols) -> Markup {
    let exam = &record.exam;
    let schemes: Vec<String> = exam
        .schemes
        .iter()
        .map(|(group, name)| match protocols.scheme(name) {
            Some(scheme) => format!("{group}: {name} ({})", scheme.title),
            None => format!("{group}: {name}"),
        })
        .collect();
    html! {
        dl.facts {
            @if exam.horse.name.is_some() && let Some(id) = &exam.horse.id { div { dt { "Horse no." } dd { (id) } } }
            div { dt { "Scanned by" } dd { (exam.person.as_deref().unwrap_or("not stated")) } }
            div { dt { "Began" } dd { (date_time(exam.started_at, exam.utc_offset_s)) } }
            div { dt { "Ended" } dd {
                @match exam.ended_at {
                    Some(ended) => { (date_time(ended, exam.utc_offset_s)) }
                    None => { "never closed" }
                }
            } }
            div { dt { "Heard by" } dd { (exam.engine) } }
            div { dt { "Exam" } dd { (exam.id) } }
            @if !schemes.is_empty() { div.wide { dt { "Zones" } dd { @for scheme in &schemes { span.line { (scheme) } } } } }
        }
    }
}

fn status(record: &Record) -> Markup {
    html! {
        aside.status role="note" {
            strong { (record.exam.status.to_uppercase()) }
            @if let Some(signed) = &record.exam.signed {
                " " @if signed.changes_since > 0 { "Changed since it was signed by " } @else { "By " }
                (signed.by) ", licence " (signed.licence) " as entered, " (date_time(signed.at, record.exam.utc_offset_s)) "."
            }
            " " (CAUTIONS)
        }
    }
}

/// What is covered and what is missing, in one or two sentences.
fn summary(record: &Record, protocols: &Protocols) -> String {
    if record.coverage.is_empty() {
        return format!("No limb was called, so no view is expected. {}", stills(record));
    }
    let covered = record.coverage.iter().filter(|row| row.frames > 0).count();
    let mut text = format!("{covered} of {} have a still.", count(record.coverage.len(), "wanted view"));
    let mut open: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for row in &record.coverage {
        if matches!(Cover::of(row), Cover::Saved | Cover::Called | Cover::Missing) {
            open.entry(&row.limb).or_default().push(format!("{} {}", row.zone, row.plane));
        }
    }
    let not_done = record.coverage.iter().filter(|row| Cover::of(row) == Cover::NotDone).count();
    if not_done > 0 {
        text.push_str(&format!(" {} left out on purpose.", count(not_done, "view")));
    }
    if !open.is_empty() {
        let limbs: Vec<String> = open
            .iter()
            .map(|(code, views)| {
                let (name, rest) = (limb(code, protocols), views.len().saturating_sub(VIEWS_NAMED_MAX));
                let named = views.get(..VIEWS_NAMED_MAX).unwrap_or(views).join(", ");
                if rest > 0 { format!("{name} {named} and {rest} more") } else { format!("{name} {named}") }
            })
            .collect();
        text.push_str(&format!(" Without a still: {}.", limbs.join("; ")));
    }
    format!("{text} {}", stills(record))
}

/// Views that the summary names on one limb before it only counts.
const VIEWS_NAMED_MAX: usize = 6;

fn stills(record: &Record) -> String {
    use crate::knowledge::record::Status;
    let with = |status| record.frames.iter().filter(|frame| frame.status == status).count();
    let (ambiguous, unlabelled) = (with(Status::Ambiguous), with(Status::Unlabelled));
    let mut text = format!("{} found", count(record.frames.len(), "still"));
    match (ambiguous, unlabelled) {
        (0, 0) if record.frames.is_empty() => {}
        (0, 0) => text.push_str(", each with one label"),
        (open, 0) => text.push_str(&format!(", {open} with two readings")),
        (0, none) => text.push_str(&format!(", {none} without a label")),
        (open, none) => text.push_str(&format!(", {open} with two readings and {none} without a label")),
    }
    text.push('.');
    text
}

fn contents(record: &Record) -> Markup {
    html! {
        nav aria-label="Parts of this report" {
            a href="#look" { "To look at (" (record.findings.len()) ")" }
            a href="#views" { "Views" }
            a href="#said" { "Findings said" }
            @if !record.measures.is_empty() { a href="#measures" { "Measures" } }
            a href="#stills" { "Stills (" (record.frames.len()) ")" }
            a href="#calls" { "Calls (" (record.calls.len()) ")" }
            a href="#clock" { "Clock" }
        }
    }
}

fn findings(record: &Record) -> Markup {
    let mut worst_first: Vec<&Finding> = record.findings.iter().collect();
    worst_first.sort_by_key(|finding| finding.severity);
    html! {
        section #look {
            h2 { "To look at" }
            @if worst_first.is_empty() { p { "Nothing stood out." } } @else {
                ul.findings {
                    @for finding in worst_first { (one_finding(finding, record)) }
                }
            }
        }
    }
}

fn one_finding(finding: &Finding, record: &Record) -> Markup {
    let (class, word) = match finding.severity {
        Severity::Error => ("bad", "Wrong or lost"),
        Severity::Warn => ("warn", "Look"),
        Severity::Info => ("info", "Note"),
    };
    let call = finding.call_seq.filter(|seq| record.calls.iter().any(|call| call.seq == *seq));
    let still = finding.frame.as_ref().and_then(|id| record.frames.iter().position(|frame| &frame.id == id));
    html! {
        li class=(class) {
            span.tag { (word) }
            span.what {
                (quoted(&finding.message))
                span.where {
                    @if let Some(at) = finding.at { span { (time_of_day(at, record.exam.utc_offset_s)) } }
                    @if let Some(seq) = call { a href={ "#call-" (seq) } { "call " (seq) } }
                    @if let Some(idx) = still { a href={ "#still-" (idx + 1) } { "still " (idx + 1) } }
                }
            }
        }
    }
}
