//! Labels that hang on a breath which was not understood.
//!
//! Takes: `Exam` and one of its calls.
//! Gives: the breath that may have moved on without the program.
//! Never: guesses what the breath meant; a person listens.
//! Tested in: `tests/knowledge.rs`.

use crate::exam::call::Act;
use crate::exam::event::Outcome;
use crate::exam::fold::{Breath, Exam, LoggedCall};
use crate::knowledge::coverage::live;

/// The most that a label is trusted which hangs on such a breath; our own choice.
pub(crate) const DOUBTFUL: f64 = 0.5;

/// The last breath before `call` that was not understood, if no zone or limb was called since.
///
/// It may have been the call of another view: then everything until the next zone has the wrong label.
/// A limb that was not understood is not seen past the next zone.
#[must_use]
pub(crate) fn unheard_before<'a>(exam: &'a Exam, call: &LoggedCall) -> Option<&'a Breath> {
    let moves = |act: &Act| matches!(act, Act::View(view) if view.limb.is_some() || view.zone.is_some());
    let last_move = live(exam)
        .filter(|earlier| earlier.seq <= call.seq && moves(&earlier.act))
        .map(|earlier| earlier.seq)
        .max()
        .unwrap_or(0);
    let between = |breath: &&Breath| breath.seq > last_move && breath.seq < call.seq;
    exam.breaths.iter().filter(between).rfind(|breath| breath.outcome == Outcome::NotUnderstood)
}
