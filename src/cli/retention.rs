//! `zonecall retention`: what is kept of a horse, copied; and what is kept no longer, deleted.
//!
//! Takes: exam folders.
//! Gives: a copy with a list of its files and their hashes; or fewer files, and a line in each journal.
//! Never: shortens a journal, unless all of an exam is to be erased, or deletes anything that was not asked for.
//! Tested in: `tests/it/retention.rs`.

use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use chrono::{TimeDelta, Utc};

use super::archive::{ArchiveArgs, versions_of};
use super::options::{KnowledgeArgs, listed_name};
use super::output::one_line;
use super::retention_copy::copy;
use crate::exam::discard::{Deleted, Discard, discard};
use crate::exam::erase::{erase, remove_rest};
use crate::exam::fold::Exam;
use crate::exam::sign::FileHash;
use crate::exam_folder::{ExamFolder, record_against};
use crate::knowledge::measure::Against;
use crate::protocol::Protocols;
use crate::report::words::{count, day};
use crate::terminal::{self, ShownText as _};

/// What is said of an exam that was erased before.
const ERASED_BEFORE: &str = "erased before";
/// Files that are named; of more, how many.
const NAMED_MAX: usize = 5;

/// Keeps no longer what need not be kept, and copies what is.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "A line of the journal says what was deleted and keeps the hashes; words stay in it until the exam is \
    erased.\n\n\
    Examples:\n  zonecall retention sound --days 365 exams/*\n  \
    zonecall retention copy --horse Juniper --into /media/stick/juniper exams/*\n  \
    zonecall retention delete --why \"requested by the owner\" --by Ada --yes exams/juniper\n  \
    zonecall retention erase --why \"requested by the owner\" --by Ada --yes exams/juniper\n\n\
    Exit codes: 0 done, 1 nothing was found, something could not be copied, or shown only, 2 an error."
)]
pub(crate) struct RetentionArgs {
    #[command(subcommand)]
    task: Retention,
}

#[derive(Debug, clap::Subcommand)]
enum Retention {
    /// Delete the sound of exams that are older than the practice keeps it.
    Sound {
        /// Days that the practice keeps sound.
        #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(i64).range(1..=36_500))]
        days: i64,
        /// Also the sound of drafts in which something is still to be checked, which may need listening.
        #[arg(long)]
        drafts_too: bool,
        #[command(flatten)]
        of: ExamsArgs,
    },
    /// Copy everything that is kept of a horse, in these exams and in the archive, with a list of the files and their hashes.
    Copy {
        /// Name of the horse, or the practice's number for it.
        #[arg(long, value_name = "NAME")]
        horse: String,
        /// The folder to create.
        #[arg(long, value_name = "FOLDER")]
        into: PathBuf,
        #[command(flatten)]
        archive: ArchiveArgs,
        #[command(flatten)]
        of: ExamsArgs,
    },
    /// Delete sound, stills and reports of an exam on request; the journal stays and still verifies.
    Delete {
        /// Why, for the journal.
        #[arg(long, value_name = "TEXT")]
        why: String,
        #[command(flatten)]
        wish: Wish,
        #[command(flatten)]
        of: ExamsArgs,
    },
    /// Erase an exam on request, including its words. One line is left, by which a copy of the exam can be recognised;
    /// nothing can be read or reported any more, and it cannot be restored.
    Erase {
        /// Why, for the line that is left: name no owner in it.
        #[arg(long, value_name = "TEXT")]
        why: String,
        #[command(flatten)]
        wish: Wish,
        #[command(flatten)]
        of: ExamsArgs,
    },
}

/// Which exams, and by whose anatomy they are read.
#[derive(Debug, clap::Args)]
struct ExamsArgs {
    /// Exam folders.
    #[arg(value_name = "FOLDER", required = true)]
    exams: Vec<PathBuf>,
    #[command(flatten)]
    knowledge: KnowledgeArgs,
}

/// Who wants something gone for good, and whether they mean it.
#[derive(Debug, clap::Args)]
struct Wish {
    /// Who wants it; kept in the journal.
    #[arg(long, value_name = "NAME", value_parser = listed_name)]
    by: String,
    /// Do it; without this the command only shows what would go.
    #[arg(long)]
    yes: bool,
}

pub(crate) fn retention(args: &RetentionArgs) -> anyhow::Result<ExitCode> {
    match &args.task {
        Retention::Sound { days, drafts_too, of: ExamsArgs { exams, knowledge } } => {
            let before = Utc::now() - TimeDelta::days(*days);
            let why = format!("the practice keeps sound for {days} days");
            let protocols = knowledge.read()?;
            let kept_for = |exam: &Exam| match exam.header.started_at < before {
                false => Some("not old enough".to_owned()),
                true if *drafts_too => None,
                true => still_needed(exam, &protocols),
            };
            delete(exams, &protocols, Discard::Sound, (&why, None), kept_for)
        }
        Retention::Delete { why, wish, of: ExamsArgs { exams, knowledge } } => {
            let protocols = knowledge.read()?;
            if !wish.yes {
                return show_only(exams, &protocols, "deleted");
            }
            delete(exams, &protocols, Discard::Files, (why, Some(&wish.by)), |_| None)
        }
        Retention::Erase { why, wish, of: ExamsArgs { exams, knowledge } } => {
            let protocols = knowledge.read()?;
            if !wish.yes {
                return show_only(exams, &protocols, "erased");
            }
            erase_all(exams, &protocols, (why, &wish.by))
        }
        Retention::Copy { horse, into, archive, of: ExamsArgs { exams, knowledge } } => {
            let filed = versions_of(horse, archive)?;
            copy(exams, &knowledge.read()?, horse, (into, &filed))
        }
    }
}

/// Why the sound of an old exam is kept: somebody may have to listen to it.
fn still_needed(exam: &Exam, protocols: &Protocols) -> Option<String> {
    if exam.is_signed || exam.audio.iter().all(|audio| exam.is_discarded(&audio.file)) {
        return None;
    }
    let record = record_against(exam, protocols, &Against::default());
    let open = record.findings.iter().filter(|finding| finding.is_open()).count();
    (open > 0).then(|| {
        let points = count(open, "point");
        format!("it is a draft with {points} to check; sign it, or add --drafts-too")
    })
}

/// Says what would go, and what it is of; nothing is changed.
fn show_only(exams: &[PathBuf], protocols: &Protocols, gone: &str) -> anyhow::Result<ExitCode> {
    let mut out = terminal::out();
    for path in exams {
        let about = match ExamFolder::at(path).exam(protocols) {
            Err(error) if error.is_erased() => ERASED_BEFORE.to_owned(),
            Err(error) => one_line(&error.into()),
            Ok(exam) => {
                let horse = &exam.header.horse;
                let horse = horse.name.as_deref().or(horse.id.as_deref()).unwrap_or("unnamed horse").shown();
                let day = day(exam.header.started_at, exam.header.utc_offset_s);
                let signed = exam.signed.as_ref().filter(|_| exam.is_signed);
                let signed = signed.map_or_else(
                    || "a draft".to_owned(),
                    |signed| format!("signed by {}", signed.signed.by.shown()),
                );
                let (sound, stills) =
                    (count(exam.audio.len(), "recording"), count(exam.frames.len(), "still"));
                format!("{horse}, {day}, {signed}: {sound}, {stills}")
            }
        };
        writeln!(out, "{}: {about}", path.shown())?;
    }
    writeln!(
        out,
        "nothing was {gone}: look at this list, then add --yes; what is {gone} cannot be restored"
    )?;
    Ok(ExitCode::from(1))
}

/// Deletes in each folder; where `kept_for` has a reason, nothing. One that cannot be read keeps the others from nothing.
fn delete(
    exams: &[PathBuf],
    protocols: &Protocols,
    what: Discard,
    (why, by): (&str, Option<&str>),
    kept_for: impl Fn(&Exam) -> Option<String>,
) -> anyhow::Result<ExitCode> {
    let mut out = terminal::out();
    let mut failed = false;
    for path in exams {
        let folder = ExamFolder::at(path);
        let done = || -> anyhow::Result<(String, Vec<PathBuf>)> {
            let mut journal = folder.append_journal()?;
            let exam = match folder.exam(protocols) {
                Err(error) if error.is_erased() => return Ok((ERASED_BEFORE.to_owned(), Vec::new())),
                exam => exam?,
            };
            if let Some(reason) = kept_for(&exam) {
                return Ok((format!("kept, {reason}"), Vec::new()));
            }
            let Deleted { kept, made, outside } =
                discard(path, &exam, &mut journal, what, (why, by), Utc::now())?;
            let is_sound = |gone: &&FileHash| exam.audio.iter().any(|audio| audio.file == gone.file);
            let n_sound = kept.iter().filter(is_sound).count();
            let (sound, stills) = (count(n_sound, "recording"), count(kept.len() - n_sound, "still"));
            let deleted = match what {
                Discard::Sound => format!("{sound} deleted"),
                Discard::Files => {
                    format!("{sound}, {stills} and {} in `out` deleted", count(made, "file"))
                }
            };
            Ok((deleted, outside))
        };
        match done() {
            Ok((became, left)) => {
                writeln!(out, "{}: {became}", path.shown())?;
                show_left(&mut out, &left)?;
            }
            Err(error) => {
                failed = true;
                writeln!(out, "{}: NOT DELETED: {}", path.shown(), one_line(&error))?;
            }
        }
    }
    Ok(if failed { ExitCode::from(2) } else { ExitCode::SUCCESS })
}

/// What of an exam is still there: a person deletes it.
fn show_left(out: &mut impl Write, left: &[PathBuf]) -> std::io::Result<()> {
    for left in left.iter().take(NAMED_MAX) {
        writeln!(out, "  STILL THERE: {}", left.shown())?;
    }
    if left.len() > NAMED_MAX {
        writeln!(out, "  STILL THERE: {} more", left.len() - NAMED_MAX)?;
    }
    Ok(())
}

/// Erases each exam; one that cannot be erased keeps the others from nothing.
fn erase_all(exams: &[PathBuf], protocols: &Protocols, why: (&str, &str)) -> anyhow::Result<ExitCode> {
    let mut out = terminal::out();
    let mut failed = false;
    for path in exams {
        let folder = ExamFolder::at(path);
        let done = || -> anyhow::Result<(&str, Vec<PathBuf>)> {
            let journal = folder.append_journal()?;
            match folder.exam(protocols) {
                Err(error) if error.is_erased() => Ok((ERASED_BEFORE, remove_rest(path)?)),
                exam => Ok(("erased", erase(path, &exam?, journal, why, Utc::now())?)),
            }
        };
        match done() {
            Ok((became, left)) => {
                writeln!(out, "{}: {became}", path.shown())?;
                show_left(&mut out, &left)?;
            }
            Err(error) => {
                failed = true;
                writeln!(out, "{}: NOT ERASED: {}", path.shown(), one_line(&error))?;
            }
        }
    }
    writeln!(
        out,
        "copies, including encrypted ones, are not searched for; an archive in which it was filed keeps its record \
         until `zonecall archive forget`; a disk keeps deleted data until it is overwritten"
    )?;
    Ok(if failed { ExitCode::from(2) } else { ExitCode::SUCCESS })
}
