//! `worklist`: the horses of the day, so that no name is typed twice.
//!
//! Takes: the practice's worklist server.
//! Gives: a list for people, or the table that `hear` and `listen` take.
//! Never: a cell that a spreadsheet would take for a formula, or a sign that a terminal obeys.
//! Tested in: `tests/it/exchange/worklist.rs`.

use std::path::PathBuf;
use std::process::ExitCode;

use chrono::NaiveDate;
use clap::ValueEnum;

use super::output::write_named;
use super::peer_args::{PeerArgs, ae_title};
use crate::exchange::day_list::table;
use crate::terminal;

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall worklist --from 192.168.1.9:104 --called CLINIC\n  \
    zonecall worklist --from 192.168.1.9:104 --called CLINIC --as csv --out today.csv\n  \
    zonecall listen --into exams/juniper --day-list today.csv --number 3\n\n\
    Exit codes: 0 listed, 1 nothing for that day, 2 an error.")]
pub(crate) struct WorklistArgs {
    /// Name or address of the worklist server and its port, or its name in `peers.toml`.
    #[arg(long, value_name = "HOST:PORT")]
    pub(crate) from: String,
    #[command(flatten)]
    pub(crate) peer: PeerArgs,
    /// The day; by default today.
    #[arg(long, value_name = "DAY")]
    pub(crate) day: Option<NaiveDate>,
    /// The kind of machine, as DICOM writes it.
    #[arg(long, value_name = "CODE", default_value = "US", value_parser = ae_title)]
    pub(crate) modality: String,
    /// Which form.
    #[arg(long = "as", value_enum, default_value_t = ListForm::Text)]
    pub(crate) form: ListForm,
    /// Where to write it, in an existing folder; by default standard output.
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ListForm {
    /// A numbered list for people.
    Text,
    /// The table that `--day-list` of `hear` and `listen` takes.
    Csv,
}

pub(crate) fn worklist(args: &WorklistArgs) -> anyhow::Result<ExitCode> {
    let peer = args.peer.peer(&args.from)?;
    let day = args.day.unwrap_or_else(|| chrono::Local::now().date_naive());
    let rows = peer.worklist(day, &args.modality)?;
    if rows.is_empty() {
        terminal::warn(format!(
            "no appointment on {day} for `{}`; ask the practice's system, or name another --day",
            args.modality
        ));
        return Ok(ExitCode::from(1));
    }
    let written = match args.form {
        ListForm::Text => rows.iter().map(|row| format!("{}\n", row.line())).collect(),
        ListForm::Csv => table(&rows)?,
    };
    match &args.out {
        Some(path) => write_named(path, written.as_bytes())?,
        None => terminal::data(written.as_bytes())?,
    }
    Ok(ExitCode::SUCCESS)
}
