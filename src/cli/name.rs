//! `zonecall name`: says afterwards which horse was examined.

use std::io::Write;
use std::process::ExitCode;

use anyhow::{Context as _, ensure};
use chrono::Utc;

use super::options::{DraftAgain, FolderArgs, listed_name, not_blank};
use crate::exam::event::{Event, Horse, NamedHorse};
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  zonecall name exams/2026-05-04-100000 --horse Juniper --by Ada\n  \
    zonecall name exams/2026-05-04-100000 --from-stills --by Ada\n\n\
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
    /// Take the name and the number that the exam's stills agree on.
    #[arg(long, conflicts_with_all = ["horse", "horse_id"])]
    pub(crate) from_stills: bool,
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
    let (name, id) = if args.from_stills {
        let patient = exam.patient_of_stills().context(
            "the stills do not say whose they are: none names a horse, not all name the same, or the exam has one already; name it \
             with --horse or --horse-id",
        )?;
        (patient.own_name(), patient.id.clone())
    } else {
        (args.horse.clone(), args.horse_id.clone())
    };
    let horse = Horse { name, id, owner: args.owner.clone(), ..Horse::default() };
    ensure!(
        horse != Horse::default(),
        "nothing was said of the horse; give --horse, --horse-id, --owner or --from-stills"
    );
    let named = Event::Named(NamedHorse { by: args.by.clone(), horse, order: None, other: false });
    folder.append_journal()?.append(Utc::now(), exam.last_sample(), &named)?;
    let horse = folder.exam(&protocols)?.header.horse;
    let (name, id) = (horse.name.unwrap_or_else(|| "no name".to_owned()), horse.id);
    let id = id.map_or_else(String::new, |id| format!(", number {id}"));
    writeln!(terminal::out(), "{}: {name}{id}", folder.path().shown())?;
    Ok(ExitCode::SUCCESS)
}
