//! Rules about how the exam was made: stance, settings, order, the other limb.
//!
//! Takes: the evidence of an exam, and the habits in `rules.toml`.
//! Gives: hits in the order of the calls.
//! Never: calls a habit of another practice a mistake; each can be set or switched off.
//! Tested in: `tests/it/rules/habits.rs`.

use std::collections::BTreeSet;

use crate::exam::call::{Act, Setting, View};
use crate::exam::fold::LoggedCall;
use crate::exam::save_first::{names_place, place_after, place_before};
use crate::knowledge::belongs::is_view;
use crate::knowledge::check::evidence::{Evidence, Hit};
use crate::knowledge::check::lesions::is_sure_lesion;
use crate::knowledge::step::Step;
use crate::protocol::convert;

/// Fewer saves than this show no habit.
const SAVES_MIN: usize = 5;

fn in_force<'a>(call: &'a LoggedCall, slot: &str) -> Option<&'a Setting> {
    call.context.settings.get(slot)
}

fn state<'a>(call: &'a LoggedCall, slot: &str) -> Option<&'a str> {
    in_force(call, slot)?.state.as_deref()
}

/// Values and stills taken without weight on the leg: once for each view.
pub(super) fn off_weight(evidence: &Evidence) -> Vec<Hit> {
    let stance = &evidence.protocols.rules.habits.stance;
    let mut seen = BTreeSet::new();
    let mut hits = Vec::new();
    for call in
        evidence.exam.standing_calls().filter(|call| call.act.is_save() || matches!(call.act, Act::Value(_)))
    {
        if state(call, &stance.setting) != Some(&stance.off_weight) {
            continue;
        }
        let place = (&call.context.place.limb, &call.context.place.zone, &call.context.place.plane);
        if seen.insert(place) {
            let message = "this view was taken with the leg lifted; its size and brightness are not compared \
                           with views taken under load";
            hits.push(Hit::call(call, message.to_owned()));
        }
    }
    hits
}

/// A structure named while a setting is in another state than the practice uses for it.
pub(super) fn setting_for(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls() {
        let Act::View(view) = &call.act else { continue };
        for habit in &evidence.protocols.rules.habits.setting_for {
            let Some(state) = state(call, &habit.setting) else { continue };
            if view.structure.as_ref() == Some(&habit.structure) && state != habit.state {
                let known = evidence.protocols.structure(&habit.structure);
                let name = known.map_or(habit.structure.as_str(), |known| &known.name);
                let message = format!(
                    "the {name} was scanned with {} {state}; the habit set here for it is {}",
                    habit.setting, habit.state
                );
                hits.push(Hit::call(call, message));
            }
        }
    }
    hits
}

/// Asked once for an exam in which anything was looked at.
pub(super) fn marker_never_said(evidence: &Evidence) -> Vec<Hit> {
    let slot = &evidence.protocols.rules.habits.marker_setting;
    let said = evidence
        .exam
        .standing_calls()
        .any(|call| matches!(&call.act, Act::Setting(setting) if setting.slot == *slot));
    if said || !evidence.exam.standing_calls().any(is_view) {
        return Vec::new();
    }
    let usual: Vec<String> = evidence
        .protocols
        .planes
        .iter()
        .map(|plane| format!("{} in {} views", plane.marker.in_words(None), plane.name))
        .collect();
    vec![Hit::new(format!("the direction of the {slot} was never said; assumed: {}", usual.join(", ")))]
}

