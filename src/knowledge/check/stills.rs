//! Rules about stills: their labels, their files and their clock.
//!
//! Takes: the evidence of an exam.
//! Gives: hits in the order of the stills.
//! Never: settles a label.
//! Tested in: `tests/it/rules/stills.rs`.

use chrono::{DateTime, TimeDelta, Utc};

use crate::clock::WallQuality;
use crate::exam::call::Problem;
use crate::exam::event::Frame;
use crate::exam::patient::Patient;
use crate::frames::clock_fit::NEAR_S;
use crate::frames::folder::{FILE_TIME, were_copied};
use crate::frames::save_times::saved_at;
use crate::knowledge::check::evidence::{Evidence, Hit, in_words};
use crate::knowledge::record::{FrameRow, Status};

pub(super) fn clock_unknown(evidence: &Evidence) -> Vec<Hit> {
    if counted(evidence).next().is_none() || evidence.pairing.clock.is_some() {
        return Vec::new();
    }
    // A recording's file time is when it ended or was copied; then the stills lie nowhere near what was said.
    let remedy = match evidence.exam.header.wall {
        WallQuality::FileTime => {
            "the recording does not say when it began, so its file date was used; hear it again into a new folder with \
             its true beginning, as in `zonecall hear scan.wav --into exams/again --started-at 2026-05-04T10:00:00+02:00`"
        }
        _ => {
            "too few save calls agree with stills; pair with a folder that holds this exam's stills only, \
             as in `zonecall pair EXAM --frames /media/scanner`, and next time say `clock mark` while saving one"
        }
    };
    vec![Hit::new(format!("the scanner's clock could not be matched to the exam: {remedy}"))]
}

/// Stills between two restarts of the program, where too few saves fit their stills by the clock of the whole exam.
pub(super) fn after_restart(evidence: &Evidence) -> Vec<Hit> {
    let remedy = evidence.by_ear("listen, and check its label");
    let unsure = evidence.frames.iter().zip(&evidence.pairing.unsure).filter(|(_, unsure)| **unsure);
    let labelled = |(row, _): &(&FrameRow, &bool)| {
        matches!(row.status, Status::Spoken | Status::Context) && row.copy_of.is_none()
    };
    let hit = |(row, _): (&FrameRow, &bool)| {
        let message = format!(
            "still `{}` was saved in a part of the exam, before or after a restart of the program or a new recording, whose own saves do not \
             confirm the clock; {remedy}",
            row.name()
        );
        Hit::still(row, message)
    };
    unsure.filter(labelled).map(hit).collect()
}

pub(super) fn ambiguous(evidence: &Evidence) -> Vec<Hit> {
    let remedy = evidence.by_ear("listen and choose one");
    of_status(evidence, Status::Ambiguous, &format!("fits two labels; {remedy}"))
}

/// Time that nobody listened to lets instants leap ahead by more than this, in milliseconds; sound comes in lumps of less.
const UNHEARD_MS_MIN: i64 = 1000;

/// Stills that were saved while nothing was heard: what was called for them nobody knows.
pub(super) fn unheard(evidence: &Evidence) -> Vec<Hit> {
    let anchors = &evidence.exam.timeline.anchors;
    let gaps: Vec<(DateTime<Utc>, DateTime<Utc>)> = anchors
        .windows(2)
        .map(|pair| (pair[0].instant_of(pair[1].sample), pair[1].wall))
        .filter(|(from, to)| (*to - *from).num_milliseconds() > UNHEARD_MS_MIN)
        .collect();
    let is_unheard = |at: &DateTime<Utc>| gaps.iter().any(|(from, to)| (*from..*to).contains(at));
    let is_labelled = |frame: &&FrameRow| matches!(frame.status, Status::Spoken | Status::Context);
    evidence
        .frames
        .iter()
        .filter(is_labelled)
        .filter(|frame| frame.saved_at_exam.as_ref().is_some_and(is_unheard))
        .map(|frame| {
            let what = "was saved while nothing was heard: the program was stopped, or sound was lost; check its label";
            Hit::still(frame, format!("still `{}` {what}", frame.name()))
        })
        .collect()
}

