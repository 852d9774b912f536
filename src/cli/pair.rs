//! `zonecall pair`: stills found in a folder are noted in the journal, and paired with what was said.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::{bail, ensure};
use chrono::Utc;

use super::options::{FolderArgs, not_blank};
use crate::exam::event::{Event, Frame};
use crate::exam::fold::Exam;
use crate::exam::patient::Patient;
use crate::exam::review::{Change, Review};
use crate::exam_folder::ExamFolder;
use crate::frames::elsewhere::Elsewhere;
use crate::frames::folder::{self, KINDS};
use crate::knowledge::record::{FrameRow, Record, Status};
use crate::protocol::Protocols;

#[derive(Debug, clap::Args)]
#[command(after_help = "Example:\n  zonecall pair exams/juniper --frames /media/scanner\n\n\
    Exit codes: 0 each still has one label, 1 a label is missing or in doubt, or a file was left out, 2 an error.")]
pub(crate) struct PairArgs {
    #[command(flatten)]
    pub(crate) folder: FolderArgs,
    /// Folder of stills: DICOM, PNG, JPEG, BMP or TIFF, in any subfolder.
    #[arg(long, value_name = "FOLDER")]
    pub(crate) frames: PathBuf,
    /// Take the stills of this patient, too, by name or number as the files give it: you have checked that it is this
    /// exam's horse.
    #[arg(long, value_name = "PATIENT", requires = "by")]
    pub(crate) same_horse: Vec<String>,
    /// Who has checked it; kept in the journal.
    #[arg(long, value_name = "NAME", value_parser = not_blank)]
    pub(crate) by: Option<String>,
}

/// Copies that are named; of more, how many.
const COPIES_NAMED: usize = 5;
/// The rule that says why the two clocks could not be tied.
const CLOCK_UNKNOWN: &str = "clock-unknown";

pub(crate) fn pair(args: &PairArgs) -> anyhow::Result<ExitCode> {
    let exam_folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = exam_folder.exam(&protocols)?;
    ensure!(
        args.frames.is_dir(),
        "`{}` is not a folder; name the folder that holds the stills",
        args.frames.display()
    );
    let (frames, refused) = folder::read(&args.frames, exam_folder.path(), exam.header.utc_offset_s);
    let none = frames.is_empty();
    let Noted { added, moved, copies } = note(&exam_folder, &exam, frames)?;
    confirm(args, &exam_folder, &protocols)?;
    let mut out = std::io::stdout().lock();
    for (copy, first) in copies.iter().take(COPIES_NAMED) {
        writeln!(out, "left out {copy}: the same still as `{first}`, which was taken; remove the copy")?;
    }
    if copies.len() > COPIES_NAMED {
        writeln!(out, "left out {} more copies of stills that were taken", copies.len() - COPIES_NAMED)?;
    }
    for (path, problem) in &refused {
        writeln!(out, "left out {}: {}; {}", path.display(), problem.message, problem.help)?;
    }
    if none {
        writeln!(
            out,
            "no still was found in `{}` or its subfolders; zonecall reads {KINDS} files: name the folder that the scanner \
             exports into with --frames",
            args.frames.display()
        )?;
    }
    let record = exam_folder.record(&protocols)?;
    for row in &record.frames {
        show(&mut out, row)?;
    }
    if !record.frames.is_empty() {
        writeln!(out, "scanner's clock: {}", clock(&record))?;
    }
    show_refused(&mut out, &record)?;
    let moved = if moved > 0 { format!(", {moved} moved or changed") } else { String::new() };
    writeln!(out, "{} stills, {added} of them new{moved}", record.frames.len())?;
    let doubtful = record.frames.iter().filter(|row| !row.doubt.is_empty()).count();
    if doubtful > 0 {
        let (labels, folder) = (
            if doubtful == 1 { "1 label is" } else { &format!("{doubtful} labels are") },
            exam_folder.path().display(),
        );
        writeln!(
            out,
            "{labels} in doubt: `zonecall check {folder}` says where to listen, and `zonecall review {folder}` lets you settle it"
        )?;
    }
    let open = record.frames.iter().any(|row| matches!(row.status, Status::Ambiguous | Status::Unlabelled));
    let clean = !open && !none && doubtful == 0 && refused.is_empty();
    Ok(if clean { ExitCode::SUCCESS } else { ExitCode::from(1) })
}

/// What became of the stills that were found.
#[derive(Default)]
struct Noted {
    added: usize,
    moved: usize,
    /// Copies of stills that were taken, each with the file of the first.
    copies: Vec<(String, String)>,
}

