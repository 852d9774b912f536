//! `zonecall pair`: stills found in a folder are noted in the journal, and paired with what was said.

use std::io::Write;
use std::process::ExitCode;

use anyhow::ensure;
use chrono::Utc;

use super::args;
use super::exam_folder as open;
use crate::exam::event::Event;
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
    let mut added = 0;
    for frame in frames {
        if exam.frames.iter().all(|known| known.id != frame.id) {
            journal.append(Utc::now(), sample, &Event::Frame(Box::new(frame)))?;
            added += 1;
        }
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
    writeln!(out, "{} stills, {added} of them new", record.frames.len())?;
    let open = record.frames.iter().any(|row| matches!(row.status, Status::Ambiguous | Status::Unlabelled));
    Ok(if open || !refused.is_empty() { ExitCode::from(1) } else { ExitCode::SUCCESS })
}
