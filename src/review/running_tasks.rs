//! What long work is doing now, for the line of the page that says so.
//!
//! Takes: word from the work itself, step by step.
//! Gives: the steps that are going on.
//! Never: a guess at how long it will take.
//! Tested in: here and in `tests/it/review_measure.rs`.

use std::sync::{Mutex, PoisonError};

use serde::Serialize;

/// What the work is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum TaskKind {
    /// The exam is read, or built anew after a change.
    Exam,
    /// The sound is drawn.
    Sound,
    /// A report is made.
    Report,
    /// Files for other systems are made.
    Export,
    /// Files go to another computer.
    Send,
}

/// What is done now, and how much of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub(super) struct TaskStep {
    kind: TaskKind,
    words: &'static str,
    done: usize,
    /// 0 where there is nothing to count.
    of: usize,
}

/// All work that is going on.
#[derive(Debug, Default)]
pub(super) struct RunningTasks {
    /// A free place is none.
    now: Mutex<Vec<Option<TaskStep>>>,
}

/// A piece of work; it is over when this is dropped.
#[derive(Debug)]
pub(super) struct DeskTask<'a> {
    running: &'a RunningTasks,
    place: usize,
    kind: TaskKind,
}

impl RunningTasks {
    /// A piece of work begins.
    pub(super) fn begin(&self, kind: TaskKind, words: &'static str) -> DeskTask<'_> {
        let mut now = self.now.lock().unwrap_or_else(PoisonError::into_inner);
        let place = now.iter().position(Option::is_none).unwrap_or(now.len());
        if place == now.len() {
            now.push(None);
        }
        now[place] = Some(TaskStep { kind, words, done: 0, of: 0 });
        DeskTask { running: self, place, kind }
    }

    /// What is going on, in the order in which it began where places allow.
    pub(super) fn steps(&self) -> Vec<TaskStep> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner).iter().flatten().copied().collect()
    }

    fn put(&self, place: usize, step: Option<TaskStep>) {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)[place] = step;
    }
}

impl DeskTask<'_> {
    /// The next step of it.
    pub(super) fn step(&self, words: &'static str) {
        self.count(words, 0, 0);
    }

    /// A step that can be counted.
    pub(super) fn count(&self, words: &'static str, done: usize, of: usize) {
        self.running.put(self.place, Some(TaskStep { kind: self.kind, words, done, of }));
    }
}

impl Drop for DeskTask<'_> {
    fn drop(&mut self) {
        self.running.put(self.place, None);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn work_is_reported_step_by_step_and_is_over_when_it_is_dropped() {
        let running = RunningTasks::default();
        let words =
            || running.steps().iter().map(|step| (step.words, step.done, step.of)).collect::<Vec<_>>();
        let one = running.begin(TaskKind::Exam, "reading");
        let two = running.begin(TaskKind::Report, "making");
        one.count("drawing", 2, 5);
        assert_eq!(words(), [("drawing", 2, 5), ("making", 0, 0)]);
        drop(one);
        assert_eq!(words(), [("making", 0, 0)]);
        let three = running.begin(TaskKind::Sound, "hearing");
        assert_eq!(words(), [("hearing", 0, 0), ("making", 0, 0)]);
        drop((two, three));
        assert!(words().is_empty());
    }
}
