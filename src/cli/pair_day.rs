//! Stills of several horses, shared out among the exams of a day.
//!
//! Takes: a folder of exams, and a folder of stills.
//! Gives: each still to the one exam whose time and horse it fits.
//! Never: gives a still to two exams, or to one where another fits as well; or stills of several horses to an exam of none.
//! Tested in: `tests/it/pair_folder.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use super::options::DraftAgain;
use super::pair_copy::copy_or_tell;
use super::pair_nameless::{show_nameless, waits_for_name};
use super::pair_notes::{Noted, known_scanner, note, note_clock, with};
use super::pair_scanner::{name_scanner, show_nameless_scanner};
use super::pair_shown::{show_beside, show_copied, show_left_out, show_record};
use super::pair_undo::{left_out_by_mistake, mind_left_out};
use crate::exam::event::{Frame, ScannerClock};
use crate::exam::fold::Exam;
use crate::exam_folder::ExamFolder;
use crate::frames::folder;
use crate::frames::known_clock::{found, scanner_of};
use crate::frames::pair::pair;
use crate::frames::pairing::Tie;
use crate::protocol::Protocols;
use crate::terminal::{self, ShownText as _};

/// What is wanted besides the stills of an exam's own time that nobody left out.
pub(super) struct TakenToo<'a> {
    /// Those from outside the exam's time.
    pub(super) all: bool,
    /// Not more stills, but copies of them in the exams' folders.
    pub(super) copy: bool,
    /// Those that `--undo` left out, by the word of this person.
    pub(super) again_by: Option<&'a str>,
    /// What the scanner is called where the stills do not say it.
    pub(super) scanner: Option<&'a str>,
    /// Whether signed records may become drafts again.
    pub(super) draft: &'a DraftAgain,
}

