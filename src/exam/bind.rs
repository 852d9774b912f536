//! Which structure a finding belongs to, within one utterance.
//!
//! Takes: the phrases of an utterance in order.
//! Gives: the same calls, each finding and number with the structure of its own utterance, before or after it.
//! Never: chooses where two structures could be meant; that is a problem, and nothing is taken.
//! Tested in: `tests/it/language_phrases.rs`.

use crate::code::StructureCode;
use crate::exam::call::{Act, Call, FindingSaid, Problem, View};
use crate::exam::found_at::{at_the_same_time, places_first};
use crate::exam::phrase::{Joint, Phrase, Way};
use crate::exam::run_together::may_describe_last;
use crate::exam::shown::is_adjective;
use crate::exam::unclear::{alone, denied_too, excepted, normal_and_not, nothing_of_these, which};
use crate::language::closed_sets::Class;

/// The calls of an utterance with their structures; `is_short` knows names that only mean something in a zone.
pub(crate) fn bind(phrases: Vec<Phrase>, is_short: &dyn Fn(&str) -> bool) -> Result<Vec<Call>, Problem> {
    if phrases
        .iter()
        .enumerate()
        .any(|(idx, phrase)| phrase.after_negative && !follows_negative(&phrases, idx))
    {
        return Err(alone());
    }
    if (1..phrases.len()).any(|idx| may_be_denied_too(&phrases[idx - 1], &phrases[idx])) {
        return Err(denied_too());
    }
    // "Normal fluid in the sheath": the fluid, or the place and then the sheath?
    if let [first, second, ..] = phrases.as_slice()
        && first.call.act.is_all_normal()
        && second.call.act.class() == Some(&Class::Lesion)
    {
        return Err(normal_and_not());
    }
    let phrases = places_first(phrases)?;
    let phrases = own_structures(phrases)?;
    let phrases = shared_after(phrases)?;
    let phrases = structures_after(phrases)?;
    if may_describe_last(&phrases, is_short) {
        return Err(which());
    }
    let phrases = of_each_named(structures_together(phrases, is_short)?)?;
    let mut calls: Vec<Call> = Vec::new();
    for Phrase { mut call, .. } in phrases {
        // A remark is no move of its own: the structure named before it belongs to it. So does a short name.
        if let Some(last) = calls.last()
            && let Some(structure) = last.act.only_structure()
            && last.corrects == call.corrects
            && (is_remark(&call.act) || (is_free(&call.act) && is_short(&structure)))
        {
            give(&mut call.act, &structure);
            join_words(&mut call, last, Heard::Before);
            calls.pop();
        }
        push(&mut calls, call);
    }
    if contradicts_itself(&calls) { Err(normal_and_not()) } else { Ok(calls) }
}

/// "Medial branch normal, lateral enlarged": in one utterance a structure is not both.
fn contradicts_itself(calls: &[Call]) -> bool {
    let mut at = None;
    let mut seen: Vec<(Option<&StructureCode>, &FindingSaid)> = Vec::new();
    for call in calls {
        match &call.act {
            Act::View(view) => {
                at = view.structure.as_ref();
                // Another place: what was found before it says nothing about it.
                if call.act.only_structure().is_none() {
                    seen.clear();
                }
            }
            Act::Finding(finding) => {
                at = finding.structure.as_ref().or(at);
                seen.push((at, finding));
            }
            _ => {}
        }
    }
    let is_lesion_of =
        |structure| seen.iter().any(|(other, finding)| *other == structure && finding.class == Class::Lesion);
    seen.iter().any(|(structure, finding)| finding.is_all_normal() && is_lesion_of(*structure))
}

