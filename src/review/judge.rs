//! Whether a change makes sense.
//!
//! Takes: a change that somebody asks for, and the exam as it is now.
//! Gives: what stood there before, in words, with what a person has to confirm, or a refusal that says what to do.
//! Never: writes anything.
//! Tested in: `tests/it/review.rs`.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use crate::clock::Sample;
use crate::code::LimbCode;
use crate::exam::call::{Act, Problem, View};
use crate::exam::fold::{Exam, LoggedCall, Note};
use crate::exam::patient::Patient;
use crate::exam::review::{Change, WORDS_MAX};
use crate::exam::seq::Seq;
use crate::frames::cine::Cine;
use crate::frames::clock_fit::OFFSET_S_MAX;
use crate::frames::scale::sole_scale;
use crate::knowledge::key_stills::{KEY_STILLS_MAX, is_sure};
use crate::knowledge::record::{Finding, FrameRow, Status};
use crate::knowledge::settled::accepts;
use crate::review::desk::{Desk, DeskSnapshot};
use crate::review::fit::{act_fits, place_fits};
use crate::review::refusal::{Refusal, wrong};
use crate::terminal::is_plain;

/// No exam goes on for longer, in seconds.
const EXAM_S_MAX: f64 = 24.0 * 3600.0;
/// Closer points would make the scale worse than 4 % when each is one pixel off.
const SCALE_PX_MIN: f64 = 50.0;
/// What a distance on a depth scale may be, in millimetres; common practice, no source.
const DEPTH_MM: RangeInclusive<f64> = 5.0..=300.0;

/// A change that makes sense.
pub(super) struct Judged {
    /// What stood there before, in words.
    pub(super) was: String,
    /// What is unlikely about it, until a person confirms it.
    pub(super) doubt: Option<Problem>,
}

/// Whether the change makes sense.
pub(super) fn judge(desk: &Desk, seen: &DeskSnapshot, change: &Change) -> Result<Judged, Refusal> {
    let was = what_was(desk, seen, change)?;
    let exam = &seen.exam;
    let doubt = match change {
        Change::Call { seq, act } => {
            let call = own_call(exam, *seq)?;
            stays_what_it_is(call, act)?;
            act_fits(desk, exam, call.context.place.limb.as_ref(), act)?
        }
        Change::Add { sample, act } => addition_fits(desk, exam, *sample, act)?,
        _ => None,
    };
    Ok(Judged { was, doubt })
}

/// What stood there before, where there is such a thing and the change fits it.
fn what_was(desk: &Desk, seen: &DeskSnapshot, change: &Change) -> Result<String, Refusal> {
    let exam = &seen.exam;
    match change {
        Change::Call { seq, .. } => Ok(own_call(exam, *seq)?.act.to_string()),
        Change::Add { .. } => Ok(String::new()),
        Change::Place { seq, place } => {
            let call = own_call(exam, *seq)?;
            let before = call.context.place.codes();
            let limb = place.limb.as_ref().or(call.context.place.limb.as_ref());
            place_fits(desk, exam, place, limb)?;
            Ok(before)
        }
        Change::Withdraw { seq } => {
            let call = own_call(exam, *seq)?;
            if call.withdrawn_by.is_some() {
                return wrong("this call is already withdrawn", "there is nothing to do");
            }
            Ok(call.act.to_string())
        }
        Change::Move { seq, sample } => move_fits(exam, *seq, *sample),
        Change::Scale { still, ends_px, distance_mm } => {
            scale_fits(desk, seen, still, *ends_px, *distance_mm)
        }
        Change::Pair { still, seq } => {
            own_call(exam, *seq)?;
            label_of(seen, still)
        }
        Change::Label { still, place } => {
            place_fits(desk, exam, place, place.limb.as_ref())?;
            label_changes(seen, still, place)?;
            label_of(seen, still)
        }
        Change::LeaveOut { still } => label_of(seen, still),
        Change::KeyPicture { still, shown, frame_number } => {
            key_picture_fits(desk, seen, still, *shown, *frame_number)
        }
        Change::SameHorse { patient } => waits_to_be_taken(seen, patient),
        Change::NoteText { seq, text } => {
            words_fit(text)?;
            match exam.notes.iter().find(|note| note.seq == *seq) {
                Some(note) => Ok(words_of_note(exam, note)),
                None => wrong(format!("there is no free note {seq}"), "choose one of the notes on the page"),
            }
        }
        Change::Words { part, text } => {
            words_fit(text)?;
            let before = exam.written().into_iter().find(|(_, of, _)| of == part);
            Ok(before.map(|(.., text)| text.to_owned()).unwrap_or_default())
        }
        Change::Clock { offset_s } => {
            offset_fits(*offset_s)?;
            let clock = seen.record.clock.as_ref();
            Ok(clock.map(|clock| format!("{:+.1} s", clock.offset_s)).unwrap_or_default())
        }
        Change::Looked { .. } => {
            let asks = |finding: &Finding| finding.settled.is_none() && accepts(change, finding);
            if !seen.record.findings.iter().any(asks) {
                return wrong("this question is no longer open", "go on with the next one");
            }
            Ok(String::new())
        }
        Change::TakeBack { seq } => what_stands(exam, *seq),
    }
}

