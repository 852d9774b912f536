//! The exam while it happens: each line of its journal is taken as it is written.
//!
//! Takes: the journal's events, one after the other, and the protocols.
//! Gives: the `Exam` that folding the whole journal would give, at a cost that does not grow with the exam.
//! Never: I/O or a clock.
//! Tested in: `tests/it/live_exam.rs`, against `fold`.

use crate::exam::call::{Act, Call, Command, Problem};
use crate::exam::correct::{correct_calls, correct_one, take_back, take_back_one};
use crate::exam::event::{Event, ExamEvent, Header};
use crate::exam::fold::{Exam, FoldError, LoggedCall, fold_events};
use crate::exam::journal::Lines;
use crate::exam::seq::Seq;
use crate::exam::settle::{looks_back, set_in_force_from};
use crate::protocol::Protocols;

/// What a line did to the calls.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CallsChanged {
    /// Nothing.
    None,
    /// One call was added at the end.
    Added,
    /// Calls before the last one count otherwise now.
    Earlier,
}

/// An exam that grows.
#[derive(Debug, Clone)]
pub struct LiveExam {
    exam: Exam,
    events: Vec<ExamEvent>,
    /// What was wrong with the lines that were read.
    damage: Vec<(u64, Problem)>,
    next_seq: Seq,
    /// The calls after take-backs and corrections, before their zones are settled: what a change reaches back into.
    said: Vec<LoggedCall>,
}

impl LiveExam {
    /// Begins with the header of an exam and the line that holds it.
    #[must_use]
    pub fn begin(header: Header, line: ExamEvent) -> Self {
        let mut exam = Exam::new(header);
        exam.take(&line);
        let next_seq = line.seq.next();
        Self { exam, events: vec![line], damage: Vec::new(), next_seq, said: Vec::new() }
    }

    /// Begins with what a journal holds already.
    ///
    /// # Errors
    /// When the first line is missing.
    pub fn read(lines: Lines, protocols: &Protocols) -> Result<Self, FoldError> {
        let exam = fold_events(&lines.events, &lines.damage, protocols)?;
        let (said, next_seq) = (said(&exam.header, &lines.events), lines.next_seq());
        Ok(Self { exam, events: lines.events, damage: lines.damage, next_seq, said })
    }

    /// The exam up to the last line.
    #[must_use]
    pub fn exam(&self) -> &Exam {
        &self.exam
    }

    /// Number of the next line.
    #[must_use]
    pub fn next_seq(&self) -> Seq {
        self.next_seq
    }

    /// The earliest call that this one would correct, if it corrects any.
    #[must_use]
    pub fn corrected_by(&self, call: &Call) -> Option<&LoggedCall> {
        let mut said = self.said.clone();
        said.push(LoggedCall::new(self.next_seq, self.next_seq, self.exam.header.started_at, call.clone()));
        let earliest = correct_one(&mut said, self.said.len())?;
        self.said.get(earliest)
    }

    /// Takes the next line.
    pub fn take(&mut self, line: ExamEvent, protocols: &Protocols) -> CallsChanged {
        // What a person changed afterwards reaches anywhere: after that the whole is folded anew.
        let by_hand = !self.exam.changes.is_empty();
        // A save takes the place that is called after it.
        let looks_on = self.exam.header.save_first;
        let changed = match &line.event {
            Event::Call(_) if !by_hand && !looks_on => {
                self.exam.take(&line);
                self.said.extend(self.exam.calls.last().cloned());
                self.settle_last(protocols)
            }
            Event::Call(_)
            | Event::Review(_)
            | Event::Exam(_)
            | Event::Audio(_)
            | Event::Resumed { .. }
            | Event::Closed { .. } => None,
            _ => {
                self.exam.take(&line);
                Some(CallsChanged::None)
            }
        };
        self.next_seq = line.seq.next();
        self.events.push(line);
        changed.unwrap_or_else(|| {
            self.fold_anew(protocols);
            CallsChanged::Earlier
        })
    }

    /// The last call takes effect; none where only the whole exam shows what it does.
    ///
    /// Calls are said in the order of the journal and kept in the order of time: one that waited for an answer is written
    /// after the answer and comes before it.
    fn settle_last(&mut self, protocols: &Protocols) -> Option<CallsChanged> {
        let last = self.said.len() - 1;
        let mut sample = self.said[last].sample;
        if matches!(self.said[last].act, Act::Command(Command::TakeBack { .. } | Command::TakeBackSave)) {
            for touched in take_back_one(&mut self.said, last) {
                // Without a correction what it corrected is as it was said: that is a matter for the whole.
                if self.said[touched].call.corrects || !self.said[touched].corrected_by.is_empty() {
                    return None;
                }
                sample = sample.min(self.said[touched].sample);
            }
        }
        if let Some(earliest) = correct_one(&mut self.said, last) {
            let by = self.said[last].seq;
            let corrected = self.said[earliest..last].iter().filter(|call| call.corrected_by.contains(&by));
            sample = corrected.map(|call| call.sample).min().unwrap_or(sample).min(sample);
        }
        let exam = &mut self.exam;
        // The new call is at the end, wherever it belongs.
        exam.calls.pop();
        let from = exam.calls.partition_point(|call| call.sample < sample);
        let n_after = exam.calls.len() + 1 - from;
        let after = self.said.iter().rev().filter(|call| call.sample >= sample).take(n_after);
        let mut after: Vec<LoggedCall> = after.cloned().collect();
        after.reverse();
        after.sort_by_key(|call| call.sample);
        if after.iter().any(|call| looks_back(&call.act)) {
            return None;
        }
        exam.calls.truncate(from);
        exam.calls.append(&mut after);
        let before = from.checked_sub(1).map(|idx| exam.calls[idx].context.clone()).unwrap_or_default();
        exam.context = set_in_force_from(&mut exam.calls[from..], before, &exam.header, protocols);
        exam.place_notes(from);
        Some(if n_after == 1 { CallsChanged::Added } else { CallsChanged::Earlier })
    }

    fn fold_anew(&mut self, protocols: &Protocols) {
        match fold_events(&self.events, &self.damage, protocols) {
            Ok(exam) => {
                self.said = said(&exam.header, &self.events);
                self.exam = exam;
            }
            Err(_) => unreachable!("an exam that was begun has its first line"),
        }
    }
}

/// The calls of these lines after take-backs and corrections.
fn said(header: &Header, events: &[ExamEvent]) -> Vec<LoggedCall> {
    let mut exam = Exam::new(header.clone());
    events.iter().for_each(|line| exam.take(line));
    take_back(&mut exam.calls);
    correct_calls(&mut exam.calls);
    exam.calls
}
