//! Reads the JSpeech Grammar Format.
//!
//! Takes: the text of a grammar file: JSGF V1.0, W3C Note of 5 June 2000.
//! Gives: `Grammar`, or a `Fault` with line, column and caret.
//! Never: what it does not support passes in silence: imports, weights, `*`, `<VOID>` and recursion are faults.
//! Tested in: `tests/it/language.rs`.

use std::collections::BTreeMap;
use std::path::Path;

use crate::language::fault::{Fault, FilePlace};
use crate::language::grammar::{Grammar, GrammarNode, GrammarRule, used};

/// Longest text of a grammar, in bytes.
pub const BYTES_MAX: usize = 1 << 20;
/// Rules of one grammar.
pub const RULES_MAX: usize = 1000;
/// Brackets inside brackets.
pub const NESTING_MAX: usize = 32;
/// Words, tags and rules in one rule once every rule that it uses is written out; the built-in language has 45,000.
pub const PIECES_MAX: usize = 500_000;

/// Reads a grammar; `file` is only named in faults.
///
/// # Errors
/// A `Fault` for the first thing that is not JSGF as described above.
pub fn read(file: &Path, source: &str) -> Result<Grammar, Box<Fault>> {
    if source.len() > BYTES_MAX {
        let place = FilePlace { line: 1, column: 1 };
        let message = format!("grammar has {} bytes; at most {BYTES_MAX} are read", source.len());
        return Err(Box::new(Fault::new(file, "", place, message)));
    }
    let tokens = tokenise(file, source)?;
    let mut reader = JsgfReader { file, source, tokens, next: 0, depth: 0 };
    let grammar = reader.grammar()?;
    check_rules(&grammar, &reader)?;
    Ok(grammar)
}

#[derive(Debug, Clone, PartialEq)]
enum JsgfToken {
    /// `#JSGF ...;` up to the semicolon.
    Header(String),
    /// `/** ... */`.
    Comment(String),
    Word(String),
    Rule(String),
    Tag(String),
    Mark(char),
}

/// Cuts the text into tokens with their places; the last one is the end of the file.
fn tokenise(file: &Path, source: &str) -> Result<Vec<(JsgfToken, FilePlace)>, Box<Fault>> {
    let mut text = Text { rest: source, place: FilePlace { line: 1, column: 1 } };
    let mut tokens = Vec::new();
    while let Some(first) = text.rest.chars().next() {
        let place = text.place;
        let fault = |message: &str| Box::new(Fault::new(file, source, place, message));
        if first.is_whitespace() {
            text.take(first.len_utf8());
        } else if text.rest.starts_with("//") {
            text.take(text.rest.find('\n').unwrap_or(text.rest.len()));
        } else if text.rest.starts_with("/*") {
            let end = text.rest.find("*/").ok_or_else(|| fault("comment is not closed; add `*/`"))?;
            let comment = text.take(end + 2);
            if let Some(body) = comment.strip_prefix("/**").and_then(|body| body.strip_suffix("*/")) {
                tokens.push((JsgfToken::Comment(without_stars(body)), place));
            }
        } else if first == '#' {
            let end = text.rest.find(';').ok_or_else(|| fault("header is not closed; add `;`"))?;
            tokens.push((JsgfToken::Header(text.take(end + 1).to_owned()), place));
        } else if first == '<' {
            let end = text.rest.find('>').ok_or_else(|| fault("rule name is not closed; add `>`"))?;
            let name = text.take(end + 1);
            tokens.push((JsgfToken::Rule(name[1..end].trim().to_owned()), place));
        } else if first == '{' {
            let end = text.rest.find('}').ok_or_else(|| fault("tag is not closed; add `}`"))?;
            let tag = text.take(end + 1);
            tokens.push((JsgfToken::Tag(tag[1..end].trim().to_owned()), place));
        } else if "=|()[]+;".contains(first) {
            text.take(1);
            tokens.push((JsgfToken::Mark(first), place));
        } else if first.is_alphanumeric() || first == '\'' {
            let end = text
                .rest
                .find(|c: char| !(c.is_alphanumeric() || "'-_.".contains(c)))
                .unwrap_or(text.rest.len());
            tokens.push((JsgfToken::Word(text.take(end).to_owned()), place));
        } else {
            return Err(fault(&format!(
                "`{first}` has no meaning here; weights, `*` and imports are not supported"
            )));
        }
    }
    Ok(tokens)
}

struct Text<'a> {
    rest: &'a str,
    place: FilePlace,
}

