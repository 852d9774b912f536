//! When each sample was recorded, whatever became of the computer's clock meanwhile.
//!
//! Takes: the journal's lines in order.
//! Gives: anchors that never step, and where a reading of the clocks did not fit the one before.
//! Never: lets a clock that was set move a call: after the first reading, time is what the monotonic clock says.
//! Tested in: `tests/it/clocks.rs`.

use chrono::{DateTime, TimeDelta, Utc};

use crate::clock::{Anchor, Sample, WallQuality};
use crate::exam::event::{Event, ExamEvent};
use crate::exam::seq::Seq;

/// Two readings of the clocks that differ by more do not fit, in milliseconds: sound comes in lumps of less.
const STEP_MS_MIN: i64 = 1000;
/// An exam that goes on after so many days does so by a clock that was set meanwhile.
const AWAY_DAYS_MAX: i64 = 400;

/// What did not fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JumpKind {
    /// The computer's clock was set, or the computer slept.
    Wall,
    /// The sound does not last as long as the time in which it was recorded, and no loss was reported.
    Sound,
}

/// A reading of the clocks that did not fit the one before.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockJump {
    /// The line of the anchor.
    pub seq: Seq,
    /// The sample that was being recorded.
    pub sample: Sample,
    /// When that was, by the clock before it jumped.
    pub at: DateTime<Utc>,
    /// How far the clock or the sound leapt ahead, in milliseconds; below 0 where it fell behind.
    pub by_ms: i64,
    /// What did not fit.
    pub kind: JumpKind,
}

/// The anchors of an exam as they count, and the jumps between them.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Timeline {
    /// In the order of their samples.
    pub anchors: Vec<Anchor>,
    /// In the order of the journal.
    pub jumps: Vec<ClockJump>,
    /// When listening began anew, after a restart of the program or with a further recording: what the clock did until then
    /// nobody knows.
    pub restarts: Vec<DateTime<Utc>>,
    /// Since the program began to listen: the first reading of both clocks, and how far the wall clock is ahead now.
    run: Option<Run>,
    /// Sound was lost since the last anchor, so the next one is expected to lie further on.
    lost: bool,
    /// The next anchor is the first one of the exam or after it was resumed.
    begins: bool,
    /// It is heard from recordings; a microphone is timed by the computer's clock.
    is_recorded: bool,
    /// A recording was opened.
    has_sound: bool,
    /// Where a further recording begins; earlier versions read no clock there, and took it to follow at once.
    further: Option<Sample>,
}

#[derive(Debug, Clone, PartialEq)]
struct Run {
    first: Anchor,
    ahead_ms: i64,
}

impl Timeline {
    /// Nothing was read yet.
    #[must_use]
    pub fn new() -> Timeline {
        Timeline { begins: true, ..Timeline::default() }
    }

    /// Takes the next line of the journal.
    pub fn take(&mut self, line: &ExamEvent) {
        match &line.event {
            Event::Exam(header) => self.is_recorded = header.wall != WallQuality::Computer,
            // How long the break between two recordings was, only their own clocks can say.
            Event::Audio(file) => {
                let is_further = std::mem::replace(&mut self.has_sound, true) && self.is_recorded;
                self.further = is_further.then_some(file.first_sample);
            }
            Event::Resumed { .. } => (self.begins, self.is_recorded) = (true, false),
            Event::AudioLost { .. } => self.lost = true,
            Event::Anchor(anchor) => self.anchor(line.seq, anchor),
            _ => {}
        }
    }

    /// Takes a reading of the clocks; gives it as it counts.
    pub fn read(&mut self, seq: Seq, anchor: &Anchor) -> Anchor {
        self.anchor(seq, anchor);
        self.anchors.last().unwrap_or(anchor).clone()
    }

    fn anchor(&mut self, seq: Seq, anchor: &Anchor) {
        let (begins, lost) = (std::mem::take(&mut self.begins), std::mem::take(&mut self.lost));
        let Some(last) = self.anchors.last() else {
            self.anchors.push(anchor.clone());
            return;
        };
        if anchor.sample < last.sample {
            return;
        }
        let due = last.instant_of(anchor.sample);
        let is_further = self.further.take() == Some(anchor.sample);
        if begins || is_further {
            self.run = None;
            // Any time may have passed, but none has passed backwards, and no years have.
            let by_ms = (anchor.wall - due).num_milliseconds();
            let is_far = by_ms > TimeDelta::days(AWAY_DAYS_MAX).num_milliseconds();
            if by_ms < -STEP_MS_MIN || is_far {
                let kind = JumpKind::Wall;
                self.jumps.push(ClockJump { seq, sample: anchor.sample, at: due, by_ms, kind });
            }
            let wall = if is_far { due } else { anchor.wall.max(due) };
            self.restarts.push(wall);
            self.anchors.push(Anchor { wall, ..anchor.clone() });
            return;
        }
        let wall = match &mut self.run {
            Some(run) => {
                let wall = run.first.wall + since(&run.first, anchor);
                let ahead_ms = (anchor.wall - wall).num_milliseconds();
                let by_ms = ahead_ms - run.ahead_ms;
                if by_ms.abs() > STEP_MS_MIN {
                    run.ahead_ms = ahead_ms;
                    let kind = JumpKind::Wall;
                    self.jumps.push(ClockJump { seq, sample: anchor.sample, at: wall, by_ms, kind });
                }
                wall
            }
            None => self.first_of_run(seq, anchor, due, lost),
        };
        let by_ms = (wall - due).num_milliseconds();
        if by_ms.abs() > STEP_MS_MIN && !lost {
            let kind = JumpKind::Sound;
            self.jumps.push(ClockJump { seq, sample: anchor.sample, at: due, by_ms, kind });
        }
        self.anchors.push(Anchor { wall, ..anchor.clone() });
    }

    /// The first reading after the one with which hearing began ties the monotonic clock to the sound.
    fn first_of_run(&mut self, seq: Seq, anchor: &Anchor, due: DateTime<Utc>, lost: bool) -> DateTime<Utc> {
        let by_ms = (anchor.wall - due).num_milliseconds();
        let is_jump = by_ms.abs() > STEP_MS_MIN && !lost;
        let wall = if is_jump { due } else { anchor.wall };
        if is_jump {
            self.jumps.push(ClockJump { seq, sample: anchor.sample, at: due, by_ms, kind: JumpKind::Wall });
        }
        let ahead_ms = (anchor.wall - wall).num_milliseconds();
        self.run = Some(Run { first: Anchor { wall, ..anchor.clone() }, ahead_ms });
        wall
    }
}

/// The time between two readings by the monotonic clock.
fn since(first: &Anchor, anchor: &Anchor) -> TimeDelta {
    let nanos = i128::from(anchor.monotonic_ns) - i128::from(first.monotonic_ns);
    TimeDelta::nanoseconds(i64::try_from(nanos).unwrap_or(i64::MAX))
}
