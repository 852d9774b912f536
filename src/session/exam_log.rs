//! The journal of the exam that is going on, in memory: each line gets its number and instant, and takes effect.
//!
//! Takes: events at a sample.
//! Gives: the lines to be written, the exam as it is now, and how far its views are.
//! Never: I/O, or a second look at lines that were taken.
//! Tested in: `tests/it/dialogue.rs`, `tests/it/live_exam.rs`.

use std::sync::Arc;

use chrono::{DateTime, Utc};

use crate::clock::{Anchor, Sample};
use crate::exam::call::Call;
use crate::exam::event::{Event, ExamEvent, Header};
use crate::exam::fold::{Exam, FoldError, LoggedCall};
use crate::exam::journal::Lines;
use crate::exam::live_exam::{CallsChanged, LiveExam};
use crate::exam::seq::Seq;
use crate::knowledge::progress::Progress;
use crate::protocol::Protocols;

/// An exam and its next line.
#[derive(Debug, Clone)]
pub(super) struct ExamLog {
    exam: LiveExam,
    progress: Progress,
    anchor: Anchor,
    protocols: Arc<Protocols>,
}

impl ExamLog {
    /// Begins a new exam; gives its first line, too.
    pub(super) fn begin(header: Header, protocols: Arc<Protocols>) -> (Self, ExamEvent) {
        let anchor = Anchor { wall: header.started_at, monotonic_ns: 0, sample: Sample::FIRST };
        let event = Event::Exam(Box::new(header.clone()));
        let line =
            ExamEvent { seq: Seq::FIRST, at: anchor.wall, sample: Sample::FIRST, event, prev: String::new() };
        let exam = LiveExam::begin(header, line.clone());
        (Self { exam, progress: Progress::default(), anchor, protocols }, line)
    }

    /// Goes on with the exam of these lines; instants are counted from `anchor`, which is not written yet.
    pub(super) fn resume(lines: Lines, anchor: Anchor, protocols: Arc<Protocols>) -> Result<Self, FoldError> {
        let exam = LiveExam::read(lines, &protocols)?;
        let progress = Progress::of(exam.exam());
        Ok(Self { exam, progress, anchor, protocols })
    }

    pub(super) fn exam(&self) -> &Exam {
        self.exam.exam()
    }

    pub(super) fn progress(&self) -> &Progress {
        &self.progress
    }

    pub(super) fn protocols(&self) -> &Protocols {
        &self.protocols
    }

    /// The earliest call that this one would correct, if it corrects any.
    pub(super) fn corrected_by(&self, call: &Call) -> Option<&LoggedCall> {
        self.exam.corrected_by(call)
    }

    /// Its line.
    pub(super) fn reach_of(&self, call: &Call) -> Option<Seq> {
        self.corrected_by(call).map(|earliest| earliest.seq)
    }

    /// The number that the next line gets.
    pub(super) fn next_seq(&self) -> Seq {
        self.exam.next_seq()
    }

    pub(super) fn instant_of(&self, sample: Sample) -> DateTime<Utc> {
        self.anchor.instant_of(sample)
    }

    /// Takes an event at `sample`; gives the line to be written, and what it did to the calls.
    pub(super) fn append(&mut self, sample: Sample, event: Event) -> (ExamEvent, CallsChanged) {
        let (at, sample) = match &event {
            Event::Anchor(anchor) => (anchor.wall, anchor.sample),
            _ => (self.anchor.instant_of(sample), sample),
        };
        let line = ExamEvent { seq: self.exam.next_seq(), at, sample, event, prev: String::new() };
        let changed = self.exam.take(line.clone(), &self.protocols);
        match changed {
            CallsChanged::None => {}
            CallsChanged::Added => {
                if let Some(call) = self.exam.exam().calls.last() {
                    self.progress.add(call);
                }
            }
            CallsChanged::Earlier => self.progress = Progress::of(self.exam.exam()),
        }
        if let (Event::Anchor(read), Some(anchor)) = (&line.event, self.exam.exam().timeline.anchors.last()) {
            // As it counts: a clock that was set meanwhile moves nothing.
            self.anchor = if anchor.sample == read.sample { anchor.clone() } else { read.clone() };
        }
        (line, changed)
    }
}
