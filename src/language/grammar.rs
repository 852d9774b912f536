//! The grammar as a tree: rules, alternatives, words and tags.
//!
//! Takes: rules read by `jsgf`.
//! Gives: `Grammar`: pruned to an exam's zones, its words listed.
//! Never: I/O, or what a tag means.
//! Tested in: `tests/it/language.rs`.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use crate::language::fault::FilePlace;

/// A whole grammar file.
#[derive(Debug, Clone, PartialEq)]
pub struct Grammar {
    /// The file it came from.
    pub file: PathBuf,
    /// Its rules in file order.
    pub rules: Vec<GrammarRule>,
}

/// One rule.
#[derive(Debug, Clone, PartialEq)]
pub struct GrammarRule {
    /// Its name without the angle brackets.
    pub name: String,
    /// Can be spoken as a whole.
    pub public: bool,
    /// The documentation comment in front of it, without its stars.
    pub comment: String,
    /// What it stands for.
    pub body: GrammarNode,
    /// Where it is defined.
    pub place: FilePlace,
}

/// A piece of a rule.
#[derive(Debug, Clone, PartialEq)]
pub enum GrammarNode {
    /// One word.
    Word(String, FilePlace),
    /// Another rule.
    Rule(String, FilePlace),
    /// A meaning, passed when the words before it were said.
    Tag(String, FilePlace),
    /// One after the other.
    Sequence(Vec<GrammarNode>),
    /// One of them.
    Choice(Vec<GrammarNode>),
    /// Or not at all.
    Optional(Box<GrammarNode>),
    /// Once or more.
    Repeat(Box<GrammarNode>),
}

/// A word of the grammar and where it is used.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct GrammarWord {
    /// The word, lower case.
    pub text: String,
    /// The grammar file.
    pub file: PathBuf,
    /// Line number from 1.
    pub line: usize,
}

impl Grammar {
    /// The rule with this name.
    #[must_use]
    pub fn rule(&self, name: &str) -> Option<&GrammarRule> {
        self.rules.iter().find(|rule| rule.name == name)
    }

    /// The grammar without the alternatives that carry a tag which `keep` refuses.
    ///
    /// A rule of which nothing is left disappears, and so do the alternatives that use it.
    #[must_use]
    pub fn pruned(&self, keep: &dyn Fn(&str) -> bool) -> Grammar {
        let mut gone: Vec<String> = Vec::new();
        loop {
            let mut rules = Vec::new();
            let before = gone.len();
            for rule in &self.rules {
                match prune(&rule.body, keep, &gone) {
                    Some(body) => rules.push(GrammarRule { body, ..rule.clone() }),
                    None if gone.contains(&rule.name) => {}
                    None => gone.push(rule.name.clone()),
                }
            }
            if gone.len() == before {
                return Grammar { file: self.file.clone(), rules };
            }
        }
    }

    /// The grammar with only the tags that `keep` takes: what can be said stays the same.
    #[must_use]
    pub fn with_tags(&self, keep: &dyn Fn(&str) -> bool) -> Grammar {
        let rules = self.rules.iter();
        let rules = rules.map(|rule| GrammarRule { body: with_tags(&rule.body, keep), ..rule.clone() });
        Grammar { file: self.file.clone(), rules: rules.collect() }
    }

    /// True when some phrase carries this tag.
    #[must_use]
    pub fn has_tag(&self, tag: &str) -> bool {
        let mut found = false;
        for rule in &self.rules {
            collect(&rule.body, &mut |node| {
                found |= matches!(node, GrammarNode::Tag(text, _) if text == tag)
            });
        }
        found
    }

    /// The words that no other word may sound like: those of `@apart` comments, such as `no` and `left`.
    #[must_use]
    pub fn kept_apart(&self) -> BTreeSet<String> {
        self.listed("@apart ")
    }

    /// The sounds that are passed over inside a phrase: those of `@hesitation` comments, such as `um`.
    #[must_use]
    pub fn hesitations(&self) -> BTreeSet<String> {
        self.listed("@hesitation ")
    }

    /// Endings and the word that each is short for: those of `@ending` comments, such as `'s = is`.
    #[must_use]
    pub fn endings(&self) -> Vec<(String, String)> {
        let lines = self.listed("@ending ");
        let pairs = lines.iter().filter_map(|line| line.split_once(" = "));
        pairs.map(|(ending, word)| (ending.to_owned(), word.to_owned())).collect()
    }