/// "Core lesion in the deep": the structure goes to the finding before it; "in the superficial and deep": one to each.
fn own_structures(phrases: Vec<Phrase>) -> Result<Vec<Phrase>, Problem> {
    let mut found: Vec<Phrase> = Vec::new();
    let mut rest = phrases.into_iter().peekable();
    while let Some(phrase) = rest.next() {
        let structure = phrase.call.act.only_structure().filter(|_| phrase.way == Way::Within);
        let (Some(structure), Some(last)) = (structure, found.last_mut()) else {
            found.push(phrase);
            continue;
        };
        if last.call.act.is_save() {
            // "Cine of the suspensory": it is there that it was saved.
            let saved = found.len() - 1;
            found.insert(saved, at_the_same_time(phrase, &found[saved]));
            continue;
        }
        if !takes_structure(&last.call.act) {
            found.push(phrase);
            continue;
        }
        let is_negative = last.call.act.class() == Some(&Class::Negative);
        let is_clear = match phrase.joined {
            Some(Joint::And | Joint::But) => false,
            Some(Joint::Or) => is_negative,
            Some(Joint::With) | None => true,
        };
        if has_structure(&last.call.act) || !is_clear {
            return Err(which());
        }
        // "Core lesion twelve by nine in the superficial": the size alone, or all of it?
        if found.iter().rev().nth(1).is_some_and(|before| is_free(&before.call.act)) {
            return Err(which());
        }
        let Some(last) = found.last_mut() else { continue };
        // "No change in the superficial, deep normal": the deep one begins what comes next.
        let row = rest.clone().take_while(|more| more.call.act.only_structure().is_some());
        let ends_row = row.last();
        let mut next = rest.clone().skip_while(|more| more.call.act.only_structure().is_some());
        let goes_on = next.next().is_some_and(|next| takes_structure(&next.call.act));
        let is_list = ends_row
            .as_ref()
            .is_none_or(|more| more.joined.is_some() || more.call.words == phrase.call.words);
        if !is_list && !goes_on {
            return Err(which());
        }
        let alone = last.clone();
        give(&mut last.call.act, &structure);
        join_words(&mut last.call, &phrase.call, Heard::After);
        while let Some(more) = rest.next_if(|more| is_list && more.call.act.only_structure().is_some()) {
            // "In the superficial at the annular": that is where it was, not a second one.
            if more.way == Way::Within && more.call.words != phrase.call.words {
                return Err(which());
            }
            let mut each = alone.clone();
            give(&mut each.call.act, &more.call.act.only_structure().unwrap_or_default());
            join_words(&mut each.call, &more.call, Heard::After);
            found.push(each);
            // What is found after it would be said of this structure, or of all of them.
            if rest.peek().is_some_and(|next| takes_structure(&next.call.act)) {
                return Err(which());
            }
        }
    }
    Ok(found)
}

/// "Normal superficial and deep": what is found before several structures belongs to each.
fn shared_after(phrases: Vec<Phrase>) -> Result<Vec<Phrase>, Problem> {
    let names = |phrase: &Phrase| phrase.call.act.only_structure().is_some() && !phrase.call.corrects;
    let Some(named) = phrases.iter().position(names) else { return Ok(phrases) };
    let row = phrases[named..].iter().take_while(|phrase| names(phrase)).count();
    let (before, after) = (&phrases[..named], &phrases[named + row..]);
    let joined = is_one_row(&phrases[named..named + row].iter().collect::<Vec<_>>())
        && phrases[named..named + row].iter().all(|phrase| phrase.way == Way::Bare);
    let is_found = |phrase: &Phrase| matches!(phrase.call.act, Act::Finding(_)) && is_free(&phrase.call.act);
    if row < 2
        || !joined
        || before.is_empty()
        || !before.iter().all(is_found)
        || after.iter().any(|phrase| takes_structure(&phrase.call.act))
    {
        return Ok(phrases);
    }
    if mixes_negative(before) || describes_only_the_last(before) {
        return Err(which());
    }
    let mut found = Vec::new();
    for named in &phrases[named..named + row] {
        for phrase in before {
            let mut own = phrase.clone();
            give(&mut own.call.act, &named.call.act.only_structure().unwrap_or_default());
            join_words(&mut own.call, &named.call, Heard::After);
            found.push(own);
        }
    }
    found.extend(after.iter().cloned());
    Ok(found)
}