/// One line for all of them where no label could be given at all: the reason is the clock, not the single still.
pub(super) fn unlabelled(evidence: &Evidence) -> Vec<Hit> {
    // What was refused is asked about by its own rule.
    let mut taken = evidence.frames.iter().filter(|frame| frame.refused.is_none()).peekable();
    let all = taken.peek().is_some() && taken.all(|frame| frame.status == Status::Unlabelled);
    let n_taken = evidence.frames.iter().filter(|frame| frame.refused.is_none()).count();
    if all && n_taken > 1 {
        return vec![Hit::new(format!("none of the {n_taken} stills has a label"))];
    }
    of_status(evidence, Status::Unlabelled, "matches nothing that was said; label it by hand")
}

/// An exam of nobody knows whom.
pub(super) fn horse_unknown(evidence: &Evidence) -> Vec<Hit> {
    let horse = &evidence.exam.header.horse;
    if horse.name.is_some() || horse.id.is_some() {
        return Vec::new();
    }
    let message = match evidence.exam.patient_of_stills() {
        Some(patient) => format!(
            "the exam names no horse, and no name finds it; its stills are of {}: `zonecall name FOLDER --from-stills --by \
             YOUR-NAME` gives the exam this name",
            patient.in_words()
        ),
        None => "the exam names no horse, so its stills cannot be checked against one, and no name finds it: name it with \
                 `zonecall name FOLDER --horse NAME --by YOUR-NAME`"
            .to_owned(),
    };
    vec![Hit::new(message)]
}

/// One line for each patient: a person confirms or leaves out a horse, not a still.
pub(super) fn of_another_horse(evidence: &Evidence) -> Vec<Hit> {
    let mut hits: Vec<(&Patient, Hit, usize)> = Vec::new();
    for frame in evidence.frames {
        let (Some(patient), Some(why)) = (&frame.patient, &frame.refused) else { continue };
        match hits.iter_mut().find(|(known, ..)| *known == patient) {
            Some((.., count)) => *count += 1,
            None => hits.push((
                patient,
                Hit::still(frame, format!("still `{}` was not accepted: {why}", frame.name())),
                1,
            )),
        }
    }
    let line = |(_, hit, count): (&Patient, Hit, usize)| {
        let more = match count {
            1 => String::new(),
            2 => " (and 1 more)".to_owned(),
            more => format!(" (and {} more)", more - 1),
        };
        let message = format!("{}{more}; confirm that it is the same horse, or leave them out", hit.message);
        Hit { message, ..hit }
    };
    hits.into_iter().map(line).collect()
}

/// What another exam that has the same still is made from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SharedWith {
    /// Another recording.
    OtherRecording,
    /// The same recording, heard once more.
    SameRecording,
}

/// Stills that another exam had before.
fn elsewhere(evidence: &Evidence, source: SharedWith) -> Vec<Hit> {
    let again = source == SharedWith::SameRecording;
    let mut hits = Vec::new();
    for (frame, row) in counted(evidence) {
        let exams: Vec<String> = frame
            .also_in
            .iter()
            .filter(|other| other.again == again)
            .map(|other| format!("`{}`", other.exam))
            .collect();
        if !exams.is_empty() {
            let message = if again {
                format!(
                    "still `{}` is also in {}, which is the same recording, heard before",
                    row.name(),
                    exams.join(" and ")
                )
            } else {
                format!(
                    "still `{}` is already used in the exam {}; leave it out where it does not belong",
                    row.name(),
                    exams.join(" and ")
                )
            };
            hits.push(Hit::still(row, message));
        }
    }
    hits
}

pub(super) fn in_two_exams(evidence: &Evidence) -> Vec<Hit> {
    elsewhere(evidence, SharedWith::OtherRecording)
}

/// One line: all stills of a recording that is heard again are there again.
pub(super) fn paired_again(evidence: &Evidence) -> Vec<Hit> {
    let hits = elsewhere(evidence, SharedWith::SameRecording);
    let more = hits.len().saturating_sub(1);
    let first = hits.into_iter().next();
    let line = |hit: Hit| match more {
        0 => hit,
        more => Hit { message: format!("{} ({more} more are, too)", hit.message), ..hit },
    };
    first.map(line).into_iter().collect()
}

