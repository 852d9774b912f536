//! Which views still wait for their still from the scanner.
//!
//! Takes: views as they are left, and stills as they arrive, each by its sample.
//! Gives: the views whose still should have come by now and has not.
//! Never: I/O, or a still taken for the view after it: what counts is when it was saved, not when its file came.
//! Tested in: `tests/it/dialogue.rs`, `tests/it/answer.rs`.

use std::time::Duration;

use crate::clock::{SAMPLE_RATE_HZ, Sample};
use crate::exam::fold::Exam;
use crate::exam::place::Place;
use crate::knowledge::rows::refused_in_words;
use crate::session::forgotten::Left;

/// The file of a still is read after it has come to rest, within so many samples.
const COMES_TO_REST: u64 = 2 * SAMPLE_RATE_HZ as u64;

/// What is known of the stills that arrive from the scanner.
#[derive(Debug, Clone)]
pub(super) struct AwaitedStills {
    /// Samples from saving a still to its file.
    delay: u64,
    /// When the latest were saved, by the sample; older ones belong to views that were dealt with.
    saved_at: Vec<Sample>,
    /// When all were saved, for the map of the views.
    all: Vec<Sample>,
    /// The sample at which the current view was called.
    entered: Sample,
    /// Views whose stills may still be on their way.
    left: Vec<Left>,
}

impl AwaitedStills {
    /// Follows the stills from the sample `now` on; the lines of `earlier` ones were written at these samples, when their
    /// files had come to rest.
    pub(super) fn new(delay: u64, now: Sample, earlier: &[Sample]) -> Self {
        let all = earlier.iter().map(|at| at.back(delay + COMES_TO_REST / 2)).collect();
        Self { delay, saved_at: Vec::new(), all, entered: now, left: Vec::new() }
    }

    /// A file appeared at the sample `at`; gives the view that its still belongs to, if that one was left already.
    pub(super) fn arrived(&mut self, at: Sample) -> Option<Place> {
        let saved_at = at.back(self.delay);
        self.saved_at.push(saved_at);
        self.all.push(saved_at);
        self.left.iter().find(|left| left.holds(saved_at)).map(|left| left.view.clone())
    }

    /// At the sample `at` the current view was left; it needs its still, if it is a `view` that can lack one.
    pub(super) fn leave(&mut self, view: Option<Place>, at: Sample) {
        let from = std::mem::replace(&mut self.entered, at);
        self.left.extend(view.map(|view| Left { view, from, to: at }));
    }

    /// The views that were current when the stills were saved, as the exam has them now.
    pub(super) fn views(&self, exam: &Exam) -> Vec<Place> {
        let view = |at: &Sample| {
            let call = exam.calls.iter().rev().find(|call| call.call.span.from <= *at)?;
            Some(call.context.place.clone())
        };
        self.all.iter().filter_map(view).collect()
    }

    /// How long the stills of the views that were just left can still take, if there are such views.
    pub(super) fn wait(&self) -> Option<Duration> {
        let wait = Duration::from_secs((self.delay + COMES_TO_REST) / u64::from(SAMPLE_RATE_HZ));
        (!self.left.is_empty()).then_some(wait)
    }

    /// The views that lack a still that should have come by the sample `now`; each is given once.
    pub(super) fn lacking_at(&mut self, now: Sample) -> Vec<Left> {
        let due = now.back(self.delay + COMES_TO_REST);
        self.minded(|left| left.to <= due)
    }

    /// All views that lack a still; each is given once.
    pub(super) fn lacking(&mut self) -> Vec<Left> {
        self.minded(|_| true)
    }

    fn minded(&mut self, is_due: impl Fn(&Left) -> bool) -> Vec<Left> {
        let (known, waiting): (Vec<Left>, Vec<Left>) = self.left.drain(..).partition(is_due);
        self.left = waiting;
        let lacking = known.into_iter().filter(|left| left.lacks_still(&self.saved_at)).collect();
        // Stills of views that were dealt with are asked for no more.
        let oldest = self.left.iter().map(|left| left.from).min().unwrap_or(self.entered);
        self.saved_at.retain(|at| *at >= oldest);
        lacking
    }
}

/// Why the still of this id was not taken, in words; none where it was.
pub(super) fn refused(exam: &Exam, id: &str) -> Option<String> {
    let (idx, frame) = exam.frames.iter().enumerate().find(|(_, frame)| frame.id == id)?;
    let why = exam.refused(&exam.frames).get(idx).copied().flatten()?;
    Some(refused_in_words(exam, frame, why))
}

/// The last part of a path, for the eye.
pub(super) fn file_name(path: &str) -> String {
    let name = std::path::Path::new(path).file_name();
    name.map_or_else(|| path.to_owned(), |name| name.to_string_lossy().into_owned())
}
