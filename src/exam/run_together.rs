//! Phrases that are two to the grammar and may be one to a person.
//!
//! Takes: two phrases of an utterance, one right after the other.
//! Gives: why they cannot be taken one by one, and what to say instead.
//! Never: joins them; what was meant is asked.
//! Tested in: `tests/it/language_breaths.rs`.

use crate::exam::call::{Act, Command, Problem};
use crate::exam::phrase::{Hint, Joint, Phrase, Way};
use crate::exam::shown::is_adjective;
use crate::exam::sizes::which_size;
use crate::exam::unclear::{
    corrects_which, may_deny, normal_as_a_whole, takes_back_what, what_is_there, what_it_is_like,
    which_measure,
};
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;

/// Why the two are asked about; none where each is clear by itself.
pub(crate) fn run_together(before: &Phrase, phrase: &Phrase, protocols: &Protocols) -> Option<Problem> {
    taken_back(before, phrase)
        .or_else(|| seen_where(before, phrase))
        .or_else(|| of_lesion(before, phrase, protocols))
        .or_else(|| described(before, phrase))
        .or_else(|| corrects_another(before, phrase))
}

/// "Fibre score two, sorry, echo score two": the number said first would stay.
fn corrects_another(before: &Phrase, phrase: &Phrase) -> Option<Problem> {
    let (Act::Value(first), Act::Value(second)) = (&before.call.act, &phrase.call.act) else { return None };
    (phrase.call.corrects && first.term != second.term).then(which_measure)
}

/// "Undo the lesion", "disregard two alpha"; "disregard that, two alpha" says two things.
fn taken_back(before: &Phrase, phrase: &Phrase) -> Option<Problem> {
    let takes_back = match (&before.call.act, &phrase.call.act) {
        // "Disregard that, normal": nobody takes back a normal by that name. Two calls are no finding.
        (Act::Command(Command::TakeBack { count }), Act::Finding(finding)) => {
            *count == 1 && finding.class != Class::Normal
        }
        (Act::Command(Command::TakeBackSave), Act::Finding(_)) => true,
        (Act::Command(Command::TakeBack { .. }), Act::View(_)) => !before.call.words.contains(' '),
        _ => false,
    };
    takes_back.then(takes_back_what)
}

fn seen_where(before: &Phrase, phrase: &Phrase) -> Option<Problem> {
    let is_detail = |phrase: &Phrase| phrase.call.act.class() == Some(&Class::Detail);
    let joined = phrase.joined;
    let is_unclear = match (&before.call.act, &phrase.call.act) {
        // "Lateral deep normal", "axial border of the medial branch": the position may be that of what follows.
        (_, Act::View(_)) if is_detail(before) => phrase.call.act.only_structure().is_some(),
        // "Medial and lateral border torn".
        (_, Act::Finding(_)) if is_detail(before) => joined == Some(Joint::And),
        // "Normal laterally"; "no tear lateral but medial".
        (Act::Finding(finding), Act::Finding(_)) if is_detail(phrase) => {
            if finding.class == Class::Normal {
                return Some(normal_as_a_whole());
            }
            finding.class == Class::Negative && joined == Some(Joint::But)
        }
        // "Transverse and longitudinal normal", "two alpha and two bravo deep normal": both, or the last?
        (Act::View(view), Act::View(next)) if joined == Some(Joint::And) => {
            view.plane.is_some() && next.plane.is_some() || view.zone.is_some() && next.zone.is_some()
        }
        _ => false,
    };
    is_unclear.then(what_is_there)
}

fn of_lesion(before: &Phrase, phrase: &Phrase, protocols: &Protocols) -> Option<Problem> {
    let Act::Finding(first) = &before.call.act else { return None };
    let terms = &protocols.measuring.terms;
    match &phrase.call.act {
        // "Tear area thirty", "lesion area of the superficial thirty".
        Act::Value(value) if first.class == Class::Lesion && value.term == terms.area => {
            // "Total area", "tendon area" name whose it is, and a large one is that of the structure.
            let is_bare = phrase.call.words.starts_with(&value.term);
            let is_small = protocols
                .value(&value.term)
                .is_some_and(|kind| kind.may_be_lesions(value.amount.number, value.amount.unit.as_deref()));
            (is_bare && is_small && protocols.sized.contains(&first.term)).then(which_size)
        }
        // "Tear that can't be seen": the lesion, or the structure that it would be in?
        Act::Finding(second) if first.class == Class::Lesion && second.class == Class::Absent => {
            Some(what_is_there())
        }
        // "Normal, no, enlarged".
        Act::Finding(second) if first.class == Class::Normal && second.class == Class::Negative => {
            let is_no = phrase.call.words.starts_with("no ") && is_adjective(&second.term);
            is_no.then(|| may_deny(&phrase.call.words))
        }
        _ => None,
    }
}

