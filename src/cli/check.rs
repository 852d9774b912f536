//! `zonecall check`: what is missing, doubtful or lost, and what each rule looks for.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context as _, bail};

use super::against::against;
use super::options::{AgainstArgs, KnowledgeArgs};
use crate::exam_folder::{ExamFolder, record_against};
use crate::knowledge::check::rule_ids;
use crate::knowledge::record::{Finding, Severity};
use crate::protocol::Protocols;
use crate::report::signed::verified;
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Examples:\n  zonecall check exams/juniper\n  zonecall check exams/juniper-may --earlier exams/juniper-march\n  \
    zonecall check --explain view-missing\n\n\
    Exit codes: 0 at most notes, 1 something to look at, 2 an error."
)]
pub(crate) struct CheckArgs {
    /// The exam folder.
    #[arg(value_name = "FOLDER", required_unless_present = "explain")]
    pub(crate) folder: Option<PathBuf>,
    /// Explain a rule: what it looks for, why, and its source; `all` explains every rule.
    #[arg(long, value_name = "RULE")]
    pub(crate) explain: Option<String>,
    /// Folder of an earlier exam of the same horse, against which impressions such as `smaller` are held; can be given several
    /// times.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) earlier: Vec<PathBuf>,
    #[command(flatten)]
    pub(crate) knowledge: KnowledgeArgs,
}

pub(crate) fn check(args: &CheckArgs) -> anyhow::Result<ExitCode> {
    let protocols = args.knowledge.read()?;
    if let Some(id) = &args.explain {
        return explain(id, &protocols);
    }
    let folder = args.folder.as_ref().context("name the exam folder")?;
    let exam = verified(&ExamFolder::at(folder), &protocols)?;
    let named = AgainstArgs { earlier: args.earlier.clone(), ..AgainstArgs::default() };
    let record = record_against(&exam, &protocols, &against(&named, &exam.header, &protocols)?);
    let mut out = terminal::out();
    let (settled, open): (Vec<_>, Vec<_>) =
        record.findings.iter().partition(|finding| finding.settled.is_some());
    for finding in open.into_iter().chain(settled) {
        write_finding(&mut out, finding)?;
    }
    if let Some(signed) = &record.exam.signed {
        let standing = if record.exam.is_signed() { "signed" } else { "now a draft, was signed" };
        let stamp = signed.time_stamp.as_ref().map_or_else(
            || "no valid time stamp".to_owned(),
            |stamp| format!("time stamp of {} by {}", stamp.at.format("%Y-%m-%d %H:%M:%S UTC"), stamp.by),
        );
        writeln!(out, "{}", format!("{standing} by {}; {stamp}", signed.by).shown())?;
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
    let line = format!("{word:<5} {}: {}{place}{settled}", finding.rule, finding.message);
    writeln!(out, "{}", line.shown())
}

fn explain(id: &str, protocols: &Protocols) -> anyhow::Result<ExitCode> {
    let rules: Vec<_> = protocols.rules.rule.iter().filter(|rule| id == "all" || rule.id == id).collect();
    if rules.is_empty() {
        let ids: Vec<&str> = rule_ids().collect();
        bail!("`{id}` is not a rule; the rules are: {}", ids.join(", "));
    }
    let mut out = terminal::out();
    for rule in rules {
        writeln!(out, "{} ({})\n  {}\n  source: {}", rule.id, rule.severity.word(), rule.why, rule.source)?;
    }
    Ok(ExitCode::SUCCESS)
}