/// On which side of the saves their places were called, where the exam takes them to be on the other.
///
/// Where each place is called between two saves either side may be meant; the first save or the last one shows which.
pub(super) fn save_habit(evidence: &Evidence) -> Vec<Hit> {
    let calls = &evidence.exam.calls;
    let is_save = |call: &LoggedCall| call.act.is_save() && call.withdrawn_by.is_none();
    let saves: Vec<usize> = (0..calls.len()).filter(|idx| is_save(&calls[*idx])).collect();
    let is_after = |save: &&usize| place_after(calls, **save).is_some_and(|at| names_place(&calls[at].act));
    let after = saves.iter().filter(is_after).count();
    let before = saves.iter().filter(|save| place_before(calls, **save).is_some()).count();
    let (taken, other) = if evidence.exam.header.save_first { (after, before) } else { (before, after) };
    if saves.len() < SAVES_MIN || 2 * other <= saves.len() || other <= taken {
        return Vec::new();
    }
    let n_saves = saves.len();
    let message = if evidence.exam.header.save_first {
        format!(
            "{other} of {n_saves} saves had their place called before them, and {taken} within seconds after them: if you \
             say the place first and save afterwards, the labels are those of the view after; listen without --save-first"
        )
    } else {
        format!(
            "{other} of {n_saves} saves were followed by a place within seconds, and {taken} had one called before them: if \
             you save first and say the place afterwards, the labels are those of the view before; listen with --save-first"
        )
    };
    vec![Hit::new(message)]
}

pub(super) fn depth_unusual(evidence: &Evidence) -> Vec<Hit> {
    let depth = &evidence.protocols.rules.habits.depth;
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls() {
        let Act::Setting(setting) = &call.act else { continue };
        let Some(amount) = setting.amount.as_ref().filter(|_| setting.slot == depth.setting) else {
            continue;
        };
        let unit = amount.unit.as_deref().unwrap_or("cm");
        let Some(cm) = convert(amount.number, unit, "cm") else { continue };
        if !(depth.from_cm..=depth.to_cm).contains(&cm) {
            let message =
                format!("{} {cm} cm is outside {} to {} cm", depth.setting, depth.from_cm, depth.to_cm);
            hits.push(Hit::call(call, message));
        }
    }
    hits
}

/// A level, while nobody said or set how long the limb is: once for a group of limbs.
pub(super) fn level_unscaled(evidence: &Evidence) -> Vec<Hit> {
    let (header, protocols) = (&evidence.exam.header, evidence.protocols);
    let mut seen = BTreeSet::new();
    let mut hits = Vec::new();
    for call in evidence.exam.standing_calls() {
        let Act::View(View { level_cm: Some(level_cm), .. }) = &call.act else { continue };
        let Some(limb) = call.context.place.limb.as_ref().and_then(|code| protocols.limb(code)) else {
            continue;
        };
        let scheme =
            protocols.schemes_for(&limb.code, &header.schemes).into_iter().find(|scheme| !scheme.when_called);
        let Some((scheme, table_cm)) = scheme.and_then(|scheme| Some((scheme, scheme.length_cm?))) else {
            continue;
        };
        let said =
            scheme.length_setting.as_ref().is_some_and(|slot| call.context.settings.contains_key(slot));
        if said || header.limb_lengths_cm.contains_key(&limb.group) || !seen.insert(&limb.group) {
            continue;
        }
        let message = format!(
            "level {level_cm} cm was placed by the table for a limb of {table_cm} cm; on a pony that is too high: say or \
             set the length of the limb"
        );
        hits.push(Hit::call(call, message));
    }
    hits
}

/// A view along the fibres, in a zone with a lesion or in any if so set, without a sweep in that zone.
pub(super) fn sweep_missing(evidence: &Evidence) -> Vec<Hit> {
    let sweep = &evidence.protocols.rules.habits.sweep;
    let mut hits = Vec::new();
    let mut seen = BTreeSet::new();
    for call in evidence.exam.standing_calls().filter(|call| is_view(call)) {
        let place = (&call.context.place.limb, &call.context.place.zone);
        if place.1.is_none() || call.context.place.plane.as_ref() != Some(&sweep.plane) || !seen.insert(place)
        {
            continue;
        }
        let here = |fits: &dyn Fn(&Act) -> bool| {
            evidence.exam.standing_calls().any(|other| {
                (&other.context.place.limb, &other.context.place.zone) == place && fits(&other.act)
            })
        };
        let lesion = here(&|act| is_sure_lesion(act));
        let swept = here(&|act| matches!(act, Act::Setting(set) if set.slot == sweep.setting));
        if (lesion || sweep.every_zone) && !swept {
            let zone = place.1.as_deref().unwrap_or_default();
            let message = format!(
                "{} {zone} was scanned in the {} view without a sweep across its whole width",
                evidence.protocols.limb_name(place.0.as_deref().unwrap_or_default()),
                evidence.protocols.plane_name(&sweep.plane)
            );
            hits.push(Hit::call(call, message));
        }
    }
    hits
}