/// "Effusion and thickened annular ligament": the adjective is the ligament's; the effusion may be elsewhere.
fn describes_only_the_last(before: &[Phrase]) -> bool {
    let mut lesions = before.iter().rev().filter_map(|phrase| match &phrase.call.act {
        Act::Finding(finding) if finding.class == Class::Lesion && finding.structure.is_none() => {
            Some(finding)
        }
        _ => None,
    });
    lesions.next().is_some_and(|last| is_adjective(&last.term))
        && lesions.any(|found| !is_adjective(&found.term))
}

/// "Enlarged medial branch": a structure after findings that had none before them in this utterance.
fn structures_after(phrases: Vec<Phrase>) -> Result<Vec<Phrase>, Problem> {
    let structure_at: Vec<usize> =
        (0..phrases.len()).filter(|idx| phrases[*idx].call.act.only_structure().is_some()).collect();
    let named_in_view = |act: &Act| matches!(act, Act::View(View { structure: Some(_), .. }));
    let first_free = phrases.iter().position(|phrase| is_free(&phrase.call.act));
    let first_named = phrases.iter().position(|phrase| named_in_view(&phrase.call.act));
    let (Some(free), Some(named)) = (first_free, first_named) else { return Ok(phrases) };
    // A limb or a zone in between: what was found before it belongs to the place before it.
    let moves = |phrase: &Phrase| is_move(&phrase.call.act);
    if named < free || !structure_at.contains(&named) || phrases[free..].iter().any(moves) {
        return Ok(phrases);
    }
    // "Core lesion, now deep": the first was seen in the structure in force. So was what was saved before the next one.
    let is_saved = |phrase: &Phrase| phrase.call.act.is_save();
    if phrases[named].way == Way::Onward || phrases[free..named].iter().any(is_saved) {
        return Ok(phrases);
    }
    if phrases[named].joined == Some(Joint::But) {
        // "Everything normal but the check enlarged": normal was said of the check, too, where that one is in force.
        return Err(excepted());
    }
    if phrases[named].joined == Some(Joint::And)
        && phrases[named + 1..].iter().all(is_saved)
        && structure_at.len() == 1
    {
        return Err(which());
    }
    if structure_at.len() == 1 {
        // "Core lesion, deep normal": the first may be said of the structure in force. "Enlarged deep with a core lesion" not.
        let begins = |phrase: &Phrase| is_free(&phrase.call.act) && phrase.joined != Some(Joint::With);
        if phrases[named..].iter().any(begins) {
            return Err(which());
        }
        return one_structure(phrases, named);
    }
    pairs(phrases)
}

/// Only one structure was named: all findings and numbers of the utterance belong to it.
fn one_structure(mut phrases: Vec<Phrase>, named: usize) -> Result<Vec<Phrase>, Problem> {
    if mixes_negative(&phrases) || describes_only_the_last(&phrases[..named]) {
        return Err(which());
    }
    let said = phrases.remove(named).call;
    let Some(structure) = said.act.only_structure() else { return Ok(phrases) };
    for (idx, phrase) in phrases.iter_mut().enumerate() {
        if is_free(&phrase.call.act) {
            give(&mut phrase.call.act, &structure);
            if idx + 1 == named {
                join_words(&mut phrase.call, &said, Heard::After);
            }
        }
    }
    Ok(phrases)
}

/// "No effusion, thickened annular ligament": what is not there may have been looked for elsewhere.
fn mixes_negative(phrases: &[Phrase]) -> bool {
    let of = |class: Class| {
        phrases.iter().any(|phrase| is_free(&phrase.call.act) && phrase.call.act.class() == Some(&class))
    };
    of(Class::Negative) && of(Class::Lesion)
}

/// Finding, structure, finding, structure: each finding belongs to the structure after it.
fn pairs(phrases: Vec<Phrase>) -> Result<Vec<Phrase>, Problem> {
    let mut found: Vec<Phrase> = Vec::new();
    let mut waiting: Vec<usize> = Vec::new();
    for phrase in phrases {
        if let Some(structure) = phrase.call.act.only_structure() {
            if waiting.is_empty() || phrase.joined == Some(Joint::But) || phrase.way == Way::Onward {
                return Err(which());
            }
            for idx in waiting.drain(..) {
                give(&mut found[idx].call.act, &structure);
                join_words(&mut found[idx].call, &phrase.call, Heard::After);
            }
        } else {
            if is_free(&phrase.call.act) {
                waiting.push(found.len());
            }
            found.push(phrase);
        }
    }
    if waiting.is_empty() { Ok(found) } else { Err(which()) }
}

