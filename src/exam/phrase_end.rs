//! Whether a phrase is over at a pause, or may go on.
//!
//! Takes: the words said so far, and the exam's `Language`.
//! Gives: yes or no.
//! Never: looks at the sound; how long an open phrase is waited for, others decide.
//! Tested in: `tests/it/early.rs`.

use std::collections::BTreeSet;

use serde_json::Value as Json;

use crate::exam::call::Act;
use crate::exam::parse::{calls_of, meaning, unit_as_said, without_sound};
use crate::language::closed_sets::Class;
use crate::language::pack::Language;
use crate::language::word_states::{Moment, WordStates as _};
use crate::protocol::Protocols;

/// Whether an answer is waited for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum AnswerExpected {
    /// No question waits.
    #[default]
    No,
    /// A question waits.
    Yes,
}

/// True when the phrase that ends the words is over: whatever could still belong to it would leave its meaning alone.
///
/// "save" is whole, though "that" may follow; "area one" is not, for "point two" may.
#[must_use]
pub fn is_whole(words: &[&str], answer: AnswerExpected, language: &Language, protocols: &Protocols) -> bool {
    let now = Moment { limb: None, asked: answer == AnswerExpected::Yes };
    let Some(goes_on) = language.engine.graph.continuations(now, words) else { return false };
    let Some(said) = WordsMeaning::of(words, language, protocols) else { return false };
    if said.may_be_narrowed(words, language, protocols) {
        return false;
    }
    let meant = meaning(words, language, protocols);
    let same = |rest: &[&str]| meaning(&[words, rest].concat(), language, protocols) == meant;
    goes_on.only.iter().all(|rest| same(rest))
        && (said.is_closed()
            || goes_on.or_begins.iter().all(|rest| said.is_kept_before(words, rest, language, protocols)))
}

/// True when `rest`, said after a pause, is phrases of its own: none of it belongs to the last phrase of `first`, and none
/// makes one call with it.
///
/// "Save" after "area one" is; "branch normal" after "medial" is not, though it could be said alone, nor is "longitudinal"
/// after "right hind".
#[must_use]
pub fn stands_apart(first: &[&str], rest: &[&str], language: &Language, protocols: &Protocols) -> bool {
    let counts = |words: &[&str]| {
        let said = WordsMeaning::of(words, language, protocols)?;
        Some((said.phrases, said.acts.len()))
    };
    let (both, first, rest) = (counts(&[first, rest].concat()), counts(first), counts(rest));
    matches!(
        (both, first, rest),
        (Some(both), Some(first), Some(rest)) if both.0 >= first.0 + rest.0 && both.1 >= first.1 + rest.1
    )
}

/// What words mean, in the reading that counts.
struct WordsMeaning {
    acts: Vec<Act>,
    /// How many phrases they are.
    phrases: usize,
}

/// True when both tell what was found, and joining them would give what the first tells to a structure of `rest`.
///
/// "Normal, area one hundred", a pause, "deep flexor score two": the area is not the deep flexor's.
#[must_use]
pub fn tells_of_another(first: &[&str], rest: &[&str], language: &Language, protocols: &Protocols) -> bool {
    let said = |words: &[&str]| WordsMeaning::of(words, language, protocols);
    let (Some(both), Some(first), Some(rest)) = (said(&[first, rest].concat()), said(first), said(rest))
    else {
        return false;
    };
    let is_apart = both.phrases >= first.phrases + rest.phrases;
    is_apart && first.tells() && rest.tells() && !first.facts().is_subset(&both.facts())
}

impl WordsMeaning {
    /// Whether something was found or measured.
    fn tells(&self) -> bool {
        self.acts.iter().any(|act| matches!(act, Act::Finding(_) | Act::Value(_)))
    }

    fn of(words: &[&str], language: &Language, protocols: &Protocols) -> Option<Self> {
        let tags = language.exam.read(words).into_iter().next()?;
        let phrases = tags.iter().filter(|(tag, _)| tag.starts_with('!')).count();
        let calls = calls_of(&tags, &without_sound(words), protocols).calls;
        Some(Self { acts: calls.into_iter().map(|call| call.act).collect(), phrases })
    }

    /// Whether people pause after it: a save or an answer is taken at once, whatever else could begin with it.
    fn is_closed(&self) -> bool {
        self.acts.last().is_some_and(Act::is_closing)
    }

    /// Whether the words end in what people narrow without a pause, with words that may begin a phrase as well: a level
    /// or a setting without its unit ("point five"), a lesion without a position ("central").
    fn may_be_narrowed(&self, words: &[&str], language: &Language, protocols: &Protocols) -> bool {
        let number = |act: &Act| match act {
            Act::View(view) => view.level_cm,
            Act::Setting(setting) => setting.amount.as_ref().map(|amount| amount.number),
            _ => None,
        };
        let Some((_, before)) = words.split_last() else { return false };
        match self.acts.last() {
            Some(Act::Finding(finding)) => finding.class == Class::Lesion && finding.position.is_empty(),
            act => {
                let said = act.and_then(number);
                let earlier = || Self::of(before, language, protocols)?.acts.last().and_then(number);
                said.is_some() && earlier() != said
            }
        }
    }

    /// Whether all of it still holds where `rest`, which may begin a phrase of its own, belongs to its last phrase instead.
    ///
    /// "Suspensory" does not: "origin" makes it another place. "Sheath" does: "distended" is said of it. Where in a lesion
    /// may be said after a pause, too.
    fn is_kept_before(
        &self,
        words: &[&str],
        rest: &[&str],
        language: &Language,
        protocols: &Protocols,
    ) -> bool {
        let Some(longer) = Self::of(&[words, rest].concat(), language, protocols) else { return true };
        let is_detail = |act: &Act| matches!(act, Act::Finding(finding) if finding.class == Class::Detail);
        let remarks = || {
            matches!(self.acts.last(), Some(Act::Finding(_)))
                && Self::of(rest, language, protocols).is_some_and(|alone| alone.acts.iter().any(is_detail))
        };
        longer.phrases > self.phrases || self.facts().is_subset(&longer.facts()) || remarks()
    }

    /// What was said, part by part: of a place each field, of other calls the whole, and the structure each is about.
    fn facts(&self) -> BTreeSet<String> {
        let mut facts = BTreeSet::new();
        for act in &self.acts {
            match act {
                Act::View(view) => {
                    let fields = serde_json::to_value(view).unwrap_or_default();
                    let fields = fields.as_object().into_iter().flatten();
                    facts.extend(fields.map(|(field, said): (&String, &Json)| format!("{field} {said}")));
                }
                other => {
                    let structure = match other {
                        Act::Finding(finding) => finding.structure.as_ref(),
                        Act::Value(value) => value.said.structure.as_ref(),
                        _ => None,
                    };
                    facts.extend(structure.map(|code| format!("structure {}", Json::from(code.to_string()))));
                    facts.insert(format!("{:?}", unit_as_said(other.clone())));
                }
            }
        }
        facts
    }
}
