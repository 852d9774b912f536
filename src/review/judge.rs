//! Whether a change makes sense.
//!
//! Takes: a change that somebody asks for, and the exam as it is now.
//! Gives: what stood there before, in words, or a refusal that says what to do.
//! Never: writes anything.
//! Tested in: `tests/it/review.rs`.

use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};

use crate::clock::Sample;
use crate::code::LimbCode;
use crate::exam::call::{Act, Amount, Problem, View};
use crate::exam::fold::{Exam, LoggedCall, Note};
use crate::exam::patient::Patient;
use crate::exam::review::{Change, TEXT_MAX, WORDS_MAX};
use crate::exam::seq::Seq;
use crate::frames::cine::Cine;
use crate::frames::clock_fit::OFFSET_S_MAX;
use crate::frames::scale::sole_scale;
use crate::knowledge::key_stills::{KEY_STILLS_MAX, is_sure};
use crate::knowledge::record::{Finding, FrameRow};
use crate::knowledge::settled::accepts;
use crate::language::closed_sets::Class;
use crate::protocol::Odd;
use crate::review::desk::{Desk, DeskSnapshot};
use crate::review::refusal::{Refusal, wrong};
use crate::terminal::is_plain;

/// No exam goes on for longer, in seconds.
const EXAM_S_MAX: f64 = 24.0 * 3600.0;
/// Closer points would make the scale worse than 4 % when each is one pixel off.
const SCALE_PX_MIN: f64 = 50.0;
/// What a distance on a depth scale may be, in millimetres; common practice, no source.
const DEPTH_MM: RangeInclusive<f64> = 5.0..=300.0;

