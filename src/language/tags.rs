//! The vocabulary of tags: what a grammar may write between braces.
//!
//! Takes: the text of one tag.
//! Gives: what is wrong with it, if anything.
//! Never: what a tag means; `exam::parse` knows that. It only keeps a misspelt tag from being found at the horse.
//! Tested in: `tests/it/language.rs`; `grammars/README.md` explains each.

use crate::language::closed_sets::{AnswerWord, Ask, Class, CommandName, HorseFact};

/// Closings `{!kind}`, and `{&kind}` inside a phrase.
const CLOSINGS: [&str; 17] = [
    "view",
    "setting",
    "finding",
    "value",
    "save",
    "note",
    "command",
    "question",
    "answer",
    "talk",
    "correction",
    "sorry",
    "no",
    "number",
    "identity",
    "clip",
    "unclear",
];
/// Keys of `{key=text}` whose text is free, for codes and terms live in the protocols.
const KEYS: [&str; 28] = [
    "limb",
    "zone",
    "level",
    "level_from",
    "place",
    "plane",
    "offset",
    "structure",
    "slot",
    "state",
    "term",
    "degree",
    "position",
    "attribute",
    "against",
    "against_limb",
    "than",
    "unit",
    "scale",
    "value",
    "count",
    "digit",
    "letter",
    "copied",
    "approx",
    "confirm",
    "pair",
    "say",
];

/// What is wrong with a tag and what to write instead; none if it is one that the program knows.
#[must_use]
pub fn wrong(tag: &str) -> Option<String> {
    if let Some(kind) = tag.strip_prefix(['!', '&']) {
        return unknown("closing", kind, &CLOSINGS);
    }
    if let Some(number) = tag.strip_prefix('+') {
        let whole = number.parse::<u32>().is_ok();
        return (!whole).then(|| format!("`{{{tag}}}` adds no whole number; write `{{+80}}`"));
    }
    if tag == "." || tag == "rare" {
        return None;
    }
    match tag.split_once('=') {
        Some((key, "")) => Some(format!("`{{{tag}}}` gives no text after `{key}=`")),
        Some((key, text)) => match closed(key) {
            Some(set) => (!set.contains(&text))
                .then(|| format!("`{text}` is not a value of `{key}=`; the values are: {}", set.join(", "))),
            None => unknown("tag", key, &KEYS),
        },
        None => Some(format!(
            "`{{{tag}}}` is not a tag; write `{{key=text}}`, `{{+80}}`, `{{.}}`, `{{rare}}` or `{{!kind}}`"
        )),
    }
}

/// The texts that may follow `key=`, where they are a closed set.
fn closed(key: &str) -> Option<Vec<&'static str>> {
    match key {
        "class" => Some(Class::ALL.iter().map(Class::as_str).collect()),
        "ask" => Some(Ask::ALL.iter().copied().map(Ask::as_str).collect()),
        "answer" => Some(AnswerWord::ALL.iter().copied().map(AnswerWord::as_str).collect()),
        "command" => Some(CommandName::ALL.iter().copied().map(CommandName::as_str).collect()),
        "what" => Some(HorseFact::ALL.iter().map(HorseFact::as_str).collect()),
        "note" => Some(vec!["open", "close", "conclusion"]),
        "certainty" => Some(vec!["possible"]),
        "comparator" => Some(vec!["<", "<=", ">=", ">"]),
        "then" => Some(vec!["to", "by"]),
        "step" => Some(vec!["other_limb", "next_zone", "previous_zone"]),
        "after" => Some(vec!["negative", "normal", "phrase", "place", "structure", "view"]),
        "shade" => Some(vec!["dark", "bright"]),
        "of" => Some(vec!["lesion", "either"]),
        "own" => Some(vec!["yes", "no"]),
        "never_after" => Some(vec!["finding", "seen", "structure"]),
        "never_before" => Some(vec!["lesion"]),
        "only" => Some(vec!["finding"]),
        "bare" | "alone" | "last" | "named" => Some(vec!["no"]),
        "same_zone" | "all_structures" | "also" | "of_each" | "sized" => Some(vec!["yes"]),
        "joined" => Some(vec!["and", "but", "or", "with"]),
        _ => None,
    }
}

fn unknown(sort: &str, name: &str, known: &[&str]) -> Option<String> {
    (!known.contains(&name))
        .then(|| format!("`{name}` is not a {sort} that the program knows; those are: {}", known.join(", ")))
}