/// Stills that count or could: not refused, and not left out by a person.
pub(super) fn counted<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = (&'a Frame, &'a FrameRow)> {
    let all = evidence.exam.frames.iter().zip(evidence.frames);
    all.filter(|(_, row)| row.refused.is_none() && row.status != Status::LeftOut)
}

/// A still saved on no day of the exam, and further from it than the scanner's clock can be out.
pub(super) fn from_another_day(evidence: &Evidence) -> Vec<Hit> {
    let header = &evidence.exam.header;
    let end = evidence.exam.closed.as_ref().map_or(header.started_at, |closed| closed.0);
    let day = |at: DateTime<Utc>| {
        at.checked_add_signed(TimeDelta::seconds(header.utc_offset_s.into())).map(|at| at.date_naive())
    };
    let is_of_exam = |at: DateTime<Utc>| {
        let apart_s = (header.started_at - at).max(at - end).as_seconds_f64();
        apart_s <= NEAR_S || (day(header.started_at)..=day(end)).contains(&day(at))
    };
    let frames = &evidence.exam.frames;
    let times = saved_at(frames, header.utc_offset_s);
    // The day on which files were copied says nothing of the stills.
    let were_copied = were_copied(frames);
    let is_dated = |frame: &Frame| !(were_copied && frame.time_source == FILE_TIME);
    let is_counted =
        |row: &FrameRow| row.refused.is_none() && !matches!(row.status, Status::LeftOut | Status::Hand);
    let all = frames.iter().zip(evidence.frames).zip(times);
    let found: Vec<(&FrameRow, DateTime<Utc>)> = all
        .filter(|((frame, row), at)| is_counted(row) && is_dated(frame) && !is_of_exam(*at))
        .map(|((_, row), at)| (row, at))
        .collect();
    let (Some(exam_day), Some((_, first))) = (day(header.started_at), found.first()) else {
        return Vec::new();
    };
    let same_day = found.iter().all(|(_, at)| day(*at) == day(*first));
    let said = |at: DateTime<Utc>| day(at).map(|day| day.to_string()).unwrap_or_default();
    if same_day && found.len() > 1 && found.len() == counted(evidence).count() {
        let message = format!(
            "all {} stills are dated {}, but the exam was on {exam_day}: is the scanner's date wrong, or do they belong to another exam?",
            found.len(),
            said(*first)
        );
        return vec![Hit::new(message)];
    }
    let hit = |(row, at): &(&FrameRow, DateTime<Utc>)| {
        Hit::still(
            row,
            format!(
                "still `{}` is dated {}, but the exam was on {exam_day}; leave it out if it belongs to another exam",
                row.name(),
                said(*at)
            ),
        )
    };
    found.iter().map(hit).collect()
}

/// Stills of another study than most: one line, that points to the first of them.
pub(super) fn of_another_study(evidence: &Evidence) -> Vec<Hit> {
    let mut studies: Vec<(&str, Vec<&FrameRow>)> = Vec::new();
    for (frame, row) in counted(evidence) {
        let Some(study) = frame.study.as_deref() else { continue };
        match studies.iter_mut().find(|(known, _)| *known == study) {
            Some((_, rows)) => rows.push(row),
            None => studies.push((study, vec![row])),
        }
    }
    let all: usize = studies.iter().map(|(_, rows)| rows.len()).sum();
    // The first of those with most stills; a stable sort keeps the order of the exam.
    studies.sort_by_key(|(_, rows)| std::cmp::Reverse(rows.len()));
    let others: Vec<&FrameRow> = studies.iter().skip(1).flat_map(|(_, rows)| rows).copied().collect();
    let Some(first) = others.first() else { return Vec::new() };
    let are = if others.len() == 1 { "is" } else { "are" };
    let message = format!(
        "{} of the {all} stills {are} of another study on the scanner than the rest, such as `{}`; leave out what belongs to \
         another exam",
        others.len(),
        first.name()
    );
    vec![Hit::still(first, message)]
}

