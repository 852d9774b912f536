//! Which place a finding belongs to, within one utterance.
//!
//! Takes: the phrases of an utterance in order.
//! Gives: the same phrases, each place before what was found, measured or saved there.
//! Never: chooses where two places could be meant; that is a problem, and nothing is taken.
//! Tested in: `tests/it/language_places.rs`.

use crate::exam::call::{Act, Problem, View};
use crate::exam::phrase::{Phrase, Way};
use crate::language::closed_sets::Class;

/// "Core lesion in two bravo", "thirty percent two bravo": the place goes before what was found there, where that is all
/// that was said before it.
///
/// # Errors
/// Where what was found could be at either of two places, or a question names one.
pub(crate) fn places_first(mut phrases: Vec<Phrase>) -> Result<Vec<Phrase>, Problem> {
    if phrases.windows(3).any(names_two_places) {
        return Err(which_place());
    }
    if phrases.windows(2).any(|two| matches!(two[0].call.act, Act::Question { .. }) && is_view(&two[1])) {
        return Err(asks_of_a_place());
    }
    let Some(place) = (1..phrases.len()).find(|idx| is_of_what_was_found(&phrases, *idx)) else {
        return Ok(phrases);
    };
    let mut places = phrases.split_off(place);
    let found = phrases;
    let after = places.split_off(places.iter().take_while(|phrase| is_view(phrase)).count());
    let saves = found.iter().any(is_save);
    let is_clear = found.iter().all(|phrase| is_structure(phrase) || is_found(phrase))
        && !found.iter().chain(&places).any(|phrase| phrase.call.corrects)
        && places[0].joined.is_none()
        && !found.iter().any(is_comparison)
        && (!saves || found.len() == 1)
        && !after.iter().any(|phrase| is_found(phrase) && !is_save(phrase));
    // What names one place together, such as a zone and a plane, travels together; a second place is one too many.
    let mut joined = View::default();
    let is_one = places.iter().all(|phrase| matches!(&phrase.call.act, Act::View(view) if joined.join(view)));
    if !is_clear || !is_one {
        return Err(which_place());
    }
    let places = places.into_iter().map(|phrase| at_the_same_time(phrase, &found[0])).collect::<Vec<_>>();
    Ok(places.into_iter().chain(found).chain(after).collect())
}

/// Whether the place at `idx` is that of what was found before it: said with "in", or right after it and after nothing else.
fn is_of_what_was_found(phrases: &[Phrase], idx: usize) -> bool {
    let (found, phrase) = (&phrases[..idx], &phrases[idx]);
    if !is_view(phrase) || is_structure(phrase) {
        return false;
    }
    if phrase.way == Way::Within {
        // "In the superficial at two bravo" is said of the lesion, not of the flexor.
        return found.iter().rev().find(|phrase| !is_structure(phrase)).is_some_and(is_found);
    }
    let is_bare = |phrase: &Phrase| phrase.way == Way::Bare && !phrase.call.corrects && !is_step(phrase);
    let named: Vec<&Phrase> = phrases[idx..].iter().take_while(|phrase| is_view(phrase)).collect();
    let rest = &phrases[idx + named.len()..];
    let goes_on = rest.iter().any(|phrase| is_found(phrase) && !is_save(phrase));
    // "Save, longitudinal, save": each still has its own view.
    if found.iter().any(is_save) && rest.iter().any(is_save) {
        return false;
    }
    named.iter().all(|phrase| is_bare(phrase))
        && found.iter().any(is_found)
        && found.iter().all(|phrase| is_structure(phrase) || is_found(phrase))
        // "Normal, saved, two charlie": what is saved is done with.
        && (found.len() == 1 || !found.iter().any(is_save))
        // "Superficial normal, two charlie superficial normal": each place before what is found there.
        && !(goes_on && is_structure(&phrases[0]) && named.iter().any(|phrase| is_structure(phrase)))
}

fn is_view(phrase: &Phrase) -> bool {
    matches!(phrase.call.act, Act::View(_))
}

fn is_structure(phrase: &Phrase) -> bool {
    phrase.call.act.only_structure().is_some()
}

/// A step leads on from what was found.
fn is_step(phrase: &Phrase) -> bool {
    matches!(&phrase.call.act, Act::View(view) if view.step.is_some())
}

/// What is found, measured or saved at a place.
fn is_found(phrase: &Phrase) -> bool {
    phrase.call.act.class().is_some_and(|class| *class != Class::Detail)
        || matches!(phrase.call.act, Act::Value(_))
        || is_save(phrase)
}

/// "Same as the right fore, two alpha", "worse in two alpha": the place may be what it was compared with.
fn is_comparison(phrase: &Phrase) -> bool {
    phrase.call.act.class() == Some(&Class::Comparison)
}

fn is_save(phrase: &Phrase) -> bool {
    phrase.call.act.is_save()
}

/// Calls are put in order by when they were said: a place said after what was found there counts from that on.
pub(crate) fn at_the_same_time(mut phrase: Phrase, found: &Phrase) -> Phrase {
    phrase.call.span = phrase.call.span.join(found.call.span);
    phrase
}

/// "One alpha, one bravo normal": the one zone, or both?
fn names_two_places(three: &[Phrase]) -> bool {
    let is_zone = |phrase: &Phrase| matches!(&phrase.call.act, Act::View(view) if view.names_zone());
    let goes_on = three[1].way == Way::Onward || three[1].call.corrects;
    is_zone(&three[0]) && is_zone(&three[1]) && !goes_on && is_found(&three[2])
}

fn which_place() -> Problem {
    Problem::new(
        "it is not clear what was found at which place",
        "say each place before what was found there",
    )
}

/// "What is missing on the right fore": it must not move there.
fn asks_of_a_place() -> Problem {
    Problem::new(
        "a question says no place",
        "ask without a place, such as `what is left`; the answer names the limb",
    )
}