/// "Linear lesion", "long tear".
fn described(before: &Phrase, phrase: &Phrase) -> Option<Problem> {
    let is_like = before.hint == Hint::Describes && phrase.call.act.class() == Some(&Class::Lesion);
    is_like.then(what_it_is_like)
}

/// "Transverse tear" and "split longitudinal", where the plane is one bare word at the end of what was said: after a place, or
/// before a save, it turns the probe.
fn directed(phrases: &[Phrase], protocols: &Protocols) -> bool {
    let is_bare = |phrase: &Phrase| {
        is_plane(&phrase.call.act) && phrase.way == Way::Bare && !phrase.call.words.contains(' ')
    };
    let has_direction = |phrase: &Phrase| {
        matches!(&phrase.call.act, Act::Finding(finding)
            if finding.class == Class::Lesion && protocols.directed.contains(&finding.term))
    };
    let begins = matches!(phrases, [plane, found, ..] if is_bare(plane) && has_direction(found));
    let ends = matches!(phrases, [.., found, plane] if has_direction(found) && is_bare(plane));
    begins || ends
}

/// "No core lesion, one twelve": what is not there has no area, so the number is that of the structure. The grammar reads "no
/// core" and "lesion one twelve" as well.
pub(crate) fn area_of_structure(phrases: &mut [Phrase], protocols: &Protocols) {
    let terms = &protocols.measuring.terms;
    for idx in 1..phrases.len() {
        let is_denied = phrases[idx - 1].call.act.class() == Some(&Class::Negative);
        if let Act::Value(value) = &mut phrases[idx].call.act
            && is_denied
            && value.term == terms.lesion_area
        {
            value.term.clone_from(&terms.area);
        }
    }
}

/// "Deep, sorry, superficial, core lesion": the place is put right, and what is found there is new. Only what was said before
/// the slip can be what a finding or a number puts right.
pub(crate) fn only_place_corrects(phrases: &mut [Phrase]) {
    let Some(slip) = phrases.iter().position(|phrase| phrase.call.corrects) else { return };
    let (before, after) = phrases.split_at_mut(slip);
    if before.is_empty() || !matches!(after[0].call.act, Act::View(_)) {
        return;
    }
    for phrase in after {
        let act = &phrase.call.act;
        let kind = std::mem::discriminant(act);
        let was_said = before.iter().any(|phrase| std::mem::discriminant(&phrase.call.act) == kind);
        phrase.call.corrects &= was_said || matches!(act, Act::View(_));
    }
}

/// Why phrases that are clear two by two are asked about.
pub(crate) fn of_several(phrases: &[Phrase], protocols: &Protocols) -> Option<Problem> {
    let is_save = |phrase: &Phrase| phrase.call.act.is_save();
    // "Save, sorry, longitudinal, save": the view that was saved, or the next one?
    let resaved =
        phrases.windows(3).any(|three| is_save(&three[0]) && three[1].call.corrects && is_save(&three[2]));
    another_measure(phrases)
        .or_else(|| resaved.then(corrects_which))
        .or_else(|| directed(phrases, protocols).then(what_it_is_like))
}

/// "Superficial thickness nine, deep eleven": a number without a name after another measure than the one it would be.
fn another_measure(phrases: &[Phrase]) -> Option<Problem> {
    let mut before: Option<&str> = None;
    for phrase in phrases {
        let Act::Value(value) = &phrase.call.act else { continue };
        if phrase.hint == Hint::Unnamed && before.is_some_and(|term| term != value.term) {
            return Some(which_measure());
        }
        before = Some(&value.term);
    }
    None
}

/// "Superficial core lesion and an enlarged deep", "deep core lesion lateral lobe": what was found just before a structure of
/// which nothing is said may be of that one, not of the first.
pub(crate) fn may_describe_last(phrases: &[Phrase], is_short: &dyn Fn(&str) -> bool) -> bool {
    let is_saved = |phrase: &&Phrase| phrase.call.act.is_save();
    let said = phrases.len() - phrases.iter().rev().take_while(is_saved).count();
    let [earlier @ .., found, last] = &phrases[..said] else { return false };
    let (Act::Finding(finding), Some(structure)) = (&found.call.act, last.call.act.only_structure()) else {
        return false;
    };
    let describes = is_adjective(&finding.term)
        || matches!(found.joined, Some(Joint::And | Joint::With))
        || is_short(&structure);
    finding.class == Class::Lesion
        && finding.structure.is_none()
        && describes
        && last.way == Way::Bare
        && last.joined.is_none()
        && earlier.iter().any(|phrase| phrase.call.act.only_structure().is_some())
}

/// It turns the probe and does nothing else.
fn is_plane(act: &Act) -> bool {
    matches!(act, Act::View(view)
        if view.plane.is_some() && view.structure.is_none() && view.zone.is_none() && !view.names_limb())
}