/// "Superficial and deep enlarged", "superficial, deep normal": structures in a row share the findings that follow.
fn structures_together(
    phrases: Vec<Phrase>,
    is_short: &dyn Fn(&str) -> bool,
) -> Result<Vec<Phrase>, Problem> {
    let mut found: Vec<Phrase> = Vec::new();
    let mut idx = 0;
    while idx < phrases.len() {
        // "Superficial, sorry, deep" names one structure, not two.
        let is_named = |phrase: &&Phrase| phrase.call.act.only_structure().is_some() && !phrase.call.corrects;
        // "Superficial, now deep normal": the first was only looked at. "Deep, medial lobe": a part of it.
        let is_part = |next: &Phrase| {
            next.joined.is_none()
                && next.call.words != phrases[idx].call.words
                && next.call.act.only_structure().is_some_and(|code| is_short(&code))
        };
        let begins = |next: &&Phrase| next.way == Way::Onward || is_part(next);
        let ends = phrases[idx + 1..].iter().take_while(|next| !begins(next)).count();
        let row: Vec<&Phrase> = phrases[idx..=idx + ends].iter().take_while(is_named).collect();
        if row.len() < 2 {
            found.push(phrases[idx].clone());
            idx += 1;
            continue;
        }
        let after = idx + row.len();
        // What has a structure of its own is not theirs.
        let is_shared =
            |phrase: &&Phrase| matches!(phrase.call.act, Act::Finding(_)) && !has_structure(&phrase.call.act);
        let shared: Vec<&Phrase> = phrases[after..].iter().take_while(is_shared).collect();
        if shared.is_empty() {
            let together = row.windows(2).all(|two| two[0].call.words == two[1].call.words);
            let has_zone = |said: &Phrase| matches!(&said.call.act, Act::View(view) if view.names_zone());
            if !found.iter().any(has_zone) || !together || after < phrases.len() {
                return Err(nothing_of_these());
            }
            // "Left fore three bravo, suspensory branches": the place counts, and what is found says of which branch.
            return Ok(found);
        }
        // "Branches of the superficial normal", "superficial and deep normal, area ninety": of which?
        let measures = phrases.get(after + shared.len()).is_some_and(|next| is_free(&next.call.act));
        if measures || row.iter().skip(1).any(|said| said.way == Way::Within) {
            return Err(which());
        }
        if !is_one_row(&row) && shared.iter().any(|phrase| is_something_seen(phrase)) {
            return Err(which());
        }
        // Each finding carries its structure itself: said in one utterance, their time does not distinguish them.
        for said in &row {
            let structure = said.call.act.only_structure().unwrap_or_default();
            for phrase in &shared {
                let mut own = (*phrase).clone();
                give(&mut own.call.act, &structure);
                join_words(&mut own.call, &said.call, Heard::Before);
                found.push(own);
            }
        }
        idx = after + shared.len();
    }
    Ok(found)
}

/// "Superficial one oh eight, deep one ten, all normal": said of each structure that was named at the place.
///
/// "Superficial one oh eight, deep all normal" is said of the deep one.
fn of_each_named(phrases: Vec<Phrase>) -> Result<Vec<Phrase>, Problem> {
    let mut found: Vec<Phrase> = Vec::new();
    for phrase in phrases {
        let is_bare = found.last().is_some_and(|last| last.call.act.only_structure().is_some());
        let of_each = phrase.of_each && !is_bare && is_free(&phrase.call.act);
        let here = if of_each { since_last_move(&found) } else { &[] };
        let named = each_once(here.iter().filter_map(|phrase| phrase.call.act.only_structure()));
        if named.len() < 2 {
            found.push(phrase);
            continue;
        }
        let is_not_normal = |act: &Act| {
            matches!(act.class(), Some(Class::Lesion | Class::Absent | Class::NotDone | Class::Abnormal))
        };
        if here.iter().any(|phrase| is_not_normal(&phrase.call.act)) {
            return Err(normal_and_not());
        }
        for structure in named {
            let mut own = phrase.clone();
            give(&mut own.call.act, &structure);
            found.push(own);
        }
    }
    Ok(found)
}

