//! The vocabulary of tags: what a grammar may write between braces.
//!
//! Takes: the text of one tag.
//! Gives: what is wrong with it, if anything.
//! Never: what a tag means; `exam::parse` knows that. It only keeps a misspelt tag from being found at the horse.
//! Tested in: `tests/it/language.rs`; `grammars/README.md` explains each.

/// Closings `{!kind}`.
const CLOSINGS: [&str; 11] = [
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
];
/// Keys of `{key=text}`.
const KEYS: [&str; 18] = [
    "limb",
    "zone",
    "level",
    "plane",
    "structure",
    "slot",
    "state",
    "class",
    "term",
    "degree",
    "position",
    "confirm",
    "unit",
    "command",
    "count",
    "ask",
    "answer",
    "note",
];

/// What is wrong with a tag and what to write instead; none if it is one that the program knows.
#[must_use]
pub fn wrong(tag: &str) -> Option<String> {
    if let Some(kind) = tag.strip_prefix('!') {
        return unknown("closing", kind, &CLOSINGS);
    }
    if let Some(number) = tag.strip_prefix('+') {
        let whole = number.parse::<u32>().is_ok();
        return (!whole).then(|| format!("`{{{tag}}}` adds no whole number; write `{{+80}}`"));
    }
    if tag == "." {
        return None;
    }
    match tag.split_once('=') {
        Some((key, "")) => Some(format!("`{{{tag}}}` gives no text after `{key}=`")),
        Some((key, _)) => unknown("tag", key, &KEYS),
        None => {
            Some(format!("`{{{tag}}}` is no tag; write `{{key=text}}`, `{{+80}}`, `{{.}}` or `{{!kind}}`"))
        }
    }
}

fn unknown(sort: &str, name: &str, known: &[&str]) -> Option<String> {
    (!known.contains(&name))
        .then(|| format!("`{name}` is no {sort} that the program knows; there are: {}", known.join(", ")))
}