/// A patient whose stills were refused.
fn waits_to_be_taken(seen: &DeskSnapshot, patient: &Patient) -> Result<String, Refusal> {
    let is_refused = |row: &FrameRow| row.refused.is_some() && row.patient.as_ref() == Some(patient);
    if !seen.record.frames.iter().any(is_refused) {
        return wrong("no still of this patient is waiting to be accepted", "look at the stills again");
    }
    Ok("not taken".to_owned())
}

fn stays_what_it_is(call: &LoggedCall, act: &Act) -> Result<(), Refusal> {
    if std::mem::discriminant(act) != std::mem::discriminant(&call.act) {
        return wrong(
            "a call cannot change its kind: place, value or finding",
            "withdraw it and add the right one",
        );
    }
    if call.call.corrects {
        return wrong("this was itself said as a correction", "correct the call that it replaced");
    }
    Ok(())
}

fn addition_fits(desk: &Desk, exam: &Exam, sample: Sample, act: &Act) -> Result<Option<Problem>, Refusal> {
    moment_fits(exam, sample)?;
    match act {
        Act::Save => Ok(None),
        _ => act_fits(desk, exam, limb_at(exam, sample), act),
    }
}

/// The limb that was current at this moment.
fn limb_at(exam: &Exam, sample: Sample) -> Option<&LimbCode> {
    let at = exam.instant_of(sample);
    let before = exam.calls.iter().rfind(|call| call.said_at <= at);
    before.and_then(|call| call.context.place.limb.as_ref())
}

/// Whether the call that is added may lie at this place of its own.
pub(super) fn own_place_fits(desk: &Desk, exam: &Exam, change: &Change, place: &View) -> Result<(), Refusal> {
    match change {
        Change::Add { sample, act } if !matches!(act, Act::View(_)) => {
            place_fits(desk, exam, place, place.limb.as_ref().or_else(|| limb_at(exam, *sample)))
        }
        _ => wrong(
            "only a value, a finding or a save that is added has a place of its own",
            "send the place as part of the new place, or as a change of its own",
        ),
    }
}

/// A label that the still has already is written again only where that answers a doubt about it.
fn label_changes(seen: &DeskSnapshot, still: &str, place: &View) -> Result<(), Refusal> {
    let row = row_of(seen, still)?;
    let View { limb, zone, plane, structure, .. } = place;
    let now = (&row.place.limb, &row.place.zone, &row.place.plane, &row.place.structure);
    let asks = |finding: &Finding| {
        let of_call = row.call_seq.is_some() && finding.call_seq == row.call_seq;
        finding.is_open() && (of_call || finding.frame.as_deref() == Some(still))
    };
    let is_settled = row.status == Status::Hand || is_sure(row) && !seen.record.findings.iter().any(asks);
    if now == (limb, zone, plane, structure) && is_settled {
        return wrong("the still has this label already", "nothing has to be changed");
    }
    Ok(())
}