/// Whether the change makes sense; gives what stood there before, in words.
pub(super) fn judge(desk: &Desk, seen: &DeskSnapshot, change: &Change) -> Result<String, Refusal> {
    let exam = &seen.exam;
    match change {
        Change::Call { seq, act } => {
            let call = own_call(exam, *seq)?;
            stays_what_it_is(call, act)?;
            act_fits(desk, exam, call.context.place.limb.as_ref(), act)?;
            Ok(call.act.to_string())
        }
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
        Change::Add { sample, act } => addition_fits(desk, exam, *sample, act),
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

fn addition_fits(desk: &Desk, exam: &Exam, sample: Sample, act: &Act) -> Result<String, Refusal> {
    moment_fits(exam, sample)?;
    if *act != Act::Save {
        let at = exam.instant_of(sample);
        let before = exam.calls.iter().rfind(|call| call.said_at <= at);
        act_fits(desk, exam, before.and_then(|call| call.context.place.limb.as_ref()), act)?;
    }
    Ok(String::new())
}

fn move_fits(exam: &Exam, seq: Seq, sample: Sample) -> Result<String, Refusal> {
    let call = own_call(exam, seq)?;
    moment_fits(exam, sample)?;
    let movable =
        matches!(call.act, Act::View(_) | Act::Setting(_) | Act::Finding(_) | Act::Value(_) | Act::Save);
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

/// `limb` is the one that is current there.
fn act_fits(desk: &Desk, exam: &Exam, limb: Option<&LimbCode>, act: &Act) -> Result<(), Refusal> {
    match act {
        Act::View(view) => place_fits(desk, exam, view, view.limb.as_ref().or(limb)),
        Act::Value(value) => amount_fits(desk, exam, &value.term, &value.amount, value.said.scale.as_deref()),
        Act::Finding(finding) if finding.term.is_empty() || finding.term.chars().count() > TEXT_MAX => {
            wrong("the finding has no name", "write what was seen, as it is called in the report")
        }
        Act::Finding(finding)
            if finding.class == Class::Unremarkable && !desk.protocols.is_no_lesion(&finding.term) =>
        {
            wrong(
                format!("“{}” is not a finding that says that nothing is wrong", finding.term),
                "choose the type “lesion”, or “normal” if nothing was wrong",
            )
        }
        Act::Finding(_) => Ok(()),
        _ => wrong(
            "only places, values and findings can be corrected or added",
            "withdraw the call if it is wrong",
        ),
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

/// A score fits the scale that was said with it or set for this exam, not the widest that the term knows.
pub(super) fn amount_fits(
    desk: &Desk,
    exam: &Exam,
    term: &str,
    amount: &Amount,
    scale: Option<&str>,
) -> Result<(), Refusal> {
    let Some(kind) = desk.protocols.value(term) else {
        return wrong(format!("`{term}` is not something that is measured"), "choose a term from the list");
    };
    if !amount.number.is_finite() || amount.number < 0.0 {
        return wrong("that is not a measurement", "enter a number from 0 upwards");
    }
    match &amount.unit {
        Some(unit) if !kind.units.contains(unit) => {
            wrong(format!("{term} is not measured in `{unit}`"), "choose one of the units in the list")
        }
        None if !kind.units.is_empty() => wrong(format!("{term} needs a unit"), "choose one from the list"),
        _ => match kind.odd_on(
            scale.or_else(|| exam.scale_of(term, kind)),
            amount.number,
            amount.unit.as_deref(),
        ) {
            Some(odd @ Odd::OffScale { .. }) => wrong(odd.to_string(), "enter a step of this exam's scale"),
            Some(odd) => wrong(odd.to_string(), "if it is correct, enter it with `zonecall enter --unusual`"),
            None => Ok(()),
        },
    }
}

/// The limb has the structure.
fn structure_fits(desk: &Desk, structure: Option<&str>, limb: Option<&str>) -> Result<(), Refusal> {
    let known = structure.and_then(|code| desk.protocols.structure(code));
    let limb = limb.and_then(|code| desk.protocols.limb(code));
    match (known, limb) {
        (Some(known), Some(limb)) if !known.is_of(&limb.group) => wrong(
            format!("the {} has no {}", limb.name, known.name),
            "choose a structure that this limb has, or correct the limb first",
        ),
        _ => Ok(()),
    }
}

/// Every code is known, and the limb has the zone in the schemes of the exam.
fn place_fits(desk: &Desk, exam: &Exam, place: &View, limb: Option<&LimbCode>) -> Result<(), Refusal> {
    let View { limb: own, zone, level_cm, plane, structure, .. } = place;
    let protocols = &desk.protocols;
    if own.is_none() && zone.is_none() && level_cm.is_none() && plane.is_none() && structure.is_none() {
        return wrong("no place was chosen", "choose a limb, zone, plane or structure");
    }
    let unknown = [
        own.as_deref().filter(|code| protocols.limb(code).is_none()),
        plane.as_deref().filter(|code| protocols.plane(code).is_none()),
        structure.as_deref().filter(|code| protocols.structure(code).is_none()),
    ];
    if let Some(code) = unknown.into_iter().flatten().next() {
        return wrong(format!("`{code}` is not known to the protocols"), "choose one from the list");
    }
    structure_fits(desk, structure.as_deref(), limb.map(|code| code.as_ref()))?;
    if let Some(level) = level_cm {
        let length = |limb: &str| {
            protocols.limb(limb).and_then(|limb| exam.header.limb_lengths_cm.get(&limb.group)).copied()
        };
        let zone = limb.map(|limb| protocols.zone_of_level(limb, *level, &exam.header.schemes, length(limb)));
        match zone {
            Some(Ok(_)) => {}
            Some(Err(problem)) => return wrong(problem.message, &problem.help),
            None => return wrong("a level needs a limb", "choose the limb as well"),
        }
    }
    if let Some(zone) = zone {
        let fits = limb.is_some_and(|limb| protocols.scheme_for(limb, zone, &exam.header.schemes).is_some());
        if !fits {
            let limb = limb.map_or("a still or call without a limb", LimbCode::as_str);
            return wrong(
                format!("{zone} is not a zone of {limb} in this exam"),
                "choose limb and zone together",
            );
        }
    }
    Ok(())
}