/// What was said since the last limb or zone.
fn since_last_move(phrases: &[Phrase]) -> &[Phrase] {
    let moved = phrases.iter().rposition(|phrase| is_move(&phrase.call.act));
    &phrases[moved.map_or(0, |idx| idx + 1)..]
}

fn each_once(structures: impl Iterator<Item = StructureCode>) -> Vec<StructureCode> {
    let mut once: Vec<StructureCode> = Vec::new();
    for structure in structures {
        if !once.contains(&structure) {
            once.push(structure);
        }
    }
    once
}

/// A limb or a zone, not a plane or a structure of the same place.
fn is_move(act: &Act) -> bool {
    matches!(act, Act::View(view) if view.structure.is_none() && view.plane.is_none())
}

/// "Superficial and deep", or both named by one name; not "deep", "superficial", one after the other.
fn is_one_row(row: &[&Phrase]) -> bool {
    row.last().is_some_and(|last| last.joined == Some(Joint::And))
        || row.windows(2).next_back().is_some_and(|two| two[0].call.words == two[1].call.words)
}

/// "Deep, superficial enlarged": the deep one may only have been looked at.
fn is_something_seen(phrase: &Phrase) -> bool {
    matches!(phrase.call.act.class(), Some(Class::Lesion | Class::Abnormal))
}

fn follows_negative(phrases: &[Phrase], idx: usize) -> bool {
    let before = idx.checked_sub(1).and_then(|before| phrases[before].call.act.class());
    before == Some(&Class::Negative)
}

/// Findings and numbers that can belong to a structure.
fn takes_structure(act: &Act) -> bool {
    match act {
        Act::Finding(finding) => !matches!(finding.class, Class::Quality | Class::Detail),
        Act::Value(_) => true,
        _ => false,
    }
}

fn has_structure(act: &Act) -> bool {
    match act {
        Act::Finding(finding) => finding.structure.is_some(),
        Act::Value(value) => value.said.structure.is_some(),
        _ => false,
    }
}

/// It takes a structure and has none yet.
fn is_free(act: &Act) -> bool {
    takes_structure(act) && !has_structure(act)
}

fn is_remark(act: &Act) -> bool {
    matches!(act, Act::Finding(finding)
        if matches!(finding.class, Class::Negative | Class::Comparison) && finding.structure.is_none())
}

fn give(act: &mut Act, structure: &StructureCode) {
    match act {
        Act::Finding(finding) => finding.structure = Some(structure.clone()),
        Act::Value(value) => value.said.structure = Some(structure.clone()),
        _ => {}
    }
}

/// The place of words that are joined to others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Heard {
    Before,
    After,
}

/// Takes over the words of a call that becomes part of another.
fn join_words(call: &mut Call, said: &Call, heard: Heard) {
    call.words = match heard {
        Heard::Before => format!("{} {}", said.words, call.words),
        Heard::After => format!("{} {}", call.words, said.words),
    };
    call.span = call.span.join(said.span);
    call.confidence = call.confidence.min(said.confidence);
}

/// Adds a call, or joins it to the view before it.
fn push(calls: &mut Vec<Call>, next: Call) {
    if let Some(last) = calls.last_mut()
        && let (Act::View(before), Act::View(more)) = (&mut last.act, &next.act)
        && last.corrects == next.corrects
        && before.join(more)
    {
        join_words(last, &next, Heard::After);
        return;
    }
    calls.push(next);
}

/// "No effusion and thickening", "no tear with fluid": neither, or the one without the other.
fn may_be_denied_too(before: &Phrase, phrase: &Phrase) -> bool {
    phrase.joined.is_some()
        && before.call.act.class() == Some(&Class::Negative)
        && phrase.call.act.class() == Some(&Class::Lesion)
}
