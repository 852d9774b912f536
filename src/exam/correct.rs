//! Taking back and putting right, and what was in force after that.
//!
//! Takes: the logged calls in order.
//! Gives: the same calls with withdrawals, corrections, contexts and problems filled in.
//! Never: removes a call; what was said stays, marked.
//! Tested in: `tests/it/fold.rs`.

use crate::exam::call::{Act, Command, Problem, View};
use crate::exam::context::Context;
use crate::exam::event::Header;
use crate::exam::logged::LoggedCall;
use crate::protocol::{Protocols, convert};

/// Marks the calls that later calls take back.
pub(crate) fn take_back(calls: &mut [LoggedCall]) {
    for idx in 0..calls.len() {
        take_back_one(calls, idx);
    }
}

/// The call at `idx` takes back earlier ones, if that is what it does; gives their places.
pub(crate) fn take_back_one(calls: &mut [LoggedCall], idx: usize) -> Vec<usize> {
    let Act::Command(Command::TakeBack { count }) = calls[idx].act else { return Vec::new() };
    if calls[idx].withdrawn_by.is_some() {
        return Vec::new();
    }
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
        calls[idx].problems.push(Problem {
            message: format!("{left} of the {count} calls to take back do not exist"),
            help: "nothing else was changed; check the calls before it".to_owned(),
        });
    }
    taken
}

fn can_be_taken_back(act: &Act) -> bool {
    match act {
        Act::View(_) | Act::Setting(_) | Act::Finding(_) | Act::Value(_) | Act::Save | Act::Note { .. } => {
            true
        }
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
    let places = match correction.call.act.clone() {
        Act::View(view) => correct_view(earlier, &view, by),
        act => vec![correct_last(earlier, &act, by)],
    };
    if places.contains(&None) {
        correction.problems.push(Problem {
            message: format!("`{}` corrects nothing that was said before", correction.call.words),
            help: "nothing was changed; say the phrase without `correction`".to_owned(),
        });
    }
    places.into_iter().flatten().min()
}

/// Each part of the view replaces that part in the last call that named it; gives the places of those calls.
fn correct_view(earlier: &mut [LoggedCall], right: &View, by: u64) -> Vec<Option<usize>> {
    let View { limb, zone, level_cm, plane, structure } = right.clone();
    let place = |view: &View| view.zone.is_some() || view.level_cm.is_some();
    let mut places = Vec::new();
    if limb.is_some() {
        let replace = |view: &mut View| view.limb.clone_from(&limb);
        places.push(correct_part(earlier, by, |view| view.limb.is_some(), replace));
    }
    if zone.is_some() || level_cm.is_some() {
        places.push(correct_part(earlier, by, place, |view| {
            view.zone.clone_from(&zone);
            view.level_cm = level_cm;
        }));
    }
    if plane.is_some() {
        let replace = |view: &mut View| view.plane.clone_from(&plane);
        places.push(correct_part(earlier, by, |view| view.plane.is_some(), replace));
    }
    if structure.is_some() {
        let replace = |view: &mut View| view.structure.clone_from(&structure);
        places.push(correct_part(earlier, by, |view| view.structure.is_some(), replace));
    }
    places
}

fn correct_part(
    earlier: &mut [LoggedCall],
    by: u64,
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

/// The whole call replaces the last one of its kind; gives its place.
fn correct_last(earlier: &mut [LoggedCall], right: &Act, by: u64) -> Option<usize> {
    let place = earlier.iter().rposition(|call| counts(call) && same_kind(&call.act, right))?;
    earlier[place].act = right.clone();
    earlier[place].corrected_by.push(by);
    Some(place)
}

fn same_kind(said: &Act, right: &Act) -> bool {
    match (said, right) {
        (Act::Setting(a), Act::Setting(b)) => a.slot == b.slot,
        (Act::Value(a), Act::Value(b)) => a.term == b.term,
        (Act::Finding(a), Act::Finding(b)) => (a.class == "quality") == (b.class == "quality"),
        _ => false,
    }
}

/// Neither taken back nor itself a correction.
fn counts(call: &LoggedCall) -> bool {
    call.withdrawn_by.is_none() && !call.call.corrects
}

/// Fills in what was in force after each call, and gives what is in force at the end.
pub(crate) fn set_in_force(calls: &mut [LoggedCall], header: &Header, protocols: &Protocols) -> Context {
    set_in_force_from(calls, Context::default(), header, protocols)
}

/// The same from the middle of an exam, with the context before the first of the calls.
pub(crate) fn set_in_force_from(
    calls: &mut [LoggedCall],
    mut context: Context,
    header: &Header,
    protocols: &Protocols,
) -> Context {
    for call in calls.iter_mut() {
        if counts(call) {
            if let Act::View(view) = &mut call.act {
                let limb = view.limb.clone().or_else(|| context.limb.clone());
                let length_cm = limb.as_deref().and_then(|limb| length_of(limb, &context, header, protocols));
                let problem = settle_zone(view, limb.as_deref(), header, length_cm, protocols);
                call.problems.extend(problem);
            }
            context.apply(&call.act);
        }
        call.context = context.clone();
    }
    context
}

/// The length of a limb in centimetres: as it was said last, else as it was set for the exam.
fn length_of(limb: &str, context: &Context, header: &Header, protocols: &Protocols) -> Option<f64> {
    let said = || {
        let slot = protocols.length_setting(limb, &header.schemes)?;
        let amount = context.settings.get(slot)?.amount.as_ref()?;
        convert(amount.number, amount.unit.as_deref().unwrap_or("cm"), "cm").filter(|cm| *cm > 0.0)
    };
    let set = || header.limb_lengths_cm.get(&protocols.limb(limb)?.group).copied();
    said().or_else(set)
}

/// Turns a level into its zone, and checks that the limb has the zone.
fn settle_zone(
    view: &mut View,
    limb: Option<&str>,
    header: &Header,
    length_cm: Option<f64>,
    protocols: &Protocols,
) -> Option<Problem> {
    if view.zone.is_none() && view.level_cm.is_none() {
        return None;
    }
    let Some(limb) = limb else {
        return Some(Problem {
            message: "a zone was called before any limb".to_owned(),
            help: "say the limb first, or say `correction` and the limb afterwards".to_owned(),
        });
    };
    if let Some(level_cm) = view.level_cm {
        match protocols.zone_of_level(limb, level_cm, &header.schemes, length_cm) {
            Ok(zone) => view.zone = Some(zone),
            Err(level) => return Some(Problem { message: level.message, help: level.help }),
        }
    }
    let zone = view.zone.as_deref()?;
    if protocols.scheme_for(limb, zone, &header.schemes).is_some() {
        return None;
    }
    Some(Problem {
        message: format!("zone {zone} is not a zone of {limb} in the schemes of this exam"),
        help: "check the limb and the zone; say `correction` and the right one".to_owned(),
    })
}