/// Files that show a still which is there in another file, too: one line for all.
pub(super) fn in_two_formats(evidence: &Evidence) -> Vec<Hit> {
    let rows: Vec<&FrameRow> = counted(evidence).map(|(_, row)| row).collect();
    let copies: Vec<(&FrameRow, &FrameRow)> = rows
        .iter()
        .filter_map(|row| Some((*row, *rows.iter().find(|other| Some(&other.id) == row.copy_of.as_ref())?)))
        .collect();
    let Some((copy, original)) = copies.first() else { return Vec::new() };
    let more = match copies.len() - 1 {
        0 => String::new(),
        more => format!(" (and {more} more do)"),
    };
    let message = format!(
        "`{}` shows the still `{}` a second time{more}; each is used once, from its first DICOM file",
        copy.name(),
        original.name()
    );
    vec![Hit::still(copy, message)]
}

pub(super) fn from_context(evidence: &Evidence) -> Vec<Hit> {
    of_status(evidence, Status::Context, "has no save call; its label is the place last called")
}

fn of_status(evidence: &Evidence, status: Status, message: &str) -> Vec<Hit> {
    let asked =
        |frame: &&FrameRow| frame.status == status && frame.refused.is_none() && frame.copy_of.is_none();
    let stills = evidence.frames.iter().filter(asked);
    stills.map(|frame| Hit::still(frame, format!("still `{}` {message}", frame.name()))).collect()
}

/// A label from what was current, while limb, zone or plane was not; for spoken ones the save call is asked about.
pub(super) fn incomplete(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    let from_context = |frame: &&FrameRow| frame.status == Status::Context && frame.copy_of.is_none();
    for frame in evidence.frames.iter().filter(from_context) {
        let lacking = lacking(frame);
        if !lacking.is_empty() {
            let message = format!("still `{}` has no {lacking} in its label; add it by hand", frame.name());
            hits.push(Hit::still(frame, message));
        }
    }
    hits
}

/// Stills that were saved while a range of zones was called: the label has only the first.
pub(super) fn of_zone_range(evidence: &Evidence) -> Vec<Hit> {
    let called = |frame: &FrameRow| {
        let call = evidence.exam.calls.iter().find(|call| Some(call.seq) == frame.call_seq)?;
        let last = call.context.to_zone.as_ref().filter(|_| call.context.place.zone == frame.place.zone)?;
        let zone = frame.place.zone.as_ref().filter(|zone| *zone != last)?;
        let message = format!(
            "still `{}` is labelled zone {zone}, but {zone} to {last} was called; if it shows another zone, relabel it by hand",
            frame.name()
        );
        Some(Hit::still(frame, message))
    };
    let is_heard = |frame: &&FrameRow| matches!(frame.status, Status::Spoken | Status::Context);
    evidence.frames.iter().filter(is_heard).filter_map(called).collect()
}

fn lacking(frame: &FrameRow) -> String {
    let place = &frame.place;
    let parts =
        [("limb", place.limb.is_none()), ("zone", place.zone.is_none()), ("plane", place.plane.is_none())];
    let lacking: Vec<&str> = parts.iter().filter(|part| part.1).map(|part| part.0).collect();
    lacking.join(" and ")
}

/// One line for each thing that is wrong, however many stills it is wrong with: a scanner makes each of them alike.
pub(super) fn file(evidence: &Evidence) -> Vec<Hit> {
    let mut found: Vec<(&Problem, &FrameRow, usize)> = Vec::new();
    for (frame, row) in evidence.exam.frames.iter().zip(evidence.frames) {
        for problem in &frame.problems {
            match found.iter_mut().find(|(known, ..)| *known == problem) {
                Some((.., count)) => *count += 1,
                None => found.push((problem, row, 1)),
            }
        }
    }
    let hit = |(problem, row, count): (&Problem, &FrameRow, usize)| {
        let others = if count == 1 { String::new() } else { format!(" and {} more", count - 1) };
        Hit::still(row, format!("still `{}`{others}: {}", row.name(), in_words(problem)))
    };
    found.into_iter().map(hit).collect()
}
