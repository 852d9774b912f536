//! People who save first and say afterwards what it was.
//!
//! Takes: the calls in the order of time, each with its place.
//! Gives: each save with the place that was called at once after it, where that is the person's habit.
//! Never: looks past another save, or changes a save that was taken back.
//! Tested in: `tests/it/fold.rs`.

use crate::clock::SAMPLE_RATE_HZ;
use crate::exam::call::{Act, View};
use crate::exam::logged::{Exam, LoggedCall};

/// A place that is called within so many samples after a save is that of its still.
const AT_ONCE: u64 = 4 * SAMPLE_RATE_HZ as u64;

/// Gives saves the place that follows them, where that is the habit.
pub(crate) fn place(exam: &mut Exam) {
    if !exam.header.save_first {
        return;
    }
    for idx in 0..exam.calls.len() {
        if let Some(next) = place_after(&exam.calls, idx) {
            exam.calls[idx].context = exam.calls[next].context.clone();
        }
    }
}

/// The call that names a place before the save at `idx` and after the save before it, if there is one.
pub(crate) fn place_before(calls: &[LoggedCall], idx: usize) -> Option<usize> {
    let before = calls.iter().enumerate().take(idx).rev().filter(|(_, call)| call.withdrawn_by.is_none());
    let mut since = before.take_while(|(_, call)| !call.act.is_save());
    since.find(|(_, call)| names_place(&call.act)).map(|(before, _)| before)
}

/// A limb alone is no place: it is called once, before all of its views.
pub(crate) fn names_place(act: &Act) -> bool {
    matches!(act, Act::View(View { zone, plane, level_cm, .. })
        if zone.is_some() || plane.is_some() || level_cm.is_some())
}

/// The call that names the place at once after the save at `idx`, if that is one.
pub(crate) fn place_after(calls: &[LoggedCall], idx: usize) -> Option<usize> {
    let save = calls.get(idx).filter(|call| call.act.is_save() && call.withdrawn_by.is_none())?;
    let after = calls.iter().enumerate().skip(idx + 1).filter(|(_, call)| call.withdrawn_by.is_none());
    let mut near = after.take_while(|(_, call)| call.sample.since(save.sample) <= AT_ONCE);
    let (next, call) = near.find(|(_, call)| matches!(call.act, Act::View(_)) || call.act.is_save())?;
    matches!(call.act, Act::View(_)).then_some(next)
}
