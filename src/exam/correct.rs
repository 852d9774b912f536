//! Take-backs and corrections, and the context after them.
//!
//! Takes: the logged calls in order.
//! Gives: the same calls with withdrawals, corrections, contexts and problems filled in.
//! Never: removes a call; what was said stays, marked.
//! Tested in: `tests/it/fold.rs`.

use crate::clock::SAMPLE_RATE_HZ;
use crate::exam::call::{Act, Command, FindingSaid, Problem, View};
use crate::exam::logged::LoggedCall;
use crate::exam::seq::Seq;
use crate::language::closed_sets::Class;

/// "Not saved" reaches back over a change of view for so many seconds; our own choice.
const SAVE_REACH_S: u64 = 30;

/// Marks the calls that later calls take back.
pub(crate) fn take_back(calls: &mut [LoggedCall]) {
    for idx in 0..calls.len() {
        take_back_one(calls, idx);
    }
}

/// The call at `idx` takes back earlier ones, if that is what it does; gives their places.
pub(crate) fn take_back_one(calls: &mut [LoggedCall], idx: usize) -> Vec<usize> {
    if calls[idx].withdrawn_by.is_some() {
        return Vec::new();
    }
    let count = match calls[idx].act {
        Act::Command(Command::TakeBack { count }) => count,
        Act::Command(Command::TakeBackSave) => return take_back_save(calls, idx),
        _ => return Vec::new(),
    };
    let by = calls[idx].seq;
    let mut taken = Vec::new();
    for place in (0..idx).rev() {
        let earlier = &mut calls[place];
        if taken.len() == count {
            break;
        }
        if earlier.withdrawn_by.is_none() && can_be_taken_back(&earlier.act) {
            earlier.withdrawn_by = Some(by);
            taken.push(place);
        }
    }
    let left = count - taken.len();
    if left > 0 {
        calls[idx].problems.push(Problem::new(
            format!("{left} of the {count} calls to take back do not exist"),
            "nothing else was changed; check the calls before it",
        ));
    }
    taken
}

/// "Not saved": the last save, where it is of the view in force or was said just now of this limb.
fn take_back_save(calls: &mut [LoggedCall], idx: usize) -> Vec<usize> {
    let (by, at) = (calls[idx].seq, calls[idx].call.span.from);
    let last = calls[..idx].iter().rposition(|call| call.act.is_save());
    let is_meant = |place: &usize| {
        let save = &calls[*place];
        let standing = || calls[*place..idx].iter().filter(|call| counts(call));
        let views = || standing().filter_map(|call| view_of(&call.act));
        let is_recent = at.since(save.call.span.to) <= SAVE_REACH_S * u64::from(SAMPLE_RATE_HZ);
        let is_of_view = !views().any(|view| view.names_view());
        // One that was taken back was meant by this slip, too: the save before it is another view's.
        save.withdrawn_by.is_none() && (is_of_view || is_recent && !views().any(|view| view.names_limb()))
    };
    let Some(place) = last.filter(is_meant) else {
        calls[idx].problems.push(Problem::new(
            "no save of this view can be taken back",
            "nothing was changed; leave out the still of an earlier save at the desk",
        ));
        return Vec::new();
    };
    calls[place].withdrawn_by = Some(by);
    vec![place]
}

fn view_of(act: &Act) -> Option<&View> {
    match act {
        Act::View(view) => Some(view),
        _ => None,
    }
}

/// What a take-back can undo: not what was asked or answered, and no other command.
pub(crate) fn can_be_taken_back(act: &Act) -> bool {
    match act {
        Act::View(_)
        | Act::Setting(_)
        | Act::Finding(_)
        | Act::Value(_)
        | Act::Save
        | Act::Clip
        | Act::Identity { .. }
        | Act::Note { .. } => true,
        Act::Command(command) => *command == Command::ClockMark,
        Act::Question { .. } | Act::Answer { .. } => false,
    }
}

/// Carries corrections out where the call they correct was said.
pub(crate) fn correct_calls(calls: &mut [LoggedCall]) {
    for idx in 0..calls.len() {
        correct_one(calls, idx);
    }
}

/// The call at `idx` corrects earlier ones, if that is what it does; gives the place of the earliest.
pub(crate) fn correct_one(calls: &mut [LoggedCall], idx: usize) -> Option<usize> {
    if !calls[idx].call.corrects || calls[idx].withdrawn_by.is_some() {
        return None;
    }
    let (earlier, rest) = calls.split_at_mut(idx);
    let correction = &mut rest[0];
    let by = correction.seq;
    // What it did not correct when it was said it does not correct afterwards, whatever became of what it did.
    let within = |reach| earlier.iter().position(|call| call.seq >= reach).unwrap_or(earlier.len());
    let first = correction.call.reach.map_or(0, within);
    let earlier = &mut earlier[first..];
    let is_value = matches!(correction.call.act, Act::Value(_));
    let places = match correction.call.act.clone() {
        Act::View(view) => correct_view(earlier, &view, by),
        Act::Finding(finding) if finding.class == Class::Detail => {
            vec![correct_detail(earlier, &finding, by)]
        }
        act => vec![correct_last(earlier, &act, by)],
    };
    if places.contains(&None) {
        correction.problems.push(Problem::new(
            format!("`{}` corrects nothing said before it", correction.call.words),
            "nothing before it was changed, and it counts as said; say `disregard that` where it should not",
        ));
    }
    if let Some(last) = places.iter().flatten().max().copied().filter(|_| is_value)
        && has_moved(&earlier[last..])
    {
        // Told with the number that it changed: that one counts.
        earlier[last].problems.push(Problem::new(
            format!("`{}` corrected it from another place or structure", correction.call.words),
            "if the number is of that place, withdraw the correction and enter the number there",
        ));
    }
    places.into_iter().flatten().min().map(|place| first + place)
}

