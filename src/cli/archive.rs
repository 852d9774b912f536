//! `zonecall file`, `history`, `find`, `archive`: exams over the years.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context as _, ensure};
use chrono::{DateTime, NaiveDate, NaiveTime, Utc};

use super::options::KnowledgeArgs;
use super::output::one_line;
pub(super) use crate::archive::FiledVersion;
use crate::archive::{Archive, ArchiveQuery, Filed, Filing};
use crate::exam::event::Horse;
use crate::exam_folder::ExamFolder;
use crate::protocol::Protocols;
use crate::report::history;
use crate::report::words::count;
use crate::terminal::{self, ShownText as _};

/// Name of the archive's file in the person's own data folder.
const FILE: &str = "zonecall/archive.sqlite";

/// Which archive.
#[derive(Debug, clap::Args)]
pub(crate) struct ArchiveArgs {
    /// The archive: a file, or a PostgreSQL server that several machines share; without it, a file of your own.
    #[arg(long, value_name = "FILE|postgres://...", env = "ZONECALL_ARCHIVE", hide_env_values = true)]
    archive: Option<String>,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Filing an exam again keeps both versions and uses the longer one.\n\
    A box that was offline can file all its exams once it is back online: an exam that is already there stays as it is.\n\n\
    Examples:\n  zonecall file exams/juniper\n  zonecall file exams/* --archive postgres://desk@server/exams\n\n\
    Exit codes: 0 all are in the archive, 2 an error; a folder that cannot be filed does not stop the others.")]
pub(crate) struct FileArgs {
    /// Exam folders.
    #[arg(required = true, value_name = "FOLDER")]
    folders: Vec<PathBuf>,
    #[command(flatten)]
    place: ArchiveArgs,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall history Juniper\n  zonecall history J-17\n\n\
    Exit codes: 0 shown, 1 the archive holds no exam of this horse, or one that cannot be read, 2 an error.")]
pub(crate) struct HistoryArgs {
    /// Name of the horse, or the practice's number for it.
    horse: String,
    #[command(flatten)]
    place: ArchiveArgs,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  zonecall find --structure SDFT --term \"core lesion\" --since 2026-01-01\n\n\
    Exit codes: 0 found, 1 nothing was found, 2 an error."
)]
pub(crate) struct FindArgs {
    /// Name or number of the horse.
    #[arg(long)]
    horse: Option<String>,
    /// Limb.
    #[arg(long, value_name = "CODE")]
    limb: Option<String>,
    /// Zone.
    #[arg(long, value_name = "CODE")]
    zone: Option<String>,
    /// Structure.
    #[arg(long, value_name = "CODE")]
    structure: Option<String>,
    /// Finding or measure, as written in the journal.
    #[arg(long)]
    term: Option<String>,
    /// First day (UTC).
    #[arg(long, value_name = "DAY")]
    since: Option<NaiveDate>,
    /// Last day, inclusive (UTC).
    #[arg(long, value_name = "DAY")]
    until: Option<NaiveDate>,
    /// Only exams with something still to look at.
    #[arg(long)]
    open: bool,
    #[command(flatten)]
    place: ArchiveArgs,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

/// Looks after the archive itself.
#[derive(Debug, clap::Args)]
#[command(after_help = "To restore a copy, name it with --archive, or put it in the place of the file.\n\n\
    Examples:\n  zonecall archive check\n  zonecall archive backup /media/stick/exams-2026-05-04.sqlite\n  \
    zonecall archive forget 20260504T080000Z-0a1b2c3d\n\n\
    Exit codes: 0 intact, 1 something is wrong with it, or the exam is not in it, 2 an error.")]
pub(crate) struct KeepingArgs {
    #[command(subcommand)]
    task: Keeping,
}

#[derive(Debug, clap::Subcommand)]
enum Keeping {
    /// Verify the archive: is the file intact, and can every record in it be read?
    Check {
        #[command(flatten)]
        place: ArchiveArgs,
    },
    /// Copy the archive into one new file while others keep using it.
    Backup {
        /// The file to create.
        #[arg(value_name = "FILE")]
        into: PathBuf,
        #[command(flatten)]
        place: ArchiveArgs,
    },
    /// Delete on request all that the archive keeps of an exam.
    Forget {
        /// The exam's name, as `zonecall journal` tells it, also of one that was erased.
        #[arg(value_name = "EXAM")]
        exam: String,
        #[command(flatten)]
        place: ArchiveArgs,
    },
}

impl ArchiveArgs {
    fn place(&self) -> anyhow::Result<String> {
        self.archive.clone().map_or_else(own_file, Ok)
    }

    /// An archive that is there; to file into, one is made.
    fn open(&self) -> anyhow::Result<Archive> {
        Ok(Archive::open_existing(&self.place()?)?)
    }
}

pub(crate) fn keep(args: &KeepingArgs) -> anyhow::Result<ExitCode> {
    let mut out = terminal::out();
    let (archive, into) = match &args.task {
        Keeping::Check { place } => (place.open()?, None),
        Keeping::Backup { into, place } => (place.open()?, Some(into)),
        Keeping::Forget { exam, place } => return forget(exam, &place.open()?),
    };
    if let Some(into) = into {
        ensure!(!into.exists(), "`{}` already exists; name a new file", into.shown());
        archive.backup(into)?;
        writeln!(out, "copied into {}", into.shown())?;
        return Ok(ExitCode::SUCCESS);
    }
    let state = archive.check()?;
    for problem in &state.problems {
        writeln!(
            out,
            "{problem}; restore a copy that `zonecall archive backup` made, or file the exam again"
        )?;
    }
    writeln!(
        out,
        "archive {}: {}, {}",
        archive.place(),
        count(state.n_exams, "exam"),
        count(state.n_versions, "version")
    )?;
    Ok(if state.problems.is_empty() { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

fn forget(exam: &str, archive: &Archive) -> anyhow::Result<ExitCode> {
    let n_versions = archive.forget(exam)?;
    let (mut out, exam) = (terminal::out(), exam.shown());
    if n_versions == 0 {
        writeln!(out, "archive {} holds no exam `{exam}`", archive.place().shown())?;
        return Ok(ExitCode::from(1));
    }
    let n_versions = count(usize::try_from(n_versions).unwrap_or(usize::MAX), "version");
    writeln!(out, "exam `{exam}`: {n_versions} deleted from {}", archive.place().shown())?;
    Ok(ExitCode::SUCCESS)
}

/// All that the archive keeps of a horse; nothing where there is no archive and none was named.
pub(super) fn versions_of(horse: &str, args: &ArchiveArgs) -> anyhow::Result<Vec<FiledVersion>> {
    let place = args.place()?;
    let is_own = args.archive.is_none();
    if is_own && !Path::new(&place).exists() {
        return Ok(Vec::new());
    }
    Ok(Archive::open_existing(&place)?.versions(horse)?)
}

/// The horses of your own archive, by which a spelled name is known; none where there is no archive.
pub(crate) fn known_horses() -> Vec<Horse> {
    let Some(place) = own_file().ok().filter(|place| Path::new(place).is_file()) else { return Vec::new() };
    let read = Archive::open_existing(&place).and_then(|archive| archive.horses());
    read.unwrap_or_else(|error| {
        terminal::warn(format!("zonecall: spelled names are not looked up: {error}"));
        Vec::new()
    })
}

fn own_file() -> anyhow::Result<String> {
    let own = |name| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
    let folder = own("XDG_DATA_HOME").or_else(|| own("HOME").map(|home| home.join(".local/share")));
    let folder =
        folder.context("there is no folder for your data; set HOME, or name a file with --archive")?;
    Ok(folder.join(FILE).to_string_lossy().into_owned())
}

pub(crate) fn file(args: &FileArgs) -> anyhow::Result<ExitCode> {
    let protocols = args.knowledge.read()?;
    let archive = Archive::open(&args.place.place()?)?;
    let mut out = terminal::out();
    let mut failed = 0;
    for folder in &args.folders {
        let filed = || -> anyhow::Result<Filing> {
            let exam_folder = ExamFolder::at(folder);
            let lines = exam_folder.lines()?;
            let record = exam_folder.record(&protocols)?;
            let full = folder.canonicalize().unwrap_or_else(|_| folder.clone());
            let filed = Filed {
                record: &record,
                lines: lines.events.len() as u64,
                hash: lines.last_hash(),
                folder: &full.to_string_lossy(),
                at: Utc::now(),
            };
            Ok(archive.file(&filed)?)
        };
        let outcome = match filed() {
            Ok(Filing::New) => "filed".to_owned(),
            Ok(Filing::Longer) => "filed: longer than the version in the archive, which is kept as well".to_owned(),
            Ok(Filing::Shorter) => {
                "kept as well as a longer version of this exam, which remains the one in use: is this an old copy?"
                    .to_owned()
            }
            Ok(Filing::Known) => "already in the archive".to_owned(),
            // One bad folder must not keep the others of a week from being filed.
            Err(error) => {
                failed += 1;
                format!("NOT FILED: {}", one_line(&error))
            }
        };
        writeln!(out, "{}: {outcome}", folder.shown())?;
    }
    writeln!(out, "archive: {}", archive.place().shown())?;
    Ok(if failed == 0 { ExitCode::SUCCESS } else { ExitCode::from(2) })
}

pub(crate) fn history(args: &HistoryArgs) -> anyhow::Result<ExitCode> {
    let protocols = args.knowledge.read()?;
    let (kept, unread) = args.place.open()?.history(&args.horse)?;
    let mut out = terminal::out();
    for fault in &unread {
        terminal::warn(format!("zonecall: not shown: {fault}"));
    }
    if kept.is_empty() && !unread.is_empty() {
        return Ok(ExitCode::from(1));
    }
    if kept.is_empty() {
        writeln!(out, "the archive holds no exam of `{}`; `zonecall file` adds exams", args.horse)?;
        return Ok(ExitCode::from(1));
    }
    out.write_all(history::text(&kept, &protocols).as_bytes())?;
    Ok(ExitCode::from(u8::from(!unread.is_empty())))
}

pub(crate) fn find(args: &FindArgs) -> anyhow::Result<ExitCode> {
    let start = |day: NaiveDate| -> DateTime<Utc> { day.and_time(NaiveTime::MIN).and_utc() };
    let wanted = ArchiveQuery {
        horse: args.horse.clone(),
        limb: args.limb.as_deref().map(Into::into),
        zone: args.zone.as_deref().map(Into::into),
        structure: args.structure.as_deref().map(Into::into),
        term: args.term.clone(),
        since: args.since.map(start),
        until: args.until.and_then(|day| day.succ_opt()).map(start),
        to_look_at: args.open,
    };
    let archive = args.place.open()?;
    let found = archive.find(&wanted)?;
    let mut out = terminal::out();
    for row in &found {
        let day = row.started_at.get(..10).unwrap_or(&row.started_at);
        let horse = if row.horse_name.is_empty() { &row.horse_id } else { &row.horse_name };
        let place = [row.limb.as_str(), row.zone.as_str(), row.structure.as_str()].join(" ");
        let line = format!("{day}  {horse:<16} {:<16} {:<20} {}", place.trim(), row.term, row.folder);
        writeln!(out, "{}", line.shown())?;
    }
    writeln!(out, "{} found", found.len())?;
    if found.is_empty() {
        for hint in unknown(&archive, wanted, &args.knowledge.read()?)? {
            writeln!(out, "{hint}")?;
        }
    }
    Ok(if found.is_empty() { ExitCode::from(1) } else { ExitCode::SUCCESS })
}

/// What was asked for that the archive holds nothing of at all: perhaps it is called another way.
fn unknown(archive: &Archive, wanted: ArchiveQuery, protocols: &Protocols) -> anyhow::Result<Vec<String>> {
    let ArchiveQuery { horse, limb, zone, structure, term, .. } = wanted;
    let limbs: BTreeSet<&str> = protocols.limbs.iter().map(|known| known.code.as_str()).collect();
    let zones = protocols.schemes.iter().flat_map(|scheme| &scheme.zones);
    let zones: BTreeSet<&str> = zones.map(|known| known.code.as_str()).collect();
    let structures: BTreeSet<&str> = protocols.structures.iter().map(|known| known.code.as_str()).collect();
    let none = ArchiveQuery::default();
    let asked = [
        ("limb", limb.as_deref(), Some(limbs), ArchiveQuery { limb: limb.clone(), ..none.clone() }),
        ("zone", zone.as_deref(), Some(zones), ArchiveQuery { zone: zone.clone(), ..none.clone() }),
        (
            "structure",
            structure.as_deref(),
            Some(structures),
            ArchiveQuery { structure: structure.clone(), ..none.clone() },
        ),
        ("term", term.as_deref(), None, ArchiveQuery { term: term.clone(), ..none.clone() }),
        ("horse", horse.as_deref(), None, ArchiveQuery { horse: horse.clone(), ..none }),
    ];
    let mut hints = Vec::new();
    for (what, named, known, alone) in asked {
        let Some(named) = named else { continue };
        match known {
            Some(known) if !known.contains(named) => {
                let known = known.into_iter().collect::<Vec<_>>().join(", ");
                hints.push(format!("`{named}` is not a known {what}; known are: {known}"));
            }
            _ if archive.find(&alone)?.is_empty() => {
                hints.push(format!(
                    "the archive holds nothing of the {what} `{named}`: is it spelt like this in the exams?"
                ));
            }
            _ => {}
        }
    }
    Ok(hints)
}