impl<'a> Text<'a> {
    fn take(&mut self, bytes: usize) -> &'a str {
        let (taken, rest) = self.rest.split_at(bytes);
        for c in taken.chars() {
            if c == '\n' {
                self.place = FilePlace { line: self.place.line + 1, column: 1 };
            } else {
                self.place.column += 1;
            }
        }
        self.rest = rest;
        taken
    }
}

fn without_stars(comment: &str) -> String {
    let lines = comment.lines().map(|line| line.trim().trim_start_matches('*').trim());
    lines.filter(|line| !line.is_empty()).collect::<Vec<_>>().join("\n")
}

struct JsgfReader<'a> {
    file: &'a Path,
    source: &'a str,
    tokens: Vec<(JsgfToken, FilePlace)>,
    next: usize,
    /// Brackets that are open.
    depth: usize,
}

impl JsgfReader<'_> {
    fn grammar(&mut self) -> Result<Grammar, Box<Fault>> {
        match self.take() {
            Some((JsgfToken::Header(header), _)) if header.starts_with("#JSGF V1.0") => {}
            _ => {
                return Err(self.fault_at(
                    FilePlace { line: 1, column: 1 },
                    "file must begin with `#JSGF V1.0 UTF-8 en;`",
                ));
            }
        }
        self.expect_word("grammar")?;
        match self.take() {
            Some((JsgfToken::Word(_), _)) => {}
            _ => return Err(self.fault("`grammar` needs a name")),
        }
        self.expect_mark(';')?;
        let mut rules = Vec::new();
        while self.next < self.tokens.len() {
            if rules.len() == RULES_MAX {
                return Err(self.fault(format!("grammar has more than {RULES_MAX} rules; split it")));
            }
            rules.push(self.rule()?);
        }
        Ok(Grammar { file: self.file.to_owned(), rules })
    }

    fn rule(&mut self) -> Result<GrammarRule, Box<Fault>> {
        let mut comment = String::new();
        while let Some(JsgfToken::Comment(text)) = self.peek() {
            comment.clone_from(text);
            self.next += 1;
        }
        let public = matches!(self.peek(), Some(JsgfToken::Word(word)) if word == "public");
        if public {
            self.next += 1;
        }
        let (name, place) = match self.take() {
            Some((JsgfToken::Rule(name), place)) => (name, place),
            _ => return Err(self.fault("expected a rule: `<name> = words;`")),
        };
        self.expect_mark('=')?;
        let body = self.choice()?;
        self.expect_mark(';')?;
        Ok(GrammarRule { name, public, comment, body, place })
    }

    fn choice(&mut self) -> Result<GrammarNode, Box<Fault>> {
        let mut parts = vec![self.sequence()?];
        while self.peek() == Some(&JsgfToken::Mark('|')) {
            self.next += 1;
            parts.push(self.sequence()?);
        }
        Ok(if parts.len() == 1 { parts.remove(0) } else { GrammarNode::Choice(parts) })
    }

    fn sequence(&mut self) -> Result<GrammarNode, Box<Fault>> {
        let mut parts = Vec::new();
        while let Some(token) = self.peek().cloned() {
            let place = self.tokens[self.next].1;
            let node = match token {
                JsgfToken::Word(word) if word.chars().any(char::is_uppercase) => {
                    return Err(
                        self.fault_at(place, format!("word `{word}` has capitals; write it in lower case"))
                    );
                }
                JsgfToken::Word(word) => GrammarNode::Word(word, place),
                JsgfToken::Rule(name) => GrammarNode::Rule(name, place),
                JsgfToken::Tag(tag) => GrammarNode::Tag(tag, place),
                JsgfToken::Mark('(') => {
                    parts.push(self.group(')')?);
                    continue;
                }
                JsgfToken::Mark('[') => {
                    let inner = self.group(']')?;
                    parts.push(GrammarNode::Optional(Box::new(inner)));
                    continue;
                }
                JsgfToken::Mark('+') => match parts.pop() {
                    Some(last) => GrammarNode::Repeat(Box::new(last)),
                    None => return Err(self.fault_at(place, "`+` has nothing to repeat")),
                },
                _ => break,
            };
            self.next += 1;
            parts.push(node);
        }
        if parts.is_empty() {
            return Err(self.fault("nothing to say here; add words, or remove the `|` or brackets"));
        }
        Ok(if parts.len() == 1 { parts.remove(0) } else { GrammarNode::Sequence(parts) })
    }

    fn group(&mut self, close: char) -> Result<GrammarNode, Box<Fault>> {
        if self.depth == NESTING_MAX {
            let message =
                format!("brackets are nested more than {NESTING_MAX} deep; give the inner part a rule");
            return Err(self.fault(message));
        }
        self.next += 1;
        self.depth += 1;
        let inner = self.choice()?;
        self.depth -= 1;
        self.expect_mark(close)?;
        Ok(inner)
    }

    fn peek(&self) -> Option<&JsgfToken> {
        self.tokens.get(self.next).map(|(token, _)| token)
    }

    fn take(&mut self) -> Option<(JsgfToken, FilePlace)> {
        let token = self.tokens.get(self.next).cloned();
        self.next += 1;
        token
    }

    fn expect_mark(&mut self, mark: char) -> Result<(), Box<Fault>> {
        if self.peek() == Some(&JsgfToken::Mark(mark)) {
            self.next += 1;
            return Ok(());
        }
        Err(self.fault(format!("expected `{mark}`")))
    }

    fn expect_word(&mut self, word: &str) -> Result<(), Box<Fault>> {
        if matches!(self.peek(), Some(JsgfToken::Word(found)) if found == word) {
            self.next += 1;
            return Ok(());
        }
        Err(self.fault(format!("expected `{word}`")))
    }

    /// A fault at the token that comes next, or behind the last one.
    fn fault(&self, message: impl Into<String>) -> Box<Fault> {
        let last = self.tokens.len().saturating_sub(1);
        let place =
            self.tokens.get(self.next.min(last)).map_or(FilePlace { line: 1, column: 1 }, |token| token.1);
        self.fault_at(place, message)
    }

    fn fault_at(&self, place: FilePlace, message: impl Into<String>) -> Box<Fault> {
        Box::new(Fault::new(self.file, self.source, place, message))
    }
}

