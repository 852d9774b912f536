//! `zonecall name`: says afterwards which horse was examined.

use std::io::Write;
use std::process::ExitCode;

use anyhow::ensure;
use chrono::Utc;

use super::options::{DraftAgain, FolderArgs, listed_name, not_blank};
use crate::exam::event::{Event, Horse, NamedHorse};
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  zonecall name exams/2026-05-04-100000 --horse Juniper --by Ada\n\n\
    Exit codes: 0 written, 2 an error, and nothing was written.")]
pub(crate) struct NameArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// The horse's name.
    #[arg(long, value_name = "NAME", value_parser = not_blank)]
    pub(crate) horse: Option<String>,
    /// The practice's number for the horse.
    #[arg(long, value_name = "NUMBER", value_parser = not_blank)]
    pub(crate) horse_id: Option<String>,
    /// Its owner or keeper.
    #[arg(long, value_name = "NAME", value_parser = not_blank)]
    pub(crate) owner: Option<String>,
    /// Who says so; kept in the journal.
    #[arg(long, value_name = "NAME", value_parser = listed_name)]
    pub(crate) by: String,
    #[command(flatten)]
    pub(crate) again: DraftAgain,
}

pub(crate) fn name(args: &NameArgs) -> anyhow::Result<ExitCode> {
    let folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = folder.exam(&protocols)?;
    args.again.may_change(&exam)?;
    ensure!(
        exam.damage.is_empty(),
        "the journal is damaged, and nothing was written; `zonecall journal {} --verify` names the lines; put back a copy",
        folder.path().shown()
    );
    let horse = Horse {
        name: args.horse.clone(),
        id: args.horse_id.clone(),
        owner: args.owner.clone(),
        ..Horse::default()
    };
    ensure!(horse != Horse::default(), "nothing was said of the horse; give --horse, --horse-id or --owner");
    let named = Event::Named(NamedHorse { by: args.by.clone(), horse, order: None, other: false });
    folder.append_journal()?.append(Utc::now(), exam.last_sample(), &named)?;
    let horse = folder.exam(&protocols)?.header.horse;
    let (name, id) = (horse.name.unwrap_or_else(|| "no name".to_owned()), horse.id);
    let id = id.map_or_else(String::new, |id| format!(", number {id}"));
    writeln!(terminal::out(), "{}: {name}{id}", folder.path().shown())?;
    Ok(ExitCode::SUCCESS)
}