/// Shares the stills out.
pub(super) fn pair_day(
    frames: &Path,
    folders: &[ExamFolder],
    too: &TakenToo<'_>,
    protocols: &Protocols,
) -> anyhow::Result<ExitCode> {
    let mut exams: Vec<(Exam, Vec<Frame>)> = Vec::new();
    let (mut here, mut refused, mut beside) = (Vec::new(), Vec::new(), Vec::new());
    let mut out = terminal::out();
    for folder in folders {
        let exam = match folder.exam(protocols) {
            Err(error) if error.is_erased() => {
                writeln!(out, "passed over {error}")?;
                continue;
            }
            exam => exam?,
        };
        let mut found = folder::read(frames, folder.path(), exam.header.utc_offset_s);
        name_scanner(&mut found.stills, too.scanner);
        (refused, beside) = (found.refused, found.beside);
        exams.push((exam, found.stills));
        here.push(folder);
    }
    let clocks = clocks(&here, &exams);
    let left_out = if too.again_by.is_some() { LeftOut::TakenAgain } else { LeftOut::Stays };
    let owners = owners(&exams, &clocks, left_out);
    let mut clean = refused.is_empty();
    show_beside(&mut out, &beside)?;
    show_left_out(&mut out, &Noted::default(), &refused)?;
    if let Some((_, stills)) = exams.first() {
        show_copied(&mut out, stills)?;
    }
    for (idx, ((folder, (exam, all)), clock)) in here.into_iter().zip(&exams).zip(clocks).enumerate() {
        let own = |frame: &&Frame| owners.get(&frame.id) == Some(&Some(idx));
        let stills: Vec<Frame> = all.iter().filter(own).cloned().collect();
        writeln!(out, "{}:", folder.path().shown())?;
        if waits_for_name(exam, all) {
            show_nameless(&mut out, folder.path(), all)?;
            clean = false;
        }
        // The other exams of the day do not wait for this one's vet.
        let signed = too.draft.may_change(exam).err();
        if let (Some(signed), Some(_)) = (&signed, too.again_by) {
            writeln!(out, "{signed}")?;
            clean = false;
            continue;
        }
        clean &= mind_left_out(folder, exam, &stills, too.again_by)? == 0;
        let noted = match (note(folder, exam, stills, too.all, clock, too.draft), signed) {
            (Err(error), Some(signed)) if error.to_string() == signed.to_string() => {
                writeln!(out, "{signed}")?;
                clean = false;
                continue;
            }
            (noted, _) => noted?,
        };
        if noted.added > 0 {
            note_clock(folder, &folder.exam(protocols)?)?;
        }
        show_left_out(&mut out, &noted, &[])?;
        clean &= show_record(&mut out, folder, protocols, &noted)?;
        show_nameless_scanner(&mut out, &folder.exam(protocols)?)?;
        clean &= copy_or_tell(&mut out, folder, protocols, too.copy)?;
    }
    let left: Vec<&String> = owners.iter().filter(|owner| owner.1.is_none()).map(|owner| owner.0).collect();
    if let Some((_, stills)) = exams.first().filter(|_| !left.is_empty()) {
        let first = stills.iter().find(|still| left.contains(&&still.id));
        let name = first.map_or_else(String::new, |still| still.file.shown());
        writeln!(out, "{} stills fit none of these exams, or two of them, such as {name}", left.len())?;
        clean = false;
    }
    Ok(if clean { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// For each exam the scanner's clock as another exam knows it: one that was paired before, or else one of this day.
fn clocks(folders: &[&ExamFolder], exams: &[(Exam, Vec<Frame>)]) -> Vec<Option<ScannerClock>> {
    let own = |folder: &ExamFolder, exam: &Exam, stills: &[Frame]| {
        let with = with(exam, stills, None);
        let name = folder.path().file_name()?.to_string_lossy().into_owned();
        Some(ScannerClock { exam: Some(name), ..found(&with, &pair(&with, &with.frames))? })
    };
    let of_day: Vec<Option<ScannerClock>> =
        folders.iter().zip(exams).map(|(folder, (exam, stills))| own(folder, exam, stills)).collect();
    let clock = |(idx, (folder, (exam, stills))): (usize, (&&ExamFolder, &(Exam, Vec<Frame>)))| {
        // An exam that shows the clock itself needs nobody else's.
        let scanner = scanner_of(exam.frames.iter().chain(stills));
        let is_same = |clock: &&ScannerClock| Some(clock.scanner.as_str()) == scanner;
        let other = || of_day.iter().flatten().find(is_same).filter(|_| of_day[idx].is_none()).cloned();
        known_scanner(folder, exam, stills)
            .or_else(other)
            .filter(|clock| !exam.scanner_clocks.contains(clock))
    };
    folders.iter().zip(exams).enumerate().map(clock).collect()
}

/// What becomes of a still that `--undo` left out of an exam.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum LeftOut {
    /// It stays out, and another exam may have it.
    Stays,
    /// It is taken in again.
    TakenAgain,
}

/// For each still, by its id, the exam that it belongs to; none where none or more than one fits.
///
/// What `--undo` left out of an exam may belong to another one. It is that exam's own where no other claims it, or where it is
/// taken again.
fn owners(
    exams: &[(Exam, Vec<Frame>)],
    clocks: &[Option<ScannerClock>],
    left_out: LeftOut,
) -> BTreeMap<String, Option<usize>> {
    let mut claims: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    let mut undone = BTreeMap::new();
    for (idx, ((exam, stills), clock)) in exams.iter().zip(clocks).enumerate() {
        let known: BTreeSet<&str> = exam.frames.iter().map(|frame| frame.id.as_str()).collect();
        let with = with(exam, stills, clock.as_ref());
        let pairing = pair(&with, &with.frames);
        let refused = with.refused(&with.frames);
        let waits = waits_for_name(exam, stills);
        for ((frame, paired), refused) in with.frames.iter().zip(&pairing.frames).zip(refused) {
            let claim = claims.entry(frame.id.clone()).or_default();
            let is_undone = left_out == LeftOut::Stays && left_out_by_mistake(exam, &frame.id).is_some();
            if is_undone {
                undone.entry(frame.id.clone()).or_insert(idx);
            }
            let is_own = known.contains(frame.id.as_str()) && !is_undone;
            let fits = refused.is_none() && !matches!(paired.tie, Tie::Nothing | Tie::LeftOut);
            if is_own || fits && !waits {
                claim.push(idx);
            }
        }
    }
    let owner = |id: &str, claims: &[usize]| match claims {
        [one] => Some(*one),
        [] => undone.get(id).copied(),
        _ => None,
    };
    claims.iter().map(|(id, claims)| (id.clone(), owner(id, claims))).collect()
}