/// Each rule once, each name defined, none that needs itself.
fn check_rules(grammar: &Grammar, reader: &JsgfReader<'_>) -> Result<(), Box<Fault>> {
    for (idx, rule) in grammar.rules.iter().enumerate() {
        if grammar.rules[..idx].iter().any(|earlier| earlier.name == rule.name) {
            return Err(reader.fault_at(rule.place, format!("rule `<{}>` is defined twice", rule.name)));
        }
        for (name, place) in used(&rule.body) {
            if grammar.rule(&name).is_none() {
                return Err(reader.fault_at(place, format!("rule `<{name}>` is not defined")));
            }
            if needs(grammar, &name, &rule.name, &mut Vec::new()) {
                return Err(
                    reader.fault_at(place, format!("rule `<{}>` needs itself; use `+` instead", rule.name))
                );
            }
        }
    }
    let mut known = BTreeMap::new();
    for rule in &grammar.rules {
        let pieces = pieces(grammar, &rule.body, &mut known);
        if pieces > PIECES_MAX {
            let message = format!(
                "rule `<{}>` stands for {pieces} words and tags, written out; at most {PIECES_MAX} are read",
                rule.name
            );
            return Err(reader.fault_at(rule.place, message));
        }
    }
    Ok(())
}

/// How much a piece of a rule is, with every rule written out; none needs itself.
fn pieces<'a>(grammar: &'a Grammar, node: &'a GrammarNode, known: &mut BTreeMap<&'a str, usize>) -> usize {
    match node {
        GrammarNode::Word(..) | GrammarNode::Tag(..) => 1,
        GrammarNode::Optional(inner) | GrammarNode::Repeat(inner) => pieces(grammar, inner, known),
        GrammarNode::Sequence(parts) | GrammarNode::Choice(parts) => {
            parts.iter().fold(0, |sum: usize, part| sum.saturating_add(pieces(grammar, part, known)))
        }
        GrammarNode::Rule(name, _) => {
            if let Some(pieces) = known.get(name.as_str()) {
                return *pieces;
            }
            let found = grammar.rule(name).map_or(0, |rule| pieces(grammar, &rule.body, known));
            known.insert(name, found);
            found
        }
    }
}

fn needs(grammar: &Grammar, from: &str, target: &str, seen: &mut Vec<String>) -> bool {
    if from == target {
        return true;
    }
    if seen.iter().any(|name| name == from) {
        return false;
    }
    seen.push(from.to_owned());
    let named = grammar.rule(from).map(|rule| used(&rule.body)).unwrap_or_default();
    named.iter().any(|(name, _)| needs(grammar, name, target, seen))
}
