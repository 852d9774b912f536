//! What can be said, rule by rule, as `docs/language.md` has it: from the grammar itself, each rule with an example that is
//! said to the program.
use std::collections::BTreeSet;

use super::generated::table;
use crate::support::{BUILT_IN, exam_of, utterance};
use zonecall::exam::parse::parse;
use zonecall::language::grammar::{Grammar, GrammarNode, GrammarRule};

/// Words that may stand before and after a phrase and change nothing.
const PASSED_OVER: [&str; 4] = ["fillers", "trailers", "going", "going_to"];
/// A part of at most this many words is written out where it is used.
const WRITTEN_OUT_MAX: usize = 4;
/// What the examples say for a part whose first words would make an odd one.
const SAID_FOR: [(&str, &str); 7] = [
    ("number", "twelve"),
    ("area_number", "one twelve"),
    ("figures", "four four one seven"),
    ("zero_to_three", "two"),
    ("one_to_four", "two"),
    ("degree", "mild"),
    ("share", "thirty percent"),
];
/// Where the examples are said; the later ones only where an example says nothing before.
const BEFORE: [&[&str]; 5] = [
    &["left fore two bravo transverse superficial flexor"],
    &["left fore two bravo transverse superficial flexor", "severe core lesion"],
    &["left fore two bravo transverse superficial flexor", "no core lesion"],
    &["left fore two bravo transverse superficial flexor", "note"],
    &["left fore two bravo transverse superficial flexor", "pause the journal"],
];
/// What an example may need before it in the same phrase.
const FIRST: [&str; 6] =
    ["", "no core lesion ", "deep flexor ", "area one hundred ", "core lesion ", "normal "];
/// Other choices tried for an example that says nothing.
const TRIES: usize = 8;
/// Tags whose value a part is listed with.
const SHOWN: [&str; 13] = [
    "limb",
    "zone",
    "plane",
    "offset",
    "structure",
    "place",
    "degree",
    "position",
    "attribute",
    "certainty",
    "term",
    "state",
    "than",
];

/// The sections of the page.
pub fn sections() -> String {
    let grammar = &BUILT_IN.0.grammar;
    let mut page = LanguagePage { grammar, listed: BTreeSet::new(), open: Vec::new() };
    let item = grammar.rule("item").unwrap();
    let mut out = String::new();
    for name in rules_in(&item.body) {
        out.push_str(&page.section(grammar.rule(&name).unwrap()));
    }
    out
}

/// The page while it is written.
struct LanguagePage<'a> {
    grammar: &'a Grammar,
    /// Parts that were listed, or are about to be.
    listed: BTreeSet<String>,
    /// Parts that this section has still to list.
    open: Vec<String>,
}

