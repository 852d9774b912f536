//! Calls and stills as rows of the record.
//!
//! Takes: `Exam`, `Pairing` and `Protocols`.
//! Gives: `CallRow` and `FrameRow`, in the order they were said or saved.
//! Never: leaves out a call that was taken back, or an utterance that was not understood.
//! Tested in: `tests/it/knowledge.rs`.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use crate::exam::animal::Animal;
use crate::exam::call::{Act, Amount, Command, FindingSaid, Setting, Value};
use crate::exam::closed_sets::CallKind;
use crate::exam::context::Context;
use crate::exam::event::Frame;
use crate::exam::fold::{Exam, LoggedCall, LoggedChange, LoggedEntry, LoggedUtterance};
use crate::exam::identity::Foreign;
use crate::exam::no_picture::lacks_picture;
use crate::exam::patient::Patient;
use crate::exam::review::{Change, WordsPart};
use crate::exam::seq::Seq;
use crate::exam::shown::bound;
use crate::frames::pairing::{PairedFrame, Pairing};
use crate::knowledge::contradiction::contradicted;
use crate::knowledge::current::replaced;
use crate::knowledge::label::StillLabel;
use crate::knowledge::record::{CallRow, ChangeRow, EntryRow, FrameRow, RivalLabel, WordsRow};
use crate::protocol::Protocols;

/// Which lines of an exam stand against each other.
pub(crate) struct OpposedLines {
    replaced: BTreeMap<Seq, Seq>,
    contradicted: BTreeMap<Seq, Vec<Seq>>,
}

impl OpposedLines {
    pub(crate) fn of(exam: &Exam, protocols: &Protocols) -> Self {
        Self { replaced: replaced(exam), contradicted: contradicted(exam, protocols) }
    }

    fn replaced_by(&self, seq: Seq) -> Option<Seq> {
        self.replaced.get(&seq).copied()
    }

    fn contradicted_by(&self, seq: Seq) -> Vec<Seq> {
        self.contradicted.get(&seq).cloned().unwrap_or_default()
    }
}

/// Every call, and every utterance that was not understood, in the order they were said.
#[must_use]
pub(crate) fn call_rows(exam: &Exam, opposed: &OpposedLines, protocols: &Protocols) -> Vec<CallRow> {
    let row = |call: &LoggedCall| CallRow {
        replaced_by: opposed.replaced_by(call.seq),
        contradicted_by: opposed.contradicted_by(call.seq),
        ..call_row(exam, call, protocols)
    };
    let mut rows: Vec<CallRow> = exam.calls.iter().map(row).collect();
    let unknown = exam.utterances.iter().filter(|utterance| utterance.is_open());
    rows.extend(unknown.map(|utterance| unknown_row(utterance, exam)));
    // By line within an instant: what a person added or moved is where it counts.
    rows.sort_by_key(|row| (row.said_at, row.seq));
    rows
}

fn call_row(exam: &Exam, call: &LoggedCall, protocols: &Protocols) -> CallRow {
    let mut row = CallRow {
        seq: call.seq,
        said_at: call.said_at,
        span_s: call.call.span.seconds(),
        words: call.call.words.clone(),
        confidence: call.call.confidence,
        withdrawn: call.withdrawn_by.is_some(),
        added: call.is_added(),
        corrects: call.call.corrects,
        corrected_by: call.corrected_by.clone(),
        ..CallRow::default()
    };
    put_context(&mut row, &call.context);
    if is_of_none(exam, call, protocols) {
        row.place.structure = None;
    }
    put_act(&mut row, &call.act, protocols);
    row
}

/// Said while a structure was current that cannot have it: it is of another one, which neither speaker nor person named.
fn is_of_none(exam: &Exam, call: &LoggedCall, protocols: &Protocols) -> bool {
    let (Act::Finding(finding), Some(current)) = (&call.act, &call.context.place.structure) else {
        return false;
    };
    let by_hand = |logged: &LoggedChange| matches!(&logged.review.change, Change::Place { seq, place } if *seq == call.seq && place.structure.is_some());
    finding.structure.is_none()
        && !protocols.can_have(current, &finding.term)
        && !exam.standing_changes().any(by_hand)
}

