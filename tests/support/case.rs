//! An exam with its pairing, as it is built up for one case of a test.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used, clippy::cast_possible_wrap)] // each binary uses its part

use chrono::TimeDelta;
use zonecall::exam::call::{Act, Problem};
use zonecall::exam::event::{CloseReason, Frame};
use zonecall::exam::fold::Exam;
use zonecall::frames::pairing::{ClockFit, PairedFrame, Pairing, Tie};
use zonecall::knowledge::assemble::record;
use zonecall::knowledge::record::Record;
use zonecall::protocol::Protocols;

use crate::support::{exam, exam_of, still};

/// An exam with its pairing.
pub struct Case {
    pub exam: Exam,
    pub pairing: Pairing,
}

/// A closed exam of utterances that follow each other every four seconds, without stills.
pub fn said(utterances: &[&str]) -> Case {
    closed(exam_of(utterances))
}

/// A closed exam of utterances given as (start in seconds, words), without stills.
pub fn timed(utterances: &[(f64, &str)]) -> Case {
    closed(exam(utterances))
}

fn closed(mut exam: Exam) -> Case {
    exam.closed = Some((exam.header.started_at, CloseReason::EndOfExam));
    Case { exam, pairing: Pairing::default() }
}

/// Something odd, as it is told of a line, an utterance or a file.
pub fn problem() -> Problem {
    Problem { message: "odd".to_owned(), help: "look".to_owned() }
}

impl Case {
    /// Adds a still that hangs on `tie`; the clocks are known.
    pub fn still(mut self, tie: Tie) -> Case {
        let number = self.exam.frames.len() + 1;
        let saved_at = self.exam.header.started_at + TimeDelta::seconds(7 * number as i64);
        self.exam.frames.push(Frame {
            file: format!("frames/{number}.dcm"),
            ..still::saved(&format!("1.2.{number}"), saved_at)
        });
        let rivals = if tie == Tie::Open { vec![(0, 0.5, "as near".to_owned())] } else { Vec::new() };
        self.pairing.frames.push(PairedFrame { exam_s: Some(1.5), tie, confidence: 0.9, rivals });
        let method = "median".to_owned();
        let clock = ClockFit { offset_s: 1.0, drift_ppm: 0.0, uncertainty_s: 0.5, pairs: 3, method };
        self.pairing.clock = Some(clock);
        self
    }

    /// A still for each save call.
    pub fn stills(mut self) -> Case {
        for call in self.saves() {
            self = self.still(Tie::Save(call));
        }
        self
    }

    pub fn saves(&self) -> Vec<usize> {
        let calls = self.exam.calls.iter().enumerate();
        calls.filter(|(_, call)| call.act == Act::Save).map(|(index, _)| index).collect()
    }

    pub fn but(mut self, change: impl FnOnce(&mut Case)) -> Case {
        change(&mut self);
        self
    }

    pub fn record(&self, protocols: &Protocols) -> Record {
        record(&self.exam, &self.pairing, protocols)
    }
}
