//! Which of the stills that were found become part of an exam.
//!
//! Takes: an exam folder and the stills of a folder.
//! Gives: lines of the journal, and what was left out.
//! Never: puts a damaged or another file in the place of one that is whole.
//! Tested in: `tests/it/moved.rs`, `tests/it/pair_folder.rs`.

use std::collections::{BTreeMap, BTreeSet};

use chrono::Utc;

use super::options::DraftAgain;
use super::pair_copy::is_own_copy;
use super::pair_picture::look_at_pictures;
use crate::exam::event::{Event, Frame, ScannerClock};
use crate::exam::fold::Exam;
use crate::exam::no_picture::lacks_picture;
use crate::exam_folder::ExamFolder;
use crate::frames::elsewhere::Elsewhere;
use crate::frames::known_clock::{found, from_earlier, scanner_of};
use crate::frames::outside::outside;
use crate::frames::pair::pair;

/// A clock that differs by no more than this from the one that was found before is not written again, in seconds.
const SAME_CLOCK_S: f64 = 0.5;

/// What became of the stills that were found.
#[derive(Default)]
pub(super) struct Noted {
    pub(super) added: usize,
    pub(super) moved: usize,
    /// Files that were left out because of one that was taken, each with the reason.
    pub(super) copies: Vec<(String, String)>,
    /// Files of stills that were saved outside the time of the exam.
    pub(super) outside: Vec<String>,
}

/// Writes down what is new; `all` takes stills from outside the time of the exam, too. `clock` is how the scanner's clock runs
/// by another exam, where that is not written down yet.
///
/// # Errors
/// When the journal cannot be written, or where new stills would make a draft of a signed record and nobody asked for that.
pub(super) fn note(
    exam_folder: &ExamFolder,
    exam: &Exam,
    frames: Vec<Frame>,
    all: bool,
    clock: Option<ScannerClock>,
    draft: &DraftAgain,
) -> anyhow::Result<Noted> {
    let elsewhere = Elsewhere::read(exam_folder.path(), exam.header.started_at);
    let known: BTreeMap<&str, &Frame> = exam.frames.iter().map(|frame| (frame.id.as_str(), frame)).collect();
    // Stills that were paired before the clock was known get their labels now.
    let helps = !exam.is_signed
        && clock.is_some()
        && !exam.frames.is_empty()
        && pair(exam, &exam.frames).clock.is_none();
    let strangers = if all { BTreeSet::new() } else { strangers(exam, clock.as_ref(), &frames) };
    let (outside, mut own): (Vec<Frame>, Vec<Frame>) =
        frames.into_iter().partition(|frame| strangers.contains(&frame.id));
    // A card may hold the stills of years: only those of the exam are decoded.
    look_at_pictures(exam_folder.path(), exam, &mut own);
    let outside = outside.into_iter().map(|frame| frame.file).collect();
    let mut noted = Noted { outside, ..Noted::default() };
    let mut lines: Vec<Event> = clock.map(Event::ScannerClock).into_iter().collect();
    for mut frame in own {
        frame.also_in = elsewhere.have(&frame);
        match known.get(frame.id.as_str()) {
            None => noted.added += 1,
            // A copy next to the still that is known changes nothing; a still that went elsewhere is followed.
            Some(known) if !is_mended(known, &frame) && is_whole(exam_folder, known) => {
                if known.sha256 != frame.sha256 {
                    let why = format!("not the same file as `{}`, which is whole and stays", known.file);
                    noted.copies.push((frame.file.clone(), why));
                    continue;
                }
                // Our own copy is one on purpose.
                if known.file != frame.file && !is_own_copy(&known.file) {
                    let why =
                        format!("the same still as `{}`, which the journal has; remove the copy", known.file);
                    noted.copies.push((frame.file.clone(), why));
                }
                // A line more would make a draft of what a vet signed.
                let is_new = !exam.is_signed
                    && (frame.stated_site.is_some() && known.stated_site.is_none()
                        || frame.scanner.is_some() && known.scanner.is_none()
                        || frame.patient.is_some() && known.patient.is_none()
                        || !frame.also_in.is_empty() && known.also_in != frame.also_in);
                if !is_new {
                    continue;
                }
                // What is known of it now and was not then is added; where it is stays as it was.
                frame.file.clone_from(&known.file);
            }
            // Its pixels were read once and cannot be read from this file.
            Some(known) if known.pixels_sha256.is_some() && frame.pixels_sha256.is_none() => {
                let why = format!("damaged, and `{}` was whole; export it again", known.file);
                noted.copies.push((frame.file.clone(), why));
                continue;
            }
            Some(_) => noted.moved += 1,
        }
        lines.push(Event::Frame(Box::new(frame)));
    }
    if noted.added + noted.moved > 0 {
        draft.may_change(exam)?;
    }
    let has_stills = noted.added + noted.moved > 0;
    if has_stills || helps || lines.iter().any(|line| matches!(line, Event::Frame(_))) {
        let mut journal = exam_folder.append_journal()?;
        // One instant for all of them: what was added together can be taken back together.
        let now = Utc::now();
        for line in &lines {
            journal.append(now, exam.last_sample(), line)?;
        }
    }
    Ok(noted)
}

