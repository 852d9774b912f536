//! `zonecall pair`: stills found in a folder are noted in the journal, and paired with what was said.

use std::collections::BTreeMap;
use std::io::Write;
use std::process::ExitCode;

use anyhow::ensure;
use chrono::Utc;

use super::args;
use crate::exam::event::{Event, Frame};
use crate::frames::folder::{self, KINDS};
use crate::knowledge::record::{FrameRow, Record, Status};

/// The rule that tells why the two clocks could not be tied.
const CLOCK_UNKNOWN: &str = "clock-unknown";

pub(crate) fn pair(args: &args::PairArgs) -> anyhow::Result<ExitCode> {
    let exam_folder = args.folder.open();
    let protocols = args.folder.knowledge.read()?;
    let exam = exam_folder.exam(&protocols)?;
    ensure!(
        args.frames.is_dir(),
        "`{}` is not a folder; name the folder that holds the stills",
        args.frames.display()
    );
    let (frames, refused) = folder::read(&args.frames, exam_folder.path(), exam.header.utc_offset_s);
    let mut journal = exam_folder.append_journal()?;
    let sample = exam.last_sample();
    let known: BTreeMap<&str, &Frame> = exam.frames.iter().map(|frame| (frame.id.as_str(), frame)).collect();
    let (mut added, mut moved, none) = (0, 0, frames.is_empty());
    for frame in frames {
        match known.get(frame.id.as_str()) {
            None => added += 1,
            // A copy beside the still that is known changes nothing; a still that went elsewhere is followed.
            Some(known) if known.sha256 == frame.sha256 && exam_folder.still_file(known).is_file() => {
                continue;
            }
            Some(_) => moved += 1,
        }
        journal.append(Utc::now(), sample, &Event::Frame(Box::new(frame)))?;
    }
    drop(journal);
    let mut out = std::io::stdout().lock();
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

/// A still with its label, and what speaks against it.
fn show(out: &mut impl Write, row: &FrameRow) -> std::io::Result<()> {
    let label = row.place.columns();
    let status = match row.status {
        Status::Spoken => "saved by word",
        Status::Context => "from the place last called",
        Status::Hand => "by hand",
        Status::LeftOut => "not part of the exam",
        Status::Ambiguous => "TWO READINGS",
        Status::Unlabelled => "NO LABEL",
    };
    writeln!(out, "{label:<16} {status:<24} {:.2}  {}", row.confidence, row.file)?;
    if !row.doubt.is_empty() {
        writeln!(out, "    IN DOUBT: {}", row.doubt.join("; "))?;
    }
    for rival in &row.rivals {
        let label = rival.place.columns();
        writeln!(out, "    either {label} (call {}): {}", rival.call_seq, rival.reason)?;
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
