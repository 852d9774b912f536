//! Random sentences of a grammar: what can be said, made by walking its rules.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use zonecall::language::automaton::Passed;
use zonecall::language::grammar::{Grammar, GrammarNode};

/// A random sentence of a rule: its words, and the tags passed on the way.
#[derive(Debug, Clone, Default)]
pub struct Sentence {
    pub words: Vec<String>,
    pub tags: Vec<Passed>,
}

/// Walks the rule, asking `choose(n)` for a number below `n` at each fork.
pub fn say(
    grammar: &Grammar,
    node: &GrammarNode,
    choose: &mut dyn FnMut(usize) -> usize,
    said: &mut Sentence,
) {
    match node {
        GrammarNode::Word(word, _) => said.words.push(word.clone()),
        GrammarNode::Tag(tag, _) => said.tags.push((tag.clone(), said.words.len())),
        GrammarNode::Rule(name, _) => say(grammar, &grammar.rule(name).unwrap().body, choose, said),
        GrammarNode::Sequence(parts) => parts.iter().for_each(|part| say(grammar, part, choose, said)),
        GrammarNode::Choice(parts) => say(grammar, &parts[choose(parts.len())], choose, said),
        GrammarNode::Optional(inner) => {
            if choose(2) == 1 {
                say(grammar, inner, choose, said);
            }
        }
        GrammarNode::Repeat(inner) => {
            for _ in 0..=choose(3) {
                say(grammar, inner, choose, said);
            }
        }
    }
}
