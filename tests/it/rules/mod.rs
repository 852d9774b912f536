//! Each rule of `check`, run on exams that break it and on exams that keep it.
//!
//! The files follow `src/knowledge/check/`. A rule without a case each way fails the first test here.
use crate::support;
use crate::support::case;

mod alike;
mod after_end;
mod calls;
mod habits;
mod journal;
pub(crate) mod lesions;
mod stills;
mod values;
mod views;

use std::cell::Cell;
use std::collections::BTreeSet;

use case::Case;
use support::BUILT_IN;
use zonecall::knowledge::check::rule_ids;
use zonecall::knowledge::record::Finding;
use zonecall::protocol::Protocols;
use zonecall::protocol::rules::Weight;

/// One rule while its cases run; it counts them.
pub(crate) struct Rule {
    id: &'static str,
    fired: Cell<usize>,
    kept: Cell<usize>,
}

/// What a file of cases lists: a rule, and what runs its cases.
pub(crate) type Cases = (&'static str, fn(&Rule));

impl Rule {
    fn new(id: &'static str) -> Rule {
        Rule { id, fired: Cell::new(0), kept: Cell::new(0) }
    }

    fn found(&self, case: &Case, protocols: &Protocols) -> Vec<Finding> {
        case.record(protocols).findings.into_iter().filter(|finding| finding.rule == self.id).collect()
    }

    /// `case` breaks the rule once, with `words` in the message.
    #[track_caller]
    fn fires(&self, words: &str, case: &Case) -> Finding {
        self.fires_under(&BUILT_IN.1, words, case)
    }

    /// The same under the protocols of a practice.
    #[track_caller]
    fn fires_under(&self, protocols: &Protocols, words: &str, case: &Case) -> Finding {
        let found = self.found(case, protocols);
        assert_eq!(found.len(), 1, "{}: {found:#?}", self.id);
        self.has_fired(&[words], found).remove(0)
    }

    /// `case` breaks the rule at several places, with these words in the messages, in order.
    #[track_caller]
    fn fires_at_each(&self, words: &[&str], case: &Case) -> Vec<Finding> {
        self.has_fired(words, self.found(case, &BUILT_IN.1))
    }

    #[track_caller]
    fn has_fired(&self, words: &[&str], found: Vec<Finding>) -> Vec<Finding> {
        assert_eq!(found.len(), words.len(), "{}: {found:#?}", self.id);
        for (finding, words) in found.iter().zip(words) {
            let message = &finding.message;
            assert!(message.contains(words), "{}: `{words}` is not in `{message}`", self.id);
        }
        self.fired.set(self.fired.get() + 1);
        found
    }

    /// `case` keeps the rule.
    #[track_caller]
    fn silent(&self, case: &Case) {
        self.silent_under(&BUILT_IN.1, case);
    }

    /// The same under the protocols of a practice.
    #[track_caller]
    fn silent_under(&self, protocols: &Protocols, case: &Case) {
        assert_eq!(self.found(case, protocols), [], "{}", self.id);
        self.kept.set(self.kept.get() + 1);
    }
}

fn all() -> impl Iterator<Item = Cases> {
    [
        journal::CASES,
        after_end::CASES,
        views::CASES,
        stills::CASES,
        alike::CASES,
        calls::CASES,
        values::CASES,
        lesions::CASES,
        habits::CASES,
    ]
    .into_iter()
    .flatten()
    .copied()
}

#[test]
fn every_rule_fires_on_an_exam_that_breaks_it_and_is_silent_on_one_that_keeps_it() {
    for (id, cases) in all() {
        let rule = Rule::new(id);
        cases(&rule);
        assert!(rule.fired.get() > 0, "`{id}` lacks a case that fires");
        assert!(rule.kept.get() > 0, "`{id}` lacks a case that is silent");
    }
    let (with_cases, known): (BTreeSet<_>, BTreeSet<_>) =
        (all().map(|rule| rule.0).collect(), rule_ids().collect());
    assert_eq!(with_cases, known, "each rule of the program has its cases, and no other");
    assert_eq!(all().count(), known.len(), "and has them in one place");
}

#[test]
fn every_rule_stands_in_the_file_once_in_the_same_order_with_a_source_and_a_reason() {
    let file: Vec<&str> = BUILT_IN.1.rules.rule.iter().map(|rule| rule.id.as_str()).collect();
    assert_eq!(file, rule_ids().collect::<Vec<_>>());
    assert_eq!(file.iter().collect::<BTreeSet<_>>().len(), file.len());
    assert!(BUILT_IN.1.rules.rule.iter().all(|rule| !rule.source.is_empty() && rule.why.len() > 20));
}

#[test]
fn a_rule_can_be_weighed_otherwise_or_switched_off() {
    let marker = Rule::new("marker-never-said");
    let case = case::said(&["left fore two bravo transverse"]);
    let weighed = |weight| {
        let mut protocols = BUILT_IN.1.clone();
        let rule = protocols.rules.rule.iter_mut().find(|rule| rule.id == marker.id).unwrap();
        rule.severity = weight;
        marker.found(&case, &protocols)
    };
    assert_eq!(weighed(Weight::Off), []);
    assert_ne!(weighed(Weight::Error)[0].severity, weighed(Weight::Info)[0].severity);
}
