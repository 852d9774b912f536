//! Puts the record together.
//!
//! Takes: `Exam`, `Pairing` and `Protocols`, and what the measures are held against.
//! Gives: `Record`.
//! Never: I/O or a clock; equal input gives equal bytes.
//! Tested in: `tests/it/knowledge.rs`.

use crate::exam::animal::Animal;
use crate::exam::closed_sets::ExamStatus;
use crate::exam::fold::{Exam, Stamped};
use crate::exam::review::Change;
use crate::exam::seq::Seq;
use crate::frames::pairing::Pairing;
use crate::knowledge::cautions::CAUTIONS;
use crate::knowledge::check::check;
use crate::knowledge::coverage::coverage;
use crate::knowledge::doubt::put_doubts;
use crate::knowledge::label::labels;
use crate::knowledge::measure::{Against, Occasion, Readings, measure};
use crate::knowledge::notes::note_rows;
use crate::knowledge::record::{ClockRow, ExamInfo, RECORD_SCHEMA, Record, SignedRow};
use crate::knowledge::rows::{OpposedLines, call_rows, change_rows, entry_rows, frame_rows, words_rows};
use crate::knowledge::settled::note_settled;
use crate::knowledge::time_stamp_row::StampRow;
use crate::protocol::Protocols;

/// The record of an exam, held against nothing; equal input gives an equal record.
#[must_use]
pub fn record(exam: &Exam, pairing: &Pairing, protocols: &Protocols) -> Record {
    record_against(exam, pairing, protocols, &Against::default())
}

/// The record of an exam, its measures held against what was named.
#[must_use]
pub fn record_against(exam: &Exam, pairing: &Pairing, protocols: &Protocols, against: &Against) -> Record {
    let labels = labels(exam, pairing);
    let mut frames = frame_rows(exam, pairing, &labels);
    let coverage = coverage(exam, &frames, protocols);
    let header = &exam.header;
    let occasion =
        Occasion { at: header.started_at, utc_offset_s: header.utc_offset_s, schemes: &header.schemes };
    let readings = Readings::of(exam, &labels, protocols);
    let measures = measure(&readings, &occasion, against, protocols);
    let mut findings = check(exam, pairing, &frames, &coverage, &measures, protocols);
    note_settled(exam, &mut findings, &frames, protocols);
    let opposed = OpposedLines::of(exam, protocols);
    let mut calls = call_rows(exam, &opposed, protocols);
    put_doubts(exam, &findings, protocols, &mut frames, &mut calls);
    Record {
        schema: RECORD_SCHEMA.to_owned(),
        exam: exam_info(exam),
        calls,
        entries: entry_rows(exam, &opposed, protocols),
        changes: change_rows(exam),
        words: words_rows(exam),
        notes: note_rows(exam),
        frames,
        clock: clock_row(pairing),
        coverage,
        measures,
        findings,
        cautions: CAUTIONS.to_owned(),
    }
}

fn exam_info(exam: &Exam) -> ExamInfo {
    let header = &exam.header;
    ExamInfo {
        id: header.id.clone(),
        started_at: header.started_at,
        ended_at: exam.closed.as_ref().map(|closed| closed.0),
        utc_offset_s: header.utc_offset_s,
        horse: header.horse.clone(),
        in_stills: in_stills(exam),
        order: header.order.clone(),
        person: header.person.clone(),
        schemes: header.schemes.clone(),
        engine: header.engine.name.clone(),
        status: if exam.is_signed { ExamStatus::Signed } else { ExamStatus::Draft },
        signed: exam.signed.as_ref().map(|logged| SignedRow {
            seq: logged.seq,
            at: logged.at,
            by: logged.signed.by.clone(),
            licence: logged.signed.licence.clone(),
            key: logged.signed.key.clone(),
            changes_since: changes_since(exam, logged.seq),
            taken_back_by: logged.taken_back_by,
            time_stamp: match &logged.stamp {
                Some(Stamped::Holds { at, by }) => Some(StampRow { at: *at, by: by.clone() }),
                _ => None,
            },
        }),
    }
}

/// What was typed, traced, decided or taken in after this line.
fn changes_since(exam: &Exam, signed: Seq) -> usize {
    let changes = exam.changes.iter().map(|change| change.seq);
    let entries = exam.entries.iter().map(|entry| entry.seq);
    changes.chain(entries).filter(|seq| *seq > signed).count()
}

/// What the stills of this exam say of its horse; those of another one say nothing of it.
fn in_stills(exam: &Exam) -> Option<Animal> {
    let refused = exam.refused(&exam.frames);
    let counted = exam.frames.iter().zip(refused).filter(|(frame, refused)| {
        let said = exam.said_of_still(&frame.id).map(|logged| &logged.review.change);
        refused.is_none() && !matches!(said, Some(Change::LeaveOut { .. }))
    });
    let stated: Vec<&Animal> = counted.filter_map(|(frame, _)| frame.animal.as_ref()).collect();
    Animal::agreed(&stated).known()
}

fn clock_row(pairing: &Pairing) -> Option<ClockRow> {
    pairing.clock.as_ref().map(|fit| ClockRow {
        offset_s: fit.offset_s,
        drift_ppm: fit.drift_ppm,
        uncertainty_s: fit.uncertainty_s,
        method: fit.method.clone(),
        pairs: fit.pairs,
    })
}
