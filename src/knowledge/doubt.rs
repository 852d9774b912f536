//! Labels that hang on a breath which was not understood.
//!
//! Takes: `Exam`.
//! Gives: for each call in doubt, the breath that may have moved on without the program.
//! Never: guesses what the breath meant; a person listens.
//! Tested in: `tests/knowledge.rs`.

use std::collections::{BTreeMap, BTreeSet};

use crate::exam::call::Act;
use crate::exam::fold::{Breath, Exam};
use crate::knowledge::coverage::live;

/// The most that a label is trusted which hangs on such a breath; our own choice.
pub(crate) const DOUBTFUL: f64 = 0.5;

/// By `seq` of the call: the last breath before it that was not understood, if no zone or limb was called since.
///
/// It may have been the call of another view: then everything until the next zone has the wrong label.
/// A limb that was not understood is not seen past the next zone.
#[must_use]
pub(crate) fn doubtful(exam: &Exam) -> BTreeMap<u64, &Breath> {
    let moves = |act: &Act| matches!(act, Act::View(view) if view.limb.is_some() || view.zone.is_some());
    let moving: BTreeSet<u64> = live(exam).filter(|call| moves(&call.act)).map(|call| call.seq).collect();
    let mut unheard = exam.breaths.iter().filter(|breath| breath.is_open()).peekable();
    let mut last = None;
    let mut found = BTreeMap::new();
    // Calls and breaths both stand in the order of the journal.
    for call in &exam.calls {
        while let Some(breath) = unheard.next_if(|breath| breath.seq < call.seq) {
            last = Some(breath);
        }
        if moving.contains(&call.seq) {
            last = None;
        }
        if let Some(breath) = last {
            found.insert(call.seq, breath);
        }
    }
    found
}