/// Writes down what is new.
fn note(exam_folder: &ExamFolder, exam: &Exam, frames: Vec<Frame>) -> anyhow::Result<Noted> {
    let elsewhere = Elsewhere::read(exam_folder.path(), exam.header.started_at);
    let mut journal = exam_folder.append_journal()?;
    let known: BTreeMap<&str, &Frame> = exam.frames.iter().map(|frame| (frame.id.as_str(), frame)).collect();
    let mut noted = Noted::default();
    for mut frame in frames {
        frame.also_in = elsewhere.have(&frame);
        match known.get(frame.id.as_str()) {
            None => noted.added += 1,
            // A copy next to the still that is known changes nothing; a still that went elsewhere is followed.
            Some(known) if known.sha256 == frame.sha256 && exam_folder.still_file(known).is_file() => {
                if known.file != frame.file {
                    noted.copies.push((frame.file.clone(), known.file.clone()));
                }
                let is_new = frame.patient.is_some() && known.patient.is_none()
                    || !frame.also_in.is_empty() && known.also_in != frame.also_in;
                if !is_new {
                    continue;
                }
                // What is known of it now and was not then is added; where it is stays as it was.
                frame.file.clone_from(&known.file);
            }
            Some(_) => noted.moved += 1,
        }
        journal.append(Utc::now(), exam.last_sample(), &Event::Frame(Box::new(frame)))?;
    }
    Ok(noted)
}

/// Writes down that a person has checked whose stills these are.
fn confirm(args: &PairArgs, folder: &ExamFolder, protocols: &Protocols) -> anyhow::Result<()> {
    let Some(by) = &args.by else { return Ok(()) };
    for words in &args.same_horse {
        let exam = folder.exam(protocols)?;
        let patients: BTreeSet<&Patient> =
            exam.frames.iter().filter_map(|frame| frame.patient.as_ref()).collect();
        let called: Vec<&Patient> =
            patients.iter().copied().filter(|patient| patient.is_called(words)).collect();
        let names = |patients: &mut dyn Iterator<Item = &&Patient>| {
            patients.map(|patient| format!("`{}`", patient.in_words())).collect::<Vec<_>>().join(", ")
        };
        let patient = match called.as_slice() {
            [one] => (*one).clone(),
            [] if patients.is_empty() => {
                bail!("no still says whom it is of, so `{words}` has nothing to confirm")
            }
            [] => bail!(
                "no still is of `{words}`; they are of {}: name one of these",
                names(&mut patients.iter())
            ),
            several => bail!(
                "`{words}` are several patients, {}: name one by its number",
                names(&mut several.iter())
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

/// A still with its label, and what speaks against it.
fn show(out: &mut impl Write, row: &FrameRow) -> std::io::Result<()> {
    let label = row.place.columns();
    let status = match row.status {
        Status::Spoken => "saved by word",
        Status::Context => "from the place last called",
        Status::Hand => "by hand",
        Status::LeftOut => "not part of the exam",
        Status::Unlabelled if row.refused.is_some() => "REFUSED",
        Status::Ambiguous => "TWO READINGS",
        Status::Unlabelled => "NO LABEL",
    };
    writeln!(out, "{label:<16} {status:<24} {:.2}  {}", row.confidence, row.file)?;
    if let Some(why) = &row.refused {
        writeln!(out, "    not taken: {why}")?;
    }
    if !row.doubt.is_empty() {
        writeln!(out, "    IN DOUBT: {}", row.doubt.join("; "))?;
    }
    for rival in &row.rivals {
        let label = rival.place.columns();
        writeln!(out, "    either {label} (call {}): {}", rival.call_seq, rival.reason)?;
    }
    Ok(())
}

/// What to do about stills of another horse: once for each patient.
fn show_refused(out: &mut impl Write, record: &Record) -> std::io::Result<()> {
    let of_refused = |row: &FrameRow| row.patient.clone().filter(|_| row.refused.is_some());
    let patients: BTreeSet<Patient> = record.frames.iter().filter_map(of_refused).collect();
    for patient in patients {
        let count = record.frames.iter().filter(|row| of_refused(row).as_ref() == Some(&patient)).count();
        let shortest = patient.id.as_ref().or(patient.name.as_ref()).cloned().unwrap_or_default();
        writeln!(
            out,
            "REFUSED {count} of `{}`: if it is this exam's horse, pair again with --same-horse \"{shortest}\" --by YOUR-NAME",
            patient.in_words()
        )?;
    }
    Ok(())
}

/// How the scanner's clock runs; where nobody can tell, what to do about it.
fn clock(record: &Record) -> String {
    if let Some(clock) = &record.clock {
        return format!(
            "{:+.1} s (+-{:.1} s), drift {:+.0} ppm, from {} pairs",
            clock.offset_s, clock.uncertainty_s, clock.drift_ppm, clock.pairs
        );
    }
    let finding = record.findings.iter().find(|finding| finding.rule == CLOCK_UNKNOWN);
    let remedy = finding.and_then(|finding| finding.message.split_once(": "));
    remedy.map_or_else(
        || "could not be tied to the exam".to_owned(),
        |(_, remedy)| format!("could not be tied to the exam: {remedy}"),
    )
}
