//! `check`, `report`, `export`, `phrases`, `manual`, `completions`: what the program knows, shown.

use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context as _, bail};
use clap::CommandFactory;

use super::against::against;
use super::args;
use super::exchange;
use super::output::write_file;
use crate::exam_folder::{ExamFolder, record_against};
use crate::knowledge::check::rule_ids;
use crate::knowledge::measure::Against;
use crate::knowledge::record::{Finding, Record, Severity};
use crate::language::phrases::{blanks, phrases as headings};
use crate::protocol::Protocols;
use crate::report;
use crate::report::card::{Card, CardRow, Section};
use crate::report::signed::verified;

pub(crate) fn check(args: &args::CheckArgs) -> anyhow::Result<ExitCode> {
    let protocols = args.knowledge.read()?;
    if let Some(id) = &args.explain {
        return explain(id, &protocols);
    }
    let folder = args.folder.as_ref().context("name the exam folder")?;
    let exam = verified(&ExamFolder::at(folder), &protocols)?;
    let record = record_against(&exam, &protocols, &Against::default());
    let mut out = std::io::stdout().lock();
    let (settled, open): (Vec<_>, Vec<_>) =
        record.findings.iter().partition(|finding| finding.settled.is_some());
    for finding in open.into_iter().chain(settled) {
        write_finding(&mut out, finding)?;
    }
    let covered = record.coverage.iter().filter(|row| row.frames > 0).count();
    writeln!(out, "{covered} of {} views have a still", record.coverage.len())?;
    let is_clean = !record.findings.iter().any(Finding::is_open);
    Ok(if is_clean { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// One line: how much it matters, or that it is settled and by whom.
fn write_finding(out: &mut impl Write, finding: &Finding) -> std::io::Result<()> {
    let word = match (&finding.settled, finding.severity) {
        (Some(_), _) => "done",
        (None, Severity::Error) => "ERROR",
        (None, Severity::Warn) => "look",
        (None, Severity::Info) => "note",
    };
    let place = match (finding.call_seq, &finding.frame) {
        (Some(seq), _) => format!(" (call {seq})"),
        (None, Some(frame)) => format!(" (still {frame})"),
        (None, None) => String::new(),
    };
    let settled = finding.settled.as_ref().map_or_else(String::new, |settled| {
        let why = if settled.why.is_empty() { String::new() } else { format!(": {}", settled.why) };
        format!("; settled by {} in line {}{why}", settled.by, settled.seq)
    });
    writeln!(out, "{word:<5} {}: {}{place}{settled}", finding.rule, finding.message)
}

fn explain(id: &str, protocols: &Protocols) -> anyhow::Result<ExitCode> {
    let rules: Vec<_> = protocols.rules.rule.iter().filter(|rule| id == "all" || rule.id == id).collect();
    if rules.is_empty() {
        let ids: Vec<&str> = rule_ids().collect();
        bail!("`{id}` is not a rule; the rules are: {}", ids.join(", "));
    }
    let mut out = std::io::stdout().lock();
    for rule in rules {
        writeln!(out, "{} ({})\n  {}\n  source: {}", rule.id, rule.severity.word(), rule.why, rule.source)?;
    }
    Ok(ExitCode::SUCCESS)
}

pub(crate) fn report(args: &args::ReportArgs) -> anyhow::Result<ExitCode> {
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = verified(&folder, &protocols)?;
    let against = against(&args.against, &exam.header, &protocols)?;
    let record = record_against(&exam, &protocols, &against);
    let pictures = report::picture::pictures(&record, folder.path());
    let told = report::ReportInput {
        record: &record,
        earlier: &against.earlier,
        protocols: &protocols,
        pictures: &pictures,
    };
    let (bytes, ending) = match args.format {
        args::ReportForm::Html if args.reader == args::ReportReader::Vet => {
            (report::vet::html(&told).into_bytes(), "html")
        }
        args::ReportForm::Html => (report::owner::html(&told).into_bytes(), "html"),
        args::ReportForm::Pdf => (printed(args, &told)?, "pdf"),
    };
    let for_whom = if args.reader == args::ReportReader::Owner { "-owner" } else { "" };
    let path = match &args.out {
        Some(path) => path.clone(),
        None => folder.out()?.join(format!("report{for_whom}.{ending}")),
    };
    write_file(&path, &bytes)?;
    writeln!(std::io::stdout(), "report: {}", path.display())?;
    Ok(ExitCode::SUCCESS)
}

#[cfg(not(feature = "print"))]
fn printed(_: &args::ReportArgs, _: &report::ReportInput) -> anyhow::Result<Vec<u8>> {
    bail!(
        "this program was built without reports as PDF; leave out --format, or install the whole package, \
         or build with the feature `print`"
    )
}

#[cfg(feature = "print")]
fn printed(args: &args::ReportArgs, told: &report::ReportInput) -> anyhow::Result<Vec<u8>> {
    use report::print::{Audience, PageSize, pdf};
    let reader = if args.reader == args::ReportReader::Owner { Audience::Owner } else { Audience::Vet };
    let sheet = if args.paper == args::PaperSize::Letter { PageSize::Letter } else { PageSize::A4 };
    let printed = pdf(told, reader, sheet)?;
    if !printed.without_font.is_empty() {
        let letters: String = printed.without_font.iter().collect();
        eprintln!(
            "no font on this machine has `{letters}`; they are printed as numbers: install a font that has them"
        );
    }
    Ok(printed.pdf)
}

pub(crate) fn export(args: &exchange::ExportArgs) -> anyhow::Result<ExitCode> {
    use exchange::ExportFormat;
    let written: fn(&Record) -> String = match args.form {
        ExportFormat::Json => report::export::json,
        ExportFormat::Csv => report::export::csv,
        ExportFormat::Vtt => report::export::vtt,
        ExportFormat::Dicom => return exchange::dicom(args),
        ExportFormat::Labelled => return exchange::labelled(args),
        ExportFormat::Fhir => return exchange::fhir(args),
        ExportFormat::Teaching => return exchange::teaching(args),
        ExportFormat::Audio => return exchange::audio(args),
    };
    let protocols = args.folder.knowledge.read()?;
    let exam = verified(&args.folder.open(), &protocols)?;
    let text = written(&record_against(&exam, &protocols, &Against::default()));
    match &args.out {
        Some(path) => write_file(path, text.as_bytes())?,
        None => std::io::stdout().write_all(text.as_bytes())?,
    }
    Ok(ExitCode::SUCCESS)
}

pub(crate) fn phrases(args: &args::PhrasesArgs) -> anyhow::Result<ExitCode> {
    let protocols = args.knowledge.read()?;
    let spoken = args.language.read(&protocols)?;
    // More is heard than is meant to be said: zones of other schemes, so that they can be told apart.
    let own = spoken.pack.for_zones(&protocols.zones_by_limb(&spoken.schemes));
    let sections = headings(&own.grammar).into_iter().map(|heading| Section {
        heading: heading.title,
        note: heading.note,
        rows: heading.patterns.into_iter().map(|(say, does)| CardRow { say, does }).collect(),
    });
    let note = "Words in brackets are optional; a bar separates alternatives.";
    let title = "What you can say".to_owned();
    match &args.html {
        Some(path) => {
            // One page for the wall has no room for the words of the blanks.
            let note = format!("{note} `zonecall phrases` lists the words for each ‹ ›.");
            let card = Card { title, note, sections: sections.collect() };
            write_file(path, report::card::html(&card).as_bytes())?;
        }
        None => {
            let rows =
                blanks(&own.grammar).into_iter().map(|(blank, words)| CardRow { say: blank, does: words });
            let heading = "The words for ‹ ›".to_owned();
            let last = Section { heading, note: String::new(), rows: rows.collect() };
            let card = Card { title, note: note.to_owned(), sections: sections.chain([last]).collect() };
            std::io::stdout().write_all(report::card::text(&card).as_bytes())?;
        }
    }
    Ok(ExitCode::SUCCESS)
}

pub(crate) fn manual(args: &args::ManualArgs) -> anyhow::Result<ExitCode> {
    std::fs::create_dir_all(&args.into).with_context(|| format!("cannot make `{}`", args.into.display()))?;
    clap_mangen::generate_to(args::Args::command(), &args.into)
        .with_context(|| format!("cannot write the manual into `{}`", args.into.display()))?;
    Ok(ExitCode::SUCCESS)
}

pub(crate) fn completions(args: &args::CompletionsArgs) -> anyhow::Result<ExitCode> {
    clap_complete::generate(args.shell, &mut args::Args::command(), "zonecall", &mut std::io::stdout());
    Ok(ExitCode::SUCCESS)
}