/// A zone more than one further than the last; going back to the first is how the next pass begins.
pub(super) fn zone_order_jump(evidence: &Evidence) -> Vec<Hit> {
    let mut hits = Vec::new();
    let (schemes, protocols) = (&evidence.exam.header.schemes, evidence.protocols);
    let mut last: Option<(&str, &str)> = None;
    for call in evidence.exam.standing_calls() {
        let (Act::View(view), place) = (&call.act, &call.context.place) else { continue };
        let (Some(code), Some(zone)) = (place.limb.as_deref(), place.zone.as_deref()) else { continue };
        if view.zone.is_none() {
            continue;
        }
        if let Some((_, from)) = last.filter(|(before, _)| *before == code)
            && let Some(step) = Step::between(code, from, zone, schemes, protocols)
            && step.zones() > 1
            && !step.begins_anew()
        {
            let name = protocols.limb_name(code);
            let message =
                format!("{name}: zone {zone} came right after {from}; was a zone misheard, or left out?");
            hits.push(Hit::call(call, message));
        }
        last = Some((code, zone));
    }
    hits
}

/// A limb that was looked at, while the one on the other side was not.
pub(super) fn other_limb_not_scanned(evidence: &Evidence) -> Vec<Hit> {
    let protocols = evidence.protocols;
    let seen: BTreeSet<&str> = evidence
        .exam
        .standing_calls()
        .filter(|call| is_view(call))
        .filter_map(|call| call.context.place.limb.as_deref())
        .collect();
    let mut hits = Vec::new();
    for limb in protocols.limbs.iter().filter(|limb| seen.contains(limb.code.as_str())) {
        let other = protocols.limbs.iter().find(|other| other.group == limb.group && other.side != limb.side);
        if let Some(other) = other.filter(|other| !seen.contains(other.code.as_str())) {
            let message = format!(
                "{} was scanned and {} was not, so left and right cannot be compared",
                limb.name, other.name
            );
            hits.push(Hit { place: Some(other.code.to_string()), ..Hit::new(message) });
        }
    }
    hits
}

/// Two saves of two limbs within seconds: nobody can tell which of the two is wrong, so each of them is asked about.
pub(super) fn limb_change_while_saving(evidence: &Evidence) -> Vec<Hit> {
    let least_s = evidence.protocols.rules.habits.limb_change_s;
    let saves: Vec<&LoggedCall> = evidence.exam.standing_calls().filter(|call| call.act.is_save()).collect();
    let apart_s = |pair: &[&LoggedCall]| match pair {
        [one, other] if one.context.place.limb != other.context.place.limb => {
            let apart_s = (other.said_at - one.said_at).as_seconds_f64();
            (apart_s < least_s).then_some(apart_s)
        }
        _ => None,
    };
    let gaps: Vec<Option<f64>> = saves.windows(2).map(apart_s).collect();
    let hit = |(idx, call): (usize, &&LoggedCall)| {
        let before =
            idx.checked_sub(1).and_then(|before| gaps[before]).map(|s| format!("{s:.1} s before it"));
        let after = gaps.get(idx).copied().flatten().map(|s| format!("{s:.1} s after it"));
        let others: Vec<String> = before.into_iter().chain(after).collect();
        (!others.is_empty()).then(|| {
            let message = format!(
                "this still and the one {} have labels of different limbs; was the limb called late or misheard?",
                others.join(" and the one ")
            );
            Hit::call(call, message)
        })
    };
    saves.iter().enumerate().filter_map(hit).collect()
}
