//! The phrases of the grammar, laid out for people.
//!
//! Takes: a `Grammar` whose rules carry `@card` and `@blank` comments.
//! Gives: `Heading`s with patterns: what to say, for the phrase card.
//! Never: layout; `report::card` prints.
//! Tested in: `tests/it/language.rs`.

use crate::language::grammar::{Grammar, GrammarNode, GrammarRule};

/// One section of the card.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heading {
    /// What it is about.
    pub title: String,
    /// What it does, in one or two sentences.
    pub note: String,
    /// What can be said, and the code it stands for where it has one.
    pub patterns: Vec<(String, String)>,
}

/// Begins a line of a card's comment that shows one phrase, in place of all that the rule allows.
const SAY: &str = "@say ";

/// The card's sections in grammar order.
#[must_use]
pub fn phrases(grammar: &Grammar) -> Vec<Heading> {
    let headings = grammar.rules.iter().filter_map(|rule| {
        let (first, note) = rule.comment.split_once('\n').unwrap_or((rule.comment.as_str(), ""));
        let title = first.strip_prefix("@card ")?.to_owned();
        let (says, note): (Vec<&str>, Vec<&str>) = note.lines().partition(|line| line.starts_with(SAY));
        let note = note.join(" ");
        if !says.is_empty() {
            let patterns = says.iter().filter_map(|line| chosen(grammar, line)).collect();
            return Some(Heading { title, note, patterns });
        }
        let choices = match &rule.body {
            GrammarNode::Choice(parts) => parts.as_slice(),
            one => std::slice::from_ref(one),
        };
        let patterns =
            choices.iter().map(|part| (pattern(grammar, part, Choices::Bare), codes(part))).collect();
        Some(Heading { title, note, patterns })
    });
    headings.collect()
}

/// A phrase chosen for the card and its code: `@say left fore = LF`; none where the exam lacks the code.
fn chosen(grammar: &Grammar, line: &str) -> Option<(String, String)> {
    let said = line.strip_prefix(SAY)?;
    let (said, code) = said.split_once(" = ").unwrap_or((said, ""));
    let keys = ["limb", "zone", "plane", "structure"];
    let known = code.is_empty() || keys.iter().any(|key| grammar.has_tag(&format!("{key}={code}")));
    known.then(|| (said.trim().to_owned(), code.trim().to_owned()))
}

/// The blanks that the card's phrases hold, each with what may be said in it, in grammar order.
#[must_use]
pub fn blanks(grammar: &Grammar) -> Vec<(String, String)> {
    let mut found: Vec<(String, String)> = Vec::new();
    for rule in &grammar.rules {
        let Some((name, note)) = blank(rule) else { continue };
        // Numbers have too many words to list: a second line of the comment says them shorter.
        let words = if note.is_empty() { pattern(grammar, &rule.body, Choices::Bare) } else { note };
        // A blank that only holds another of its name says nothing.
        if words != name {
            found.push((name, words));
        }
    }
    found
}

/// The name of a blank as the card shows it, and what more its comment says.
fn blank(rule: &GrammarRule) -> Option<(String, String)> {
    let comment = rule.comment.strip_prefix("@blank ")?;
    let (name, note) = comment.split_once('\n').unwrap_or((comment, ""));
    Some((format!("‹{name}›"), note.replace('\n', " ")))
}

/// How a choice is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Choices {
    /// As it is: nothing appears next to it.
    Bare,
    /// In brackets.
    Bracketed,
}

/// What can be said, with `[ ]` for what may be left out and `( | )` for a choice.
fn pattern(grammar: &Grammar, node: &GrammarNode, choices: Choices) -> String {
    match node {
        GrammarNode::Word(word, _) => word.clone(),
        GrammarNode::Tag(..) => String::new(),
        GrammarNode::Rule(name, _) => match grammar.rule(name) {
            Some(rule) => match blank(rule) {
                Some((name, _)) => name,
                None if name == "filler" => String::new(),
                None => pattern(grammar, &rule.body, Choices::Bracketed),
            },
            None => String::new(),
        },
        GrammarNode::Sequence(parts) => joined(grammar, parts, " "),
        GrammarNode::Choice(parts) if choices == Choices::Bare => joined(grammar, parts, " | "),
        GrammarNode::Choice(parts) => format!("({})", joined(grammar, parts, " | ")),
        GrammarNode::Optional(inner) => match pattern(grammar, inner, Choices::Bare) {
            empty if empty.is_empty() => empty,
            some => format!("[{some}]"),
        },
        GrammarNode::Repeat(inner) => format!("{} ...", pattern(grammar, inner, Choices::Bracketed)),
    }
}

fn joined(grammar: &Grammar, parts: &[GrammarNode], with: &str) -> String {
    let alone = parts.iter().filter(|part| !matches!(part, GrammarNode::Tag(..))).count() == 1;
    let choices = if alone { Choices::Bare } else { Choices::Bracketed };
    let parts = parts.iter().map(|part| pattern(grammar, part, choices));
    parts.filter(|part| !part.is_empty()).collect::<Vec<_>>().join(with)
}

/// The limb, zone, plane or structure code that an alternative sets, if any.
fn codes(node: &GrammarNode) -> String {
    let mut codes = Vec::new();
    crate::language::grammar::collect(node, &mut |inner| {
        if let GrammarNode::Tag(tag, _) = inner
            && let Some((key, value)) = tag.split_once('=')
            && ["limb", "zone", "plane", "structure"].contains(&key)
            && value != "#"
        {
            codes.push(value.to_owned());
        }
    });
    codes.join(" ")
}
