//! `zonecall measure`: what the numbers of an exam say, as tables or for programs.

use std::path::PathBuf;
use std::process::ExitCode;

use clap::ValueEnum;

use super::against::against;
use super::options::{AgainstArgs, FolderArgs};
use super::output::write_named;
use crate::exam_folder::record_against;
use crate::report::measure_table;
use crate::terminal;

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall measure exams/juniper\n  \
    zonecall measure exams/juniper-may --earlier exams/juniper-march --injured LF=2026-03-01 --as json\n\n\
    Exit codes: 0 computed, 1 a cut-off was exceeded, 2 an error.")]
pub(crate) struct MeasureArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    #[command(flatten)]
    pub(crate) against: AgainstArgs,
    /// Which form.
    #[arg(long = "as", value_enum, default_value_t = MeasureForm::Text)]
    pub(crate) form: MeasureForm,
    /// The file to write, in an existing folder; without it, standard output.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum MeasureForm {
    /// Tables for people.
    Text,
    /// For programs; described by `schema/measures.schema.json`.
    Json,
}

pub(crate) fn measure(args: &MeasureArgs) -> anyhow::Result<ExitCode> {
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = folder.exam(&protocols)?;
    let against = against(&args.against, &exam.header, &protocols)?;
    let record = record_against(&exam, &protocols, &against);
    let text = match args.form {
        MeasureForm::Text => measure_table::text(&record, &protocols),
        MeasureForm::Json => measure_table::json(&record, &protocols),
    };
    match &args.out {
        Some(path) => write_named(path, text.as_bytes())?,
        None => terminal::data(text.as_bytes())?,
    }
    let open = record.measures.iter().any(|row| row.over.is_some());
    Ok(if open { ExitCode::from(1) } else { ExitCode::SUCCESS })
}
