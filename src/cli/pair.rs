//! `zonecall pair`: stills found in a folder are noted in the journal, and paired with what was said.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{Context as _, bail, ensure};
use chrono::Utc;

use super::options::{DraftAgain, FolderArgs, listed_name, not_blank};
use super::pair_copy::copy_or_tell;
use super::pair_day::{TakenToo, pair_day};
use super::pair_notes::{known_scanner, note, note_clock};
use super::pair_scanner::{name_scanner, show_nameless_scanner};
use super::pair_shown::{show_beside, show_copied, show_left_out, show_patient, show_record};
use super::pair_undo::{Undone, leave_out_last, mind_left_out};
use crate::exam::event::Event;
use crate::exam::patient::Patient;
use crate::exam::review::{Change, Review};
use crate::exam_folder::ExamFolder;
use crate::frames::beside::medium;
use crate::frames::folder::{self, FoundStills, KINDS};
use crate::protocol::Protocols;
use crate::terminal::{self, ShownText as _};

#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  zonecall pair exams/juniper --frames /media/scanner\n  \
    zonecall pair exams --frames /media/scanner --copy\n  zonecall pair exams/juniper --undo --by Ada\n  \
    zonecall pair exams/juniper --frames /media/scanner --again --by Ada\n\n\
    Exit codes: 0 each still has one label, 1 a label is missing or in doubt, or a file was left out, 2 an error.")]
pub(crate) struct PairArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Folder of stills: DICOM, PNG, JPEG, BMP or TIFF, in any subfolder.
    #[arg(long, value_name = "FOLDER", required_unless_present = "undo")]
    pub(crate) frames: Option<PathBuf>,
    /// Also take stills that were saved more than ten minutes before or after the exam.
    #[arg(long)]
    pub(crate) all: bool,
    /// Copy the stills of the exam into its folder, so that the memory card can be used again.
    #[arg(long, conflicts_with = "undo")]
    pub(crate) copy: bool,
    /// Leave out again all the stills that were added last; they stay in the journal but are no longer used.
    #[arg(long, requires = "by", conflicts_with_all = ["frames", "all", "same_horse", "again"])]
    pub(crate) undo: bool,
    /// Use again the stills of this folder that `--undo` left out.
    #[arg(long, requires = "by")]
    pub(crate) again: bool,
    /// What the scanner is called, for stills whose files do not name it: its clock is remembered under this name.
    #[arg(long, value_name = "NAME", value_parser = not_blank, conflicts_with = "undo")]
    pub(crate) scanner: Option<String>,
    /// Also accept the stills of this patient, by name or number as in the files: you have checked that it is this
    /// exam's horse.
    #[arg(long, value_name = "PATIENT", requires = "by")]
    pub(crate) same_horse: Vec<String>,
    /// Who has checked it; kept in the journal.
    #[arg(long, value_name = "NAME", value_parser = listed_name)]
    pub(crate) by: Option<String>,
    #[command(flatten)]
    pub(crate) draft: DraftAgain,
}

impl PairArgs {
    /// Who wants in again what `--undo` left out; none where that stays left out.
    pub(super) fn taken_in_by(&self) -> Option<&str> {
        self.by.as_deref().filter(|_| self.again)
    }
}