impl LanguagePage<'_> {
    fn section(&mut self, rule: &GrammarRule) -> String {
        let (title, note) = rule.comment.split_once('\n').unwrap_or((&rule.comment, ""));
        let title = title.strip_prefix("@card ").or_else(|| title.strip_prefix("@title "));
        let title = title.unwrap_or_else(|| panic!("<{}> has no `@card` or `@title`", rule.name));
        let note: Vec<&str> = note.lines().filter(|line| !line.starts_with('@')).collect();
        let rows: Vec<Vec<String>> = alternatives(&rule.body)
            .into_iter()
            .map(|part| {
                let (example, meaning) = match says_instead(part) {
                    Some(instead) => (self.first(part), format!("nothing; zonecall says: {instead}")),
                    None => self.example(&rule.name, part),
                };
                vec![format!("\"{example}\""), meaning, self.pattern(part, false)]
            })
            .collect();
        let mut out = format!("\n## {title}\n\n");
        if !note.is_empty() {
            out.push_str(&format!("{}\n\n", note.join(" ").replace(". ", ".\n")));
        }
        out.push_str(&table(&["For example", "In the journal", "All ways to say it"], rows));
        let mut parts = Vec::new();
        while !self.open.is_empty() {
            let name = self.open.remove(0);
            let body = &self.grammar.rule(&name).unwrap().body;
            let ways: Vec<String> = alternatives(body).into_iter().map(|part| self.way(part)).collect();
            parts.push(vec![shown(&name), ways.join(" / ")]);
        }
        if !parts.is_empty() {
            out.push('\n');
            out.push_str(&table(&["Part", "Said as"], parts));
        }
        out
    }

    /// An alternative of a part, with what it stands for.
    fn way(&mut self, part: &GrammarNode) -> String {
        let mut codes = Vec::new();
        tags(part, &mut codes);
        let pattern = self.pattern(part, true);
        if codes.is_empty() { pattern } else { format!("{pattern} = {}", codes.join(" ")) }
    }

    fn pattern(&mut self, node: &GrammarNode, bracketed: bool) -> String {
        match node {
            GrammarNode::Word(word, _) => word.clone(),
            GrammarNode::Tag(..) => String::new(),
            GrammarNode::Rule(name, _) if PASSED_OVER.contains(&name.as_str()) => String::new(),
            GrammarNode::Rule(name, _) => {
                let body = &self.grammar.rule(name).unwrap().body;
                if is_short(body) {
                    return self.pattern(body, true);
                }
                if self.listed.insert(name.clone()) {
                    self.open.push(name.clone());
                }
                shown(name)
            }
            GrammarNode::Sequence(parts) => {
                let alone = parts.iter().filter(|part| !matches!(part, GrammarNode::Tag(..))).count() == 1;
                let said: Vec<String> =
                    parts.iter().map(|part| self.pattern(part, bracketed || !alone)).collect();
                said.into_iter().filter(|said| !said.is_empty()).collect::<Vec<_>>().join(" ")
            }
            GrammarNode::Choice(parts) => {
                let said: Vec<String> = parts.iter().map(|part| self.pattern(part, false)).collect();
                if bracketed { format!("({})", said.join(" / ")) } else { said.join(" / ") }
            }
            GrammarNode::Optional(inner) => match self.pattern(inner, false) {
                empty if empty.is_empty() => empty,
                some => format!("[{some}]"),
            },
            GrammarNode::Repeat(inner) => format!("{} …", self.pattern(inner, true)),
        }
    }

    /// A phrase that an alternative allows, and what the program takes it for.
    fn example(&self, rule: &str, part: &GrammarNode) -> (String, String) {
        for turn in 0..TRIES {
            let mut words = Vec::new();
            self.say(part, turn, &mut BTreeSet::new(), &mut words);
            for first in FIRST {
                let phrase = format!("{first}{}", words.join(" "));
                if let Some(meaning) = meaning(&phrase) {
                    return (phrase, meaning);
                }
            }
        }
        let phrase = self.first(part);
        if BUILT_IN.0.exam.read(&phrase.split(' ').collect::<Vec<_>>()).len() > 1 {
            return (phrase, "nothing: it can mean two things, and zonecall asks".to_owned());
        }
        panic!("no example of <{rule}> says anything: {}", self.clone_for_pattern().pattern(part, false));
    }

    /// The first phrase that an alternative allows.
    fn first(&self, part: &GrammarNode) -> String {
        let mut words = Vec::new();
        self.say(part, 0, &mut BTreeSet::new(), &mut words);
        words.join(" ")
    }

    fn clone_for_pattern(&self) -> LanguagePage<'_> {
        LanguagePage { grammar: self.grammar, listed: BTreeSet::new(), open: Vec::new() }
    }

    /// Says the first of each choice, in a later `turn` a later one, and another where the same part is said twice.
    fn say(&self, node: &GrammarNode, turn: usize, used: &mut BTreeSet<String>, words: &mut Vec<String>) {
        match node {
            GrammarNode::Word(word, _) => words.push(word.clone()),
            GrammarNode::Tag(..) | GrammarNode::Optional(_) => {}
            GrammarNode::Rule(name, _) if PASSED_OVER.contains(&name.as_str()) => {}
            GrammarNode::Rule(name, _) => match SAID_FOR.iter().find(|(part, _)| part == name) {
                Some((_, said)) => words.push((*said).to_owned()),
                None => {
                    let again = !used.insert(name.clone());
                    let body = &self.grammar.rule(name).unwrap().body;
                    self.say(body, turn + usize::from(again), used, words);
                }
            },
            GrammarNode::Sequence(parts) => {
                parts.iter().for_each(|part| self.say(part, turn, used, words));
            }
            GrammarNode::Choice(parts) => self.say(&parts[turn % parts.len()], 0, used, words),
            GrammarNode::Repeat(inner) => self.say(inner, turn, used, words),
        }
    }
}

