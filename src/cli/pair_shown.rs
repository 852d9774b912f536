//! What became of the stills, for the person who pairs them.
//!
//! Takes: what was noted, and the record of the exam.
//! Gives: lines: each still with its label, what was left out, and what to do next.
//! Never: changes anything.
//! Tested in: `tests/it/pair_folder.rs`, `tests/it/moved.rs`, `tests/it/identity.rs`.

use std::collections::BTreeSet;
use std::io::Write;
use std::path::PathBuf;

use super::pair_notes::Noted;
use crate::exam::call::Problem;
use crate::exam::event::Frame;
use crate::exam::fold::Exam;
use crate::exam::patient::Patient;
use crate::exam_folder::ExamFolder;
use crate::frames::folder::{FILE_TIME, were_copied};
use crate::frames::save_times::{copies, is_picture};
use crate::knowledge::record::{FrameRow, Record, Status};
use crate::protocol::Protocols;
use crate::report::words::count;
use crate::terminal::ShownText as _;

/// Files that are named; of more, how many.
const NAMED_MAX: usize = 5;
/// The rule that says why the two clocks could not be tied.
const CLOCK_UNKNOWN: &str = "clock-unknown";
/// The rule about stills of two studies.
const STUDIES: &str = "still-of-another-study";

/// What was not taken, and why.
pub(super) fn show_left_out(
    out: &mut impl Write,
    noted: &Noted,
    refused: &[(PathBuf, Problem)],
) -> std::io::Result<()> {
    for (copy, why) in noted.copies.iter().take(NAMED_MAX) {
        writeln!(out, "left out {}: {}", copy.shown(), why.shown())?;
    }
    if noted.copies.len() > NAMED_MAX {
        writeln!(
            out,
            "left out {} more copies of stills that the journal has",
            noted.copies.len() - NAMED_MAX
        )?;
    }
    if let Some(first) = noted.outside.first() {
        writeln!(
            out,
            "left out {} saved outside the time of the exam, such as {}; for stills that belong to it, pair again with \
             --all",
            count(noted.outside.len(), "still"),
            first.shown()
        )?;
    }
    for (path, problem) in refused {
        writeln!(out, "left out {}: {}; {}", path.shown(), problem.message.shown(), problem.help)?;
    }
    Ok(())
}

/// What lies there and is not a still, in one line.
pub(super) fn show_beside(out: &mut impl Write, beside: &[PathBuf]) -> std::io::Result<()> {
    if beside.is_empty() {
        return Ok(());
    }
    let name = |path: &PathBuf| path.file_name().unwrap_or_default().to_string_lossy().shown();
    let mut names: Vec<String> = beside.iter().map(name).collect();
    names.sort();
    names.dedup();
    let more = if names.len() > NAMED_MAX { " and others" } else { "" };
    names.truncate(NAMED_MAX);
    let are = if beside.len() == 1 { "is not a still" } else { "are not stills" };
    writeln!(
        out,
        "passed over {} that {are}: {}{more}; scanners and computers keep these for themselves",
        count(beside.len(), "file"),
        names.join(", ")
    )
}

/// What to do where the times of the files are those of a copy.
pub(super) fn show_copied(out: &mut impl Write, stills: &[Frame]) -> std::io::Result<()> {
    let copies = copies(stills);
    let own: Vec<Frame> =
        stills.iter().zip(copies).filter(|(_, of)| of.is_none()).map(|(still, _)| still.clone()).collect();
    if !were_copied(&own) {
        return Ok(());
    }
    let is_dicom = own.iter().any(|still| still.time_source == FILE_TIME && !is_picture(still));
    let way = if is_dicom {
        "set the scanner to write Content Date and Content Time, or copy them again so that the times stay"
    } else {
        "copy them again so that the times stay (`cp --preserve=timestamps`), or export them as DICOM"
    };
    writeln!(
        out,
        "the files all have about the same time, as files have that were copied or unpacked without their times: no label can \
         come from it; {way}"
    )
}