fn unknown_row(utterance: &LoggedUtterance, exam: &Exam) -> CallRow {
    let mut row = CallRow {
        seq: utterance.seq,
        said_at: utterance.said_at,
        span_s: utterance.span.seconds(),
        words: utterance.words.clone(),
        kind: CallKind::Unknown,
        confidence: utterance.confidence,
        ..CallRow::default()
    };
    if let Some(before) = exam.calls.iter().rfind(|call| call.said_at < utterance.said_at) {
        put_context(&mut row, &before.context);
    }
    row
}

fn put_context(row: &mut CallRow, context: &Context) {
    row.place = context.place.clone();
    row.level_cm = context.level_cm;
    row.to_zone.clone_from(&context.to_zone);
    row.landmark.clone_from(&context.landmark);
    row.offset.clone_from(&context.offset);
    row.settings = settings(&context.settings);
}

/// What a finding says besides its term.
fn put_remarks(row: &mut CallRow, finding: &FindingSaid) {
    row.certainty = finding.certainty;
    row.attributes.clone_from(&finding.attributes);
    row.against.clone_from(&finding.against);
    row.than.clone_from(&finding.than);
    row.zones.clone_from(&finding.zones);
    row.copied = finding.copied;
}

fn put_act(row: &mut CallRow, act: &Act, protocols: &Protocols) {
    let (kind, term) = match act {
        Act::View(_) => (CallKind::View, None),
        Act::Setting(setting) => (CallKind::Setting, Some(setting.slot.clone())),
        Act::Finding(finding) => (CallKind::Finding, Some(finding.term.clone())),
        Act::Value(value) => (CallKind::Value, Some(value.term.clone())),
        Act::Save | Act::Clip => (CallKind::Save, None),
        Act::Note { open: true, conclusion: true } => (CallKind::Note, Some("conclusion".to_owned())),
        Act::Note { open, .. } => (CallKind::Note, Some(if *open { "open" } else { "close" }.to_owned())),
        Act::Command(command) => (CallKind::Command, Some(command.name().to_string())),
        Act::Question { ask } => (CallKind::Question, Some(ask.to_string())),
        Act::Answer { answer } => (CallKind::Answer, Some(answer.to_string())),
        Act::Identity { what, .. } => (CallKind::Identity, Some(what.to_string())),
    };
    row.kind = kind;
    row.term = term;
    match act {
        Act::Setting(setting) => {
            row.state.clone_from(&setting.state);
            put_amount(row, setting.amount.as_ref());
        }
        Act::Finding(finding) => {
            row.class = Some(finding.class.clone());
            put_remarks(row, finding);
            row.degree.clone_from(&finding.degree);
            row.position.clone_from(&finding.position);
        }
        Act::Value(value) => {
            put_amount(row, Some(&value.amount));
            let scale = protocols.value(&value.term).and_then(|kind| kind.scale.clone());
            row.scale = value.said.scale.clone().or(scale);
            row.approx = value.said.approx;
            row.comparator = value.said.comparator;
            row.to = value.said.to;
            row.by = value.said.by;
        }
        Act::Command(Command::TakeBack { count }) => {
            row.number = u32::try_from(*count).ok().map(f64::from);
        }
        Act::Command(Command::LimbDone { limb: Some(limb) }) => row.state = Some(limb.to_string()),
        Act::Clip => row.state = Some("clip".to_owned()),
        Act::Identity { value, .. } => row.state = Some(value.clone()),
        _ => {}
    }
}

fn put_amount(row: &mut CallRow, amount: Option<&Amount>) {
    let Some(amount) = amount else { return };
    row.number = Some(amount.number);
    row.unit.clone_from(&amount.unit);
    row.unit_assumed = amount.unit_assumed;
}