pub(crate) fn pair(args: &PairArgs) -> anyhow::Result<ExitCode> {
    let exam_folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let day = day_of(&exam_folder);
    ensure!(
        day.is_empty() || !args.undo && args.same_horse.is_empty(),
        "`{}` holds several exams, and --undo and --same-horse are for one: name the folder of that exam",
        exam_folder.path().shown()
    );
    if let (true, Some(by)) = (args.undo, &args.by) {
        args.draft.may_change(&exam_folder.exam(&protocols)?)?;
        let Undone { left_out, by_hand } = leave_out_last(&exam_folder, &protocols, by)?;
        let stay = if by_hand > 0 {
            format!("; {by_hand} of them were placed by hand, and stay")
        } else {
            String::new()
        };
        writeln!(terminal::out(), "{left_out} stills that were added last are left out{stay}")?;
        return Ok(ExitCode::SUCCESS);
    }
    let frames = medium(args.frames.as_deref().context("name the folder of the stills with --frames")?);
    ensure!(frames.is_dir(), "`{}` is not a folder; name the folder that holds the stills", frames.shown());
    if !day.is_empty() {
        let scanner = args.scanner.as_deref();
        let too = TakenToo {
            all: args.all,
            copy: args.copy,
            again_by: args.taken_in_by(),
            scanner,
            draft: &args.draft,
        };
        return pair_day(frames, &day, &too, &protocols);
    }
    let exam = exam_folder.exam(&protocols)?;
    let FoundStills { mut stills, refused, beside } =
        folder::read(frames, exam_folder.path(), exam.header.utc_offset_s);
    name_scanner(&mut stills, args.scanner.as_deref());
    let none = stills.is_empty();
    show_copied(&mut terminal::out(), &stills)?;
    if args.again || !args.same_horse.is_empty() {
        args.draft.may_change(&exam)?;
    }
    let undone = mind_left_out(&exam_folder, &exam, &stills, args.taken_in_by())?;
    let clock = known_scanner(&exam_folder, &exam, &stills);
    let noted = note(&exam_folder, &exam, stills, args.all, clock, &args.draft)?;
    confirm(args, &exam_folder, &protocols)?;
    if noted.added + noted.moved > 0 {
        note_clock(&exam_folder, &exam_folder.exam(&protocols)?)?;
    }
    let mut out = terminal::out();
    show_beside(&mut out, &beside)?;
    show_left_out(&mut out, &noted, &refused)?;
    if none {
        writeln!(
            out,
            "no still was found in `{}` or its subfolders; zonecall reads {KINDS} files: name the folder that the scanner \
             exports into with --frames",
            frames.shown()
        )?;
    }
    let is_settled = show_record(&mut out, &exam_folder, &protocols, &noted)?;
    let exam = exam_folder.exam(&protocols)?;
    show_nameless_scanner(&mut out, &exam)?;
    show_patient(&mut out, &exam)?;
    let is_copied = copy_or_tell(&mut out, &exam_folder, &protocols, args.copy)?;
    let clean =
        is_settled && is_copied && !none && undone == 0 && refused.is_empty() && noted.outside.is_empty();
    Ok(if clean { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// The exams in this folder, in the order of their names; none where it is an exam itself.
fn day_of(folder: &ExamFolder) -> Vec<ExamFolder> {
    if folder.journal_file().is_file() {
        return Vec::new();
    }
    let entries = std::fs::read_dir(folder.path()).into_iter().flatten();
    let mut paths: Vec<PathBuf> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
    paths.sort();
    paths.into_iter().map(ExamFolder::at).filter(|exam| exam.journal_file().is_file()).collect()
}

/// Writes down that a person has checked whose stills these are.
fn confirm(args: &PairArgs, folder: &ExamFolder, protocols: &Protocols) -> anyhow::Result<()> {
    let Some(by) = &args.by else { return Ok(()) };
    for words in &args.same_horse {
        let exam = folder.exam(protocols)?;
        let patients: BTreeSet<&Patient> =
            exam.frames.iter().filter_map(|frame| frame.patient.as_ref()).collect();
        let called = Patient::called(words, &patients);
        let names = |patients: &mut dyn Iterator<Item = &&Patient>| {
            patients.map(|patient| format!("`{}`", patient.in_words())).collect::<Vec<_>>().join(", ")
        };
        let patient = match called.as_slice() {
            [one] => (*one).clone(),
            [] if patients.is_empty() => {
                bail!("no still names its patient, so there is nothing to confirm for `{words}`")
            }
            [] => bail!(
                "no still is of `{words}`; they are of {}: name one of these",
                names(&mut patients.iter())
            ),
            several => bail!(
                "`{words}` matches several patients; name one of them with {}",
                several
                    .iter()
                    .map(|patient| format!("--same-horse \"{}\"", patient.told_apart(&patients)))
                    .collect::<Vec<_>>()
                    .join(" or ")
            ),
        };
        if exam.is_confirmed(&patient) {
            continue;
        }
        let change = Change::SameHorse { patient };
        let review = Review { by: by.clone(), why: String::new(), was: String::new(), change };
        let mut journal = folder.append_journal()?;
        journal.append(Utc::now(), exam.last_sample(), &Event::Review(Box::new(review)))?;
    }
    Ok(())
}