fn move_fits(exam: &Exam, seq: Seq, sample: Sample) -> Result<String, Refusal> {
    let call = own_call(exam, seq)?;
    moment_fits(exam, sample)?;
    let movable = matches!(
        call.act,
        Act::View(_) | Act::Setting(_) | Act::Finding(_) | Act::Value(_) | Act::Save | Act::Clip
    );
    if call.call.corrects || !movable {
        return wrong("this call cannot be moved in time", "withdraw it if it is wrong");
    }
    let at_s = (call.said_at - exam.header.started_at).as_seconds_f64();
    Ok(format!("said {at_s:.1} s after the start"))
}

/// What stood for a note so far: the words that a person read, else the draft.
fn words_of_note(exam: &Exam, note: &Note) -> String {
    let drafted = || note.draft.as_ref().map(|draft| draft.text.clone());
    let read = exam.note_text(note.seq).map(|(_, text)| text.to_owned());
    read.or_else(drafted).unwrap_or_default()
}

/// Several lines, but nothing that a reader cannot see.
fn words_fit(text: &str) -> Result<(), Refusal> {
    if text.chars().count() > WORDS_MAX {
        return wrong(format!("the text is longer than {WORDS_MAX} characters"), "shorten it");
    }
    if !text.lines().all(is_plain) {
        return wrong("the text holds invisible characters", "type it again, in plain text");
    }
    Ok(())
}

fn offset_fits(offset_s: f64) -> Result<(), Refusal> {
    if offset_s.is_finite() && offset_s.abs() <= OFFSET_S_MAX {
        return Ok(());
    }
    wrong(format!("{offset_s} s is outside -{OFFSET_S_MAX} to {OFFSET_S_MAX} s"), "read both clocks again")
}

fn what_stands(exam: &Exam, seq: Seq) -> Result<String, Refusal> {
    if let Some(change) = exam.standing_changes().find(|change| change.seq == seq) {
        let back = match change.review.change {
            Change::TakeBack { seq } => Some(seq),
            _ => None,
        };
        if back.is_some() && back == exam.signed.as_ref().map(|signed| signed.seq) {
            return wrong("a signature cannot be done again", "check the exam, then sign it again");
        }
        return Ok(change.review.change.to_string());
    }
    let signed = exam.signed.as_ref().filter(|signed| signed.seq == seq && signed.taken_back_by.is_none());
    if signed.is_some() {
        return wrong(
            "only a vet can withdraw a signature",
            "choose it at the desk and enter the passphrase",
        );
    }
    match exam.entries.iter().find(|entry| entry.seq == seq) {
        Some(entry) => Ok(format!("{} {}", entry.entered.term, entry.entered.amount)),
        None => wrong(
            format!("line {seq} is not a change that can be taken back"),
            "look at the list of changes again",
        ),
    }
}

/// The call of this number, unless it was itself a correction: then the call it corrected is the one to change.
fn own_call(exam: &Exam, seq: Seq) -> Result<&LoggedCall, Refusal> {
    match exam.calls.iter().find(|call| call.seq == seq) {
        Some(call) => Ok(call),
        None => wrong(format!("there is no call {seq}"), "choose one of the calls on the page"),
    }
}

/// Nothing was said after the recording; where it was never closed nobody knows how long it went on.
fn moment_fits(exam: &Exam, sample: Sample) -> Result<(), Refusal> {
    let recorded_s = exam.n_samples.max(exam.last_sample()).seconds();
    let most_s = if exam.closed.is_some() && recorded_s > 0.0 { recorded_s } else { EXAM_S_MAX };
    if sample.seconds() > most_s {
        return wrong(
            format!("{:.1} s is later than the recording, which ends at {most_s:.1} s", sample.seconds()),
            "give the time since the start of the exam",
        );
    }
    Ok(())
}