/// Writes down how the scanner's clock runs, for the next exam.
pub(super) fn note_clock(exam_folder: &ExamFolder, exam: &Exam) -> anyhow::Result<()> {
    let Some(clock) = found(exam, &pair(exam, &exam.frames)) else { return Ok(()) };
    let is_known = |known: &ScannerClock| {
        known.exam.is_none()
            && known.scanner == clock.scanner
            && (known.offset_s - clock.offset_s).abs() <= SAME_CLOCK_S
    };
    if !exam.scanner_clocks.iter().any(is_known) {
        let mut journal = exam_folder.append_journal()?;
        journal.append(Utc::now(), exam.last_sample(), &Event::ScannerClock(clock))?;
    }
    Ok(())
}

/// The clock of the scanner as an earlier exam found it, where that was not written down yet.
pub(super) fn known_scanner(exam_folder: &ExamFolder, exam: &Exam, frames: &[Frame]) -> Option<ScannerClock> {
    let scanner = scanner_of(exam.frames.iter().chain(frames))?;
    let clock = from_earlier(exam_folder.path(), scanner)?;
    (!exam.scanner_clocks.contains(&clock)).then_some(clock)
}

/// The exam as it would be with these stills and this clock, too.
pub(super) fn with(exam: &Exam, stills: &[Frame], clock: Option<&ScannerClock>) -> Exam {
    let known: BTreeSet<&str> = exam.frames.iter().map(|frame| frame.id.as_str()).collect();
    let mut with = exam.clone();
    with.frames.extend(stills.iter().filter(|still| !known.contains(still.id.as_str())).cloned());
    with.scanner_clocks.extend(clock.cloned());
    with
}

/// The ids of new stills that were saved outside the time of the exam.
fn strangers(exam: &Exam, clock: Option<&ScannerClock>, frames: &[Frame]) -> BTreeSet<String> {
    let with = with(exam, frames, clock);
    let is_outside = outside(&with, &with.frames, &pair(&with, &with.frames));
    let new = with.frames.iter().zip(is_outside).skip(exam.frames.len());
    new.filter(|(_, is_outside)| *is_outside).map(|(frame, _)| frame.id.clone()).collect()
}

/// The still was exported again, because the file that is known holds no picture.
fn is_mended(known: &Frame, found: &Frame) -> bool {
    known.sha256 != found.sha256 && lacks_picture(known) && !lacks_picture(found)
}

/// The file of the still is there, as it was when it was found.
fn is_whole(exam_folder: &ExamFolder, still: &Frame) -> bool {
    exam_folder.paired_file(still).is_ok()
}