/// Every still with its label, and the clock; true where each has one that is in no doubt.
pub(super) fn show_record(
    out: &mut impl Write,
    exam_folder: &ExamFolder,
    protocols: &Protocols,
    noted: &Noted,
) -> anyhow::Result<bool> {
    let record = exam_folder.record(protocols)?;
    for row in &record.frames {
        show(out, row)?;
    }
    if !record.frames.is_empty() {
        writeln!(out, "scanner's clock: {}", clock(&record))?;
    }
    show_refused(out, &record)?;
    if let Some(studies) = record.findings.iter().find(|finding| finding.rule == STUDIES) {
        writeln!(out, "{}", studies.message.shown())?;
    }
    let moved = if noted.moved > 0 { format!(", {} moved or changed", noted.moved) } else { String::new() };
    let copies = record.frames.iter().filter(|row| row.copy_of.is_some()).count();
    let (files, stills) = (record.frames.len(), record.frames.len() - copies);
    if copies == 0 {
        writeln!(out, "{stills} stills, {} of them new{moved}", noted.added)?;
    } else {
        writeln!(
            out,
            "{stills} stills in {files} files, {} of these new{moved}: a still in two files is counted once",
            noted.added
        )?;
    }
    let doubtful = record.frames.iter().filter(|row| !row.doubt.is_empty() && row.copy_of.is_none()).count();
    let folder = exam_folder.path().shown();
    if doubtful > 0 {
        let labels = if doubtful == 1 { "1 label is" } else { &format!("{doubtful} labels are") };
        writeln!(
            out,
            "{labels} in doubt: `zonecall check {folder}` says where to listen, and `zonecall review {folder}` lets you settle it"
        )?;
    }
    if noted.added > 0 && record.clock.is_none() {
        writeln!(
            out,
            "if that was the wrong folder, `zonecall pair {folder} --undo --by YOUR-NAME` leaves the {} new stills out again",
            noted.added
        )?;
    }
    let open = record.frames.iter().any(|row| matches!(row.status, Status::Ambiguous | Status::Unlabelled));
    let lacking = record.frames.iter().any(|row| row.lacks_picture && row.refused.is_none());
    Ok(!open && !lacking && doubtful == 0)
}

/// A still with its label, and what speaks against it.
fn show(out: &mut impl Write, row: &FrameRow) -> std::io::Result<()> {
    let label = row.place.columns();
    let status = match row.status {
        Status::Spoken => "save call",
        Status::Context => "from the place last called",
        Status::Hand => "by hand",
        Status::LeftOut => "not part of the exam",
        Status::Unlabelled if row.refused.is_some() => "REFUSED",
        Status::Ambiguous => "TWO READINGS",
        Status::Unlabelled => "NO LABEL",
    };
    writeln!(out, "{label:<16} {status:<24} {:.2}  {}", row.confidence, row.file.shown())?;
    if let Some(why) = &row.refused {
        writeln!(out, "    not accepted: {}", why.shown())?;
    }
    if !row.doubt.is_empty() {
        writeln!(out, "    IN DOUBT: {}", row.doubt.join("; ").shown())?;
    }
    if row.lacks_picture {
        writeln!(
            out,
            "    NO PICTURE: it does not count as a still of its view; export it from the scanner again"
        )?;
    }
    for rival in &row.rivals {
        let label = rival.place.columns();
        writeln!(out, "    either {label} (call {}): {}", rival.call_seq, rival.reason.shown())?;
    }
    Ok(())
}

/// What to do about stills of another horse: once for each patient.
fn show_refused(out: &mut impl Write, record: &Record) -> std::io::Result<()> {
    let of_refused = |row: &FrameRow| row.patient.clone().filter(|_| row.refused.is_some());
    let patients: BTreeSet<Patient> = record.frames.iter().filter_map(of_refused).collect();
    let all: BTreeSet<&Patient> = record.frames.iter().filter_map(|row| row.patient.as_ref()).collect();
    for patient in patients {
        let count = record.frames.iter().filter(|row| of_refused(row).as_ref() == Some(&patient)).count();
        writeln!(
            out,
            "REFUSED {count} of `{}`: if it is this exam's horse, pair again with --same-horse \"{}\" --by YOUR-NAME",
            patient.in_words().shown(),
            patient.told_apart(&all).shown()
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
        || "could not be matched to the exam".to_owned(),
        |(_, remedy)| format!("could not be matched to the exam: {remedy}"),
    )
}

/// Says whose the stills are where the exam does not.
pub(super) fn show_patient(out: &mut impl Write, exam: &Exam) -> std::io::Result<()> {
    let Some(patient) = exam.patient_of_stills() else { return Ok(()) };
    writeln!(
        out,
        "the exam names no horse, and its stills are of {}: `zonecall name FOLDER --from-stills --by YOUR-NAME` gives it this name",
        patient.in_words().shown()
    )
}