/// A scale by hand is for stills that state none, and its two points must be far enough apart to be read well.
fn scale_fits(
    desk: &Desk,
    seen: &DeskSnapshot,
    still: &str,
    [from, to]: [(f64, f64); 2],
    distance_mm: f64,
) -> Result<String, Refusal> {
    label_of(seen, still)?;
    let file = paired(desk, row_of(seen, still)?)?;
    if sole_scale(&file).is_some() {
        return wrong("this still states its own scale", "measure with it; no scale needs to be set");
    }
    let apart_px = (to.0 - from.0).hypot(to.1 - from.1);
    if !apart_px.is_finite() || apart_px < SCALE_PX_MIN {
        return wrong(
            format!("the two points are less than {SCALE_PX_MIN} pixels apart"),
            "choose two marks of the depth scale that are far apart",
        );
    }
    if !(DEPTH_MM.contains(&distance_mm)) {
        let (least, most) = (DEPTH_MM.start() / 10.0, DEPTH_MM.end() / 10.0);
        return wrong(
            format!(
                "{} cm is not a distance on a depth scale, which is {least} to {most} cm",
                distance_mm / 10.0
            ),
            "enter the distance between the two marks in centimetres",
        );
    }
    let before = seen.exam.scale_by_hand_mm(still);
    Ok(before.map(|mm| format!("{mm:.4} mm a pixel, set by hand")).unwrap_or_default())
}

/// Only a still whose label is sure is shown in a report, and only a frame that it has.
fn key_picture_fits(
    desk: &Desk,
    seen: &DeskSnapshot,
    still: &str,
    shown: bool,
    frame_number: Option<u32>,
) -> Result<String, Refusal> {
    let row = row_of(seen, still)?;
    if shown && !is_sure(row) {
        return wrong("the label of this still is in doubt or missing", "settle its label first");
    }
    frame_fits(&paired(desk, row)?, frame_number)?;
    let others = seen.record.frames.iter().filter(|row| row.key == Some(true) && row.id != still).count();
    if shown && others >= KEY_STILLS_MAX {
        return wrong(
            format!("a report shows at most {KEY_STILLS_MAX} pictures"),
            "leave another one out first",
        );
    }
    Ok(match row.key {
        Some(true) => "added".to_owned(),
        Some(false) => "left out".to_owned(),
        None => String::new(),
    })
}

/// The file of a still, to look at or to measure on: never another one that has its name now.
pub(super) fn paired(desk: &Desk, row: &FrameRow) -> Result<PathBuf, Refusal> {
    row.paired_file(desk.folder.path()).or_else(|fault| wrong(fault.to_string(), ""))
}

/// The still has this frame.
pub(super) fn frame_fits(path: &Path, frame_number: Option<u32>) -> Result<(), Refusal> {
    let Some(number) = frame_number else { return Ok(()) };
    let frames = Cine::of(path).frames;
    if (1..=frames).contains(&number) {
        return Ok(());
    }
    wrong(format!("the still has no frame {number}; it has {frames}"), "choose the frame on the still again")
}

fn label_of(seen: &DeskSnapshot, still: &str) -> Result<String, Refusal> {
    Ok(row_of(seen, still)?.place.codes())
}

/// The still of this id.
pub(super) fn row_of<'a>(seen: &'a DeskSnapshot, still: &str) -> Result<&'a FrameRow, Refusal> {
    match seen.record.frames.iter().find(|row| row.id == still) {
        Some(row) => Ok(row),
        None => wrong("there is no such still in this exam", "choose one of the stills on the page"),
    }
}

/// A signed record becomes a draft again only for somebody who knows it.
pub(super) fn may_change(seen: &DeskSnapshot, draft_again: bool) -> Result<(), Refusal> {
    let signed = seen.record.exam.signed.as_ref().filter(|_| seen.record.exam.is_signed());
    match signed {
        Some(signed) if !draft_again => Err(Refusal::Signed(Problem {
            message: format!("this record is signed by {}; a change makes it a draft again", signed.by),
            help: "save it only if it will be signed again".to_owned(),
        })),
        _ => Ok(()),
    }
}