fn settings(settings: &BTreeMap<String, Setting>) -> BTreeMap<String, String> {
    settings.iter().map(|(slot, setting)| (slot.clone(), setting_text(setting))).collect()
}

/// The state of a setting in words, such as `on` or `5.5 cm`.
pub(crate) fn setting_text(setting: &Setting) -> String {
    let amount = setting.amount.as_ref().map(amount_text);
    let parts: Vec<String> = setting.state.iter().cloned().chain(amount).collect();
    parts.join(" ")
}

/// A number with its unit as people read it, such as `1.07 cm2`.
pub(crate) fn amount_text(amount: &Amount) -> String {
    match &amount.unit {
        Some(unit) => format!("{} {unit}", amount.number),
        None => amount.number.to_string(),
    }
}

/// A value as it was said: `130 to 140 mm2`, `less than 2 mm`, `5 by 3 mm`.
pub(crate) fn value_text(value: &Value) -> String {
    let Value { amount, said, .. } = value;
    let bound = bound(said.comparator);
    let with = |word: &str, number: Option<f64>| number.map(|number| format!(" {word} {number}"));
    let more = with("to", said.to).or_else(|| with("by", said.by)).unwrap_or_default();
    let unit = amount.unit.as_ref().map(|unit| format!(" {unit}")).unwrap_or_default();
    format!("{bound}{}{more}{unit}", amount.number)
}

/// Every value that was typed or traced, in the order of the journal.
#[must_use]
pub(crate) fn entry_rows(exam: &Exam, opposed: &OpposedLines, protocols: &Protocols) -> Vec<EntryRow> {
    let row = |logged: &LoggedEntry| {
        let entered = logged.entered.clone();
        let scale = || protocols.value(&entered.term).and_then(|kind| kind.scale.clone());
        EntryRow {
            seq: logged.seq,
            at: logged.at,
            place: entered.place(),
            number: entered.amount.number,
            unit: entered.amount.unit,
            scale: entered.scale.or_else(scale),
            traced: entered.traced,
            by: entered.by,
            scale_by_hand: entered.scale_by_hand_mm.is_some(),
            still: entered.still,
            frame_number: entered.frame_number,
            term: entered.term,
            replaced_by: opposed.replaced_by(logged.seq),
            contradicted_by: opposed.contradicted_by(logged.seq),
        }
    };
    exam.entries.iter().map(row).collect()
}