/// Whether another place or structure was said in these calls.
fn has_moved(calls: &[LoggedCall]) -> bool {
    let mut views = calls.iter().filter(|call| counts(call)).filter_map(|call| view_of(&call.act));
    views.any(|view| view.names_view() || view.structure.is_some())
}

/// Each part of the view replaces that part in the last call that named it; gives the places of those calls.
fn correct_view(earlier: &mut [LoggedCall], right: &View, by: Seq) -> Vec<Option<usize>> {
    let View {
        limb,
        zone,
        level_cm,
        level_from,
        to_zone,
        place: landmark,
        plane,
        offset,
        structure,
        step: _,
        pair: _,
        same_zone: _,
    } = right.clone();
    let place = |view: &View| view.zone.is_some() || view.level_cm.is_some() || view.place.is_some();
    let mut places = Vec::new();
    if limb.is_some() {
        let replace = |view: &mut View| view.limb.clone_from(&limb);
        places.push(correct_part(earlier, by, |view| view.limb.is_some(), replace));
    }
    if zone.is_some() || level_cm.is_some() || landmark.is_some() {
        places.push(correct_part(earlier, by, place, |view| {
            view.zone.clone_from(&zone);
            view.level_cm = level_cm;
            view.level_from.clone_from(&level_from);
            view.to_zone.clone_from(&to_zone);
            view.place.clone_from(&landmark);
        }));
    }
    if plane.is_some() {
        let replace = |view: &mut View| {
            view.plane.clone_from(&plane);
            view.offset.clone_from(&offset);
        };
        places.push(correct_part(earlier, by, |view| view.plane.is_some(), replace));
    }
    if let Some(structure) = &structure {
        places.push(correct_structure(earlier, structure, by));
    }
    places
}

fn correct_part(
    earlier: &mut [LoggedCall],
    by: Seq,
    named: impl Fn(&View) -> bool,
    replace: impl Fn(&mut View),
) -> Option<usize> {
    for (place, call) in earlier.iter_mut().enumerate().rev().filter(|(_, call)| counts(call)) {
        if let Act::View(view) = &mut call.act
            && named(view)
        {
            replace(view);
            call.corrected_by.push(by);
            return Some(place);
        }
    }
    None
}

/// The structure replaces the last one that was named, in a view or with a finding or a number; gives its place.
fn correct_structure(earlier: &mut [LoggedCall], right: &str, by: Seq) -> Option<usize> {
    for (place, call) in earlier.iter_mut().enumerate().rev().filter(|(_, call)| counts(call)) {
        let named = match &mut call.act {
            Act::View(view) => &mut view.structure,
            Act::Finding(finding) => &mut finding.structure,
            Act::Value(value) => &mut value.said.structure,
            _ => continue,
        };
        if named.is_some() {
            *named = Some(right.into());
            call.corrected_by.push(by);
            return Some(place);
        }
    }
    None
}

/// A degree or a position alone replaces that of the last finding; gives its place.
fn correct_detail(earlier: &mut [LoggedCall], right: &FindingSaid, by: Seq) -> Option<usize> {
    for (place, call) in earlier.iter_mut().enumerate().rev().filter(|(_, call)| counts(call)) {
        if let Act::Finding(finding) = &mut call.act
            && finding.class != Class::Quality
        {
            if right.degree.is_some() {
                finding.degree.clone_from(&right.degree);
            }
            if !right.position.is_empty() {
                finding.position.clone_from(&right.position);
            }
            call.corrected_by.push(by);
            return Some(place);
        }
    }
    None
}

/// The whole call replaces the last one of its kind; gives its place.
fn correct_last(earlier: &mut [LoggedCall], right: &Act, by: Seq) -> Option<usize> {
    let place = earlier.iter().rposition(|call| counts(call) && same_kind(&call.act, right))?;
    earlier[place].act = right.clone();
    earlier[place].corrected_by.push(by);
    Some(place)
}

/// Whether the one can be corrected by the other: a view by a view that names a part of it anew, the rest by its kind.
pub(crate) fn is_of_a_kind(said: &Act, right: &Act) -> bool {
    let (Act::View(said), Act::View(right)) = (said, right) else { return same_kind(said, right) };
    let place = |view: &View| view.zone.is_some() || view.level_cm.is_some() || view.place.is_some();
    let parts =
        |view: &View| [view.limb.is_some(), place(view), view.plane.is_some(), view.structure.is_some()];
    parts(said).into_iter().zip(parts(right)).any(|(said, right)| said && right)
}

fn same_kind(said: &Act, right: &Act) -> bool {
    match (said, right) {
        (Act::Setting(a), Act::Setting(b)) => a.slot == b.slot,
        (Act::Value(a), Act::Value(b)) => a.term == b.term,
        (Act::Finding(a), Act::Finding(b)) => (a.class == Class::Quality) == (b.class == Class::Quality),
        _ => false,
    }
}

/// Neither taken back nor itself a correction.
pub(crate) fn counts(call: &LoggedCall) -> bool {
    call.withdrawn_by.is_none() && !call.call.corrects
}