    /// The words of the comments that begin with `mark`.
    fn listed(&self, mark: &str) -> BTreeSet<String> {
        let lines = self.rules.iter().flat_map(|rule| rule.comment.lines());
        let words = lines.filter_map(|line| line.strip_prefix(mark)).flat_map(|words| words.split(" | "));
        words.map(|word| word.trim().to_owned()).collect()
    }

    /// Every word that `root` can say, once, where it is first used.
    #[must_use]
    pub fn words(&self, roots: &[&str]) -> Vec<GrammarWord> {
        let mut words = BTreeMap::new();
        for name in roots.iter().flat_map(|root| self.reach(root)) {
            if let Some(rule) = self.rule(&name) {
                collect(&rule.body, &mut |node| {
                    if let GrammarNode::Word(text, place) = node {
                        words.entry(text.clone()).or_insert(place.line);
                    }
                });
            }
        }
        words.into_iter().map(|(text, line)| GrammarWord { text, file: self.file.clone(), line }).collect()
    }

    /// The rules that `root` needs, itself first, each once.
    fn reach(&self, root: &str) -> Vec<String> {
        let mut found = vec![root.to_owned()];
        let mut next = 0;
        while let Some(rule) = found.get(next).and_then(|name| self.rule(name)) {
            for (name, _) in used(&rule.body) {
                if !found.contains(&name) {
                    found.push(name);
                }
            }
            next += 1;
        }
        found
    }
}

/// Calls `see` for `node` and everything inside it.
pub(crate) fn collect(node: &GrammarNode, see: &mut dyn FnMut(&GrammarNode)) {
    see(node);
    match node {
        GrammarNode::Sequence(parts) | GrammarNode::Choice(parts) => {
            parts.iter().for_each(|part| collect(part, see))
        }
        GrammarNode::Optional(inner) | GrammarNode::Repeat(inner) => collect(inner, see),
        GrammarNode::Word(..) | GrammarNode::Rule(..) | GrammarNode::Tag(..) => {}
    }
}

/// The rules that `node` names, with the places where it does.
pub(crate) fn used(node: &GrammarNode) -> Vec<(String, FilePlace)> {
    let mut used = Vec::new();
    collect(node, &mut |inner| {
        if let GrammarNode::Rule(name, place) = inner {
            used.push((name.clone(), *place));
        }
    });
    used
}

fn with_tags(node: &GrammarNode, keep: &dyn Fn(&str) -> bool) -> GrammarNode {
    let all = |parts: &[GrammarNode]| parts.iter().map(|part| with_tags(part, keep)).collect();
    match node {
        GrammarNode::Tag(tag, _) if !keep(tag) => GrammarNode::Sequence(Vec::new()),
        GrammarNode::Sequence(parts) => GrammarNode::Sequence(all(parts)),
        GrammarNode::Choice(parts) => GrammarNode::Choice(all(parts)),
        GrammarNode::Optional(inner) => GrammarNode::Optional(Box::new(with_tags(inner, keep))),
        GrammarNode::Repeat(inner) => GrammarNode::Repeat(Box::new(with_tags(inner, keep))),
        GrammarNode::Word(..) | GrammarNode::Rule(..) | GrammarNode::Tag(..) => node.clone(),
    }
}

fn prune(node: &GrammarNode, keep: &dyn Fn(&str) -> bool, gone: &[String]) -> Option<GrammarNode> {
    match node {
        GrammarNode::Word(..) => Some(node.clone()),
        GrammarNode::Rule(name, _) => (!gone.contains(name)).then(|| node.clone()),
        GrammarNode::Tag(tag, _) => keep(tag).then(|| node.clone()),
        GrammarNode::Sequence(parts) => parts
            .iter()
            .map(|part| prune(part, keep, gone))
            .collect::<Option<Vec<_>>>()
            .map(GrammarNode::Sequence),
        GrammarNode::Choice(parts) => {
            let left: Vec<GrammarNode> = parts.iter().filter_map(|part| prune(part, keep, gone)).collect();
            (!left.is_empty()).then_some(GrammarNode::Choice(left))
        }
        GrammarNode::Optional(inner) => Some(
            prune(inner, keep, gone)
                .map_or(GrammarNode::Sequence(vec![]), |kept| GrammarNode::Optional(Box::new(kept))),
        ),
        GrammarNode::Repeat(inner) => {
            prune(inner, keep, gone).map(|kept| GrammarNode::Repeat(Box::new(kept)))
        }
    }
}