/// Every still with its label, in the order of the exam.
#[must_use]
pub fn frame_rows(exam: &Exam, pairing: &Pairing, labels: &[StillLabel]) -> Vec<FrameRow> {
    let paired = pairing.frames.iter().map(Some).chain(std::iter::repeat(None));
    let refused = exam.refused(&exam.frames);
    let stills = exam.frames.iter().zip(labels).zip(paired).zip(refused);
    type FrameWithLabel<'a> = (&'a Frame, &'a StillLabel);
    let row = |(((frame, label), paired), refused): (
        (FrameWithLabel<'_>, Option<&PairedFrame>),
        Option<Foreign>,
    )| {
        match refused {
            // Whatever it was paired with, it is none of this horse.
            Some(why) => {
                let refused = Some(refused_in_words(exam, frame, why));
                FrameRow { refused, ..frame_row(exam, frame, label, None) }
            }
            None => frame_row(exam, frame, label, paired),
        }
    };
    let mut rows: Vec<FrameRow> = stills.map(row).collect();
    for (row, original) in rows.iter_mut().zip(&pairing.copies) {
        row.copy_of = original.and_then(|original| Some(exam.frames.get(original)?.id.clone()));
    }
    rows
}

/// Why a still was not taken, such as "it is of `Bramble`, the exam of `Juniper`".
pub(crate) fn refused_in_words(exam: &Exam, frame: &Frame, why: Foreign) -> String {
    let patient = frame.patient.as_ref().map(Patient::in_words).unwrap_or_default();
    let horse = &exam.header.horse;
    match why {
        Foreign::OtherHorse => {
            let own = Patient { name: horse.name.clone(), id: horse.id.clone() }.in_words();
            format!("it shows `{patient}`, but the exam is of `{own}`")
        }
        Foreign::OtherThanStills => format!("it shows `{patient}`, but other stills show another animal"),
        Foreign::OtherAnimal => {
            let own = frame.animal.clone().unwrap_or_default();
            let listed = Animal { sex: horse.sex.clone(), ..Animal::default() };
            let others = exam.frames.iter().filter_map(|other| other.animal.as_ref());
            let other = others.chain([&listed]).find(|other| own.is_other_than(other)).cloned();
            let (own, other) = (own.told_apart_by(), other.unwrap_or_default().told_apart_by());
            let whose = if patient.is_empty() { String::new() } else { format!(" of `{patient}`") };
            format!("its file says {own}, but others{whose} say {other}")
        }
    }
}

fn frame_row(exam: &Exam, frame: &Frame, label: &StillLabel, paired: Option<&PairedFrame>) -> FrameRow {
    FrameRow {
        id: frame.id.clone(),
        file: frame.file.clone(),
        sha256: frame.sha256.clone(),
        saved_at: frame.saved_at,
        saved_at_exam: paired.and_then(|paired| instant(exam, paired.exam_s?)),
        place: label.place.clone(),
        status: label.status,
        confidence: label.confidence,
        call_seq: label.call_seq,
        doubt: Vec::new(),
        patient: frame.patient.clone(),
        lacks_picture: lacks_picture(frame),
        refused: None,
        copy_of: None,
        key: exam.key_choice(&frame.id).map(|(shown, _)| shown),
        frame_number: exam.frame_shown(&frame.id),
        rivals: paired.map(|paired| rivals(exam, paired)).unwrap_or_default(),
    }
}

/// Every change that was made by hand, in order.
#[must_use]
pub fn change_rows(exam: &Exam) -> Vec<ChangeRow> {
    let row = |logged: &LoggedChange| {
        let (call_seq, frame) = logged.review.change.target();
        ChangeRow {
            seq: logged.seq,
            at: logged.at,
            by: logged.review.by.clone(),
            what: logged.review.change.to_string(),
            was: logged.review.was.clone(),
            why: logged.review.why.clone(),
            call_seq,
            frame: frame.map(str::to_owned),
            takes_back: match logged.review.change {
                Change::TakeBack { seq } => Some(seq),
                _ => None,
            },
            taken_back_by: logged.taken_back_by,
        }
    };
    exam.changes.iter().map(row).collect()
}

/// What people wrote for the report, in its order.
#[must_use]
pub fn words_rows(exam: &Exam) -> Vec<WordsRow> {
    let row = |(logged, part, text): (&LoggedChange, WordsPart, &str)| WordsRow {
        seq: logged.seq,
        at: logged.at,
        by: logged.review.by.clone(),
        part,
        text: text.to_owned(),
    };
    exam.written().into_iter().map(row).collect()
}

fn rivals(exam: &Exam, paired: &PairedFrame) -> Vec<RivalLabel> {
    let rival = |(index, confidence, reason): &(usize, f64, String)| {
        let call = exam.calls.get(*index)?;
        Some(RivalLabel {
            call_seq: call.seq,
            place: call.context.place.clone(),
            confidence: *confidence,
            reason: reason.clone(),
        })
    };
    paired.rivals.iter().filter_map(rival).collect()
}

/// The instant `exam_s` seconds after the start, to the millisecond.
#[allow(clippy::cast_possible_truncation)] // a float too large becomes the largest integer, which is refused below
fn instant(exam: &Exam, exam_s: f64) -> Option<DateTime<Utc>> {
    let ahead = TimeDelta::try_milliseconds((exam_s * 1000.0).round() as i64)?;
    exam.header.started_at.checked_add_signed(ahead)
}