/// What a phrase becomes in the journal; none where it says nothing.
fn meaning(phrase: &str) -> Option<String> {
    for before in BEFORE {
        let said: Vec<&str> = before.iter().copied().chain([phrase]).collect();
        let exam = exam_of(&said);
        let last = exam.utterances.last().unwrap().seq;
        let calls: Vec<String> = exam
            .calls
            .iter()
            .filter(|call| call.heard_seq == last)
            .map(|call| call.act.to_string())
            .collect();
        if !calls.is_empty() {
            return Some(calls.join("; "));
        }
    }
    let parsed = parse(&utterance(0.0, phrase), &BUILT_IN.0, &BUILT_IN.1);
    match (parsed.correction_waits, parsed.talk) {
        (true, _) => Some("the next call corrects the last one of its kind".to_owned()),
        (_, true) => Some("nothing".to_owned()),
        _ => None,
    }
}

fn shown(name: &str) -> String {
    format!("‹{}›", name.replace('_', " "))
}

fn alternatives(body: &GrammarNode) -> Vec<&GrammarNode> {
    match body {
        GrammarNode::Choice(parts) => parts.iter().collect(),
        one => vec![one],
    }
}

/// The rules that a node names itself, in order.
fn rules_in(node: &GrammarNode) -> Vec<String> {
    match node {
        GrammarNode::Rule(name, _) => vec![name.clone()],
        GrammarNode::Sequence(parts) | GrammarNode::Choice(parts) => {
            parts.iter().flat_map(rules_in).collect()
        }
        GrammarNode::Optional(inner) | GrammarNode::Repeat(inner) => rules_in(inner),
        GrammarNode::Word(..) | GrammarNode::Tag(..) => Vec::new(),
    }
}

/// Few words, no other part and nothing to list with a code.
fn is_short(node: &GrammarNode) -> bool {
    fn words(node: &GrammarNode) -> usize {
        match node {
            GrammarNode::Word(..) => 1,
            GrammarNode::Tag(..) => 0,
            GrammarNode::Rule(..) => WRITTEN_OUT_MAX + 1,
            GrammarNode::Sequence(parts) | GrammarNode::Choice(parts) => parts.iter().map(words).sum(),
            GrammarNode::Optional(inner) | GrammarNode::Repeat(inner) => words(inner),
        }
    }
    words(node) <= WRITTEN_OUT_MAX
}

/// What the tags of an alternative stand for, those of its parts apart.
fn tags(node: &GrammarNode, found: &mut Vec<String>) {
    match node {
        GrammarNode::Tag(tag, _) => {
            let value = tag.split_once('=').filter(|(key, _)| SHOWN.contains(key));
            found.extend(value.map(|(_, value)| value.to_owned()));
        }
        GrammarNode::Sequence(parts) => parts.iter().for_each(|part| tags(part, found)),
        // Which of a choice is said is not known here.
        GrammarNode::Choice(_) | GrammarNode::Word(..) | GrammarNode::Rule(..) => {}
        GrammarNode::Optional(_) | GrammarNode::Repeat(_) => {}
    }
}

/// Of a phrase that is read back: what to say in its place.
fn says_instead(part: &GrammarNode) -> Option<String> {
    let GrammarNode::Sequence(parts) = part else { return None };
    parts.iter().find_map(|part| match part {
        GrammarNode::Tag(tag, _) => tag.strip_prefix("say=").map(str::to_owned),
        _ => None,
    })
}
