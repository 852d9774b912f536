//! `zonecall pair`: stills found in a folder are noted in the journal, and paired with what was said.

use std::collections::BTreeMap;
use std::io::Write;
use std::process::ExitCode;

use anyhow::ensure;
use chrono::Utc;

use super::args;
use super::exam_folder::{self as open, still_file};
use crate::exam::event::{Event, Frame};
use crate::exam::journal::Journal;
use crate::frames::folder;
use crate::knowledge::record::Status;

pub(crate) fn pair(args: &args::Pair) -> anyhow::Result<ExitCode> {
    let exam_folder = &args.folder.folder;
    let protocols = open::protocols(&args.folder.knowledge)?;
    let exam = open::exam(exam_folder, &protocols)?;
    ensure!(
        args.frames.is_dir(),
        "`{}` is no folder; name the folder that holds the stills",
        args.frames.display()
    );
    let (frames, refused) = folder::read(&args.frames, exam_folder, exam.header.utc_offset_s);
    let mut journal = Journal::open(exam_folder)?;
    let sample = exam.last_sample();
    let known: BTreeMap<&str, &Frame> = exam.frames.iter().map(|frame| (frame.id.as_str(), frame)).collect();
    let (mut added, mut moved) = (0, 0);
    for frame in frames {
        match known.get(frame.id.as_str()) {
            None => added += 1,
            // A copy beside the still that is known changes nothing; a still that went elsewhere is followed.
            Some(known) if known.sha256 == frame.sha256 && still_file(exam_folder, known).is_file() => {
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
    let record = open::record_in(exam_folder, &protocols)?;
    for row in &record.frames {
        let label = row.place.columns();
        let status = match row.status {
            Status::Spoken => "saved by word",
            Status::Context => "from what was in force",
            Status::Hand => "by hand",
            Status::LeftOut => "no part of the exam",
            Status::Ambiguous => "TWO READINGS",
            Status::Unlabelled => "NO LABEL",
        };
        writeln!(out, "{label:<16} {status:<24} {:.2}  {}", row.confidence, row.file)?;
        for rival in &row.rivals {
            let label = rival.place.columns();
            writeln!(out, "    either {label} (call {}): {}", rival.call_seq, rival.reason)?;
        }
    }
    match &record.clock {
        Some(clock) => writeln!(
            out,
            "scanner's clock: {:+.1} s (+-{:.1} s), drift {:+.0} ppm, from {} pairs",
            clock.offset_s, clock.uncertainty_s, clock.drift_ppm, clock.pairs
        )?,
        None => writeln!(out, "scanner's clock: could not be tied to the exam")?,
    }
    let moved =
        if moved > 0 { format!(", {moved} found in another place or changed") } else { String::new() };
    writeln!(out, "{} stills, {added} of them new{moved}", record.frames.len())?;
    let open = record.frames.iter().any(|row| matches!(row.status, Status::Ambiguous | Status::Unlabelled));
    Ok(if open || !refused.is_empty() { ExitCode::from(1) } else { ExitCode::SUCCESS })
}
