//! What a person should look at.
//!
//! Takes: `Exam`, `Pairing`, the labelled stills, the coverage and the protocols.
//! Gives: `Finding`s, worst first, each pointing to its call or still where there is one.
//! Never: changes or drops anything; what is odd is kept and asked about.
//! Tested in: `tests/knowledge.rs`, each rule once firing and once silent.

mod journal;
mod views;
mod stills;
mod calls;
mod values;

use chrono::{DateTime, Utc};

use crate::exam::call::Problem;
use crate::exam::fold::{Exam, LoggedCall};
use crate::frames::pairing::Pairing;
use crate::knowledge::record::{CoverageRow, Finding, FrameRow, Severity};
use crate::protocol::{Protocols, Scheme, Zone};

/// One rule: what it looks for, how much that matters, and why.
#[derive(Debug)]
pub struct Rule {
    /// Its name in the record.
    pub id: &'static str,
    /// How much its findings matter.
    pub severity: Severity,
    /// Where it comes from.
    pub source: &'static str,
    find: fn(&Evidence) -> Vec<Hit>,
}

/// All rules; within one severity findings keep this order.
#[must_use]
pub fn rules() -> &'static [Rule] {
    &RULES
}

const OURS: &str = "our own rule: nothing that was said or saved goes unseen";
const FILES: &str = "the protocol files, which name their sources";
const HABIT: &str = "common practice, no source";
const MISHEARD: &str = "our own rule: what is easily misheard is asked about";

use Severity::{Error, Info, Warn};

const RULES: [Rule; 31] = [
    rule("journal-damage", Error, OURS, journal::damage),
    rule("audio-lost", Error, OURS, journal::audio_lost),
    rule("clock-unknown", Error, OURS, stills::clock_unknown),
    rule("not-closed", Warn, OURS, journal::not_closed),
    rule("view-without-still", Warn, FILES, views::without_still),
    rule("view-missing", Warn, FILES, views::missing),
    rule("structure-without-still", Warn, FILES, views::structure_without_still),
    rule("lesion-in-one-plane", Warn, LESION_PLANES, views::lesion_in_one_plane),
    rule("quality-not-repeated", Warn, HABIT, views::quality_not_repeated),
    rule("still-ambiguous", Warn, OURS, stills::ambiguous),
    rule("still-unlabelled", Warn, OURS, stills::unlabelled),
    rule("still-label-incomplete", Warn, OURS, stills::incomplete),
    rule("still-file", Warn, OURS, stills::file),
    rule("call-problem", Warn, OURS, calls::problem),
    rule("breath-problem", Warn, OURS, calls::breath_problem),
    rule("structure-outside-zones", Warn, FILES, calls::structure_outside_zones),
    rule("finding-without-place", Warn, OURS, calls::finding_without_place),
    rule("finding-unconfirmed", Warn, MISHEARD, calls::finding_unconfirmed),
    rule("foreign-position", Warn, FILES, calls::foreign_position),
    rule("save-without-place", Warn, OURS, calls::save_without_place),
    rule("save-after-unheard", Warn, OURS, calls::save_after_unheard),
    rule("value-without-place", Warn, OURS, values::without_place),
    rule("value-in-wrong-plane", Warn, FILES, values::wrong_plane),
    rule("value-unit", Warn, FILES, values::odd_unit),
    rule("value-out-of-bounds", Warn, FILES, values::out_of_bounds),
    rule("clipped", Warn, journal::SOUND, journal::clipped),
    rule("still-from-context", Info, OURS, stills::from_context),
    rule("marker-unusual", Info, FILES, calls::marker_unusual),
    rule("unit-assumed", Info, FILES, values::unit_assumed),
    rule("not-understood", Info, OURS, journal::not_understood),
    rule("too-quiet", Info, journal::SOUND, journal::too_quiet),
];

const LESION_PLANES: &str = "a fresh lesion may look normal in one plane: Equine Clinical Medicine, Surgery and Reproduction, 2nd ed., p. 320";

const fn rule(
    id: &'static str,
    severity: Severity,
    source: &'static str,
    find: fn(&Evidence) -> Vec<Hit>,
) -> Rule {
    Rule { id, severity, source, find }
}

/// Everything worth a look, worst first; equal input gives equal findings in equal order.
#[must_use]
pub fn check(
    exam: &Exam,
    pairing: &Pairing,
    frames: &[FrameRow],
    coverage: &[CoverageRow],
    protocols: &Protocols,
) -> Vec<Finding> {
    let evidence = Evidence { exam, pairing, frames, coverage, protocols };
    let mut found: Vec<Finding> = Vec::new();
    for rule in &RULES {
        found.extend((rule.find)(&evidence).into_iter().map(|hit| hit.finding(rule)));
    }
    // Stable: within one severity the order of the table stays.
    found.sort_by_key(|finding| finding.severity);
    found
}

/// All that rules look at.
struct Evidence<'a> {
    exam: &'a Exam,
    pairing: &'a Pairing,
    frames: &'a [FrameRow],
    coverage: &'a [CoverageRow],
    protocols: &'a Protocols,
}

impl<'a> Evidence<'a> {
    /// The zone in force just after `call`, as the protocols know it.
    fn zone_of(&self, call: &LoggedCall) -> Option<(&'a Scheme, &'a Zone)> {
        let (limb, code) = (call.context.limb.as_deref()?, call.context.zone.as_deref()?);
        let scheme = self.protocols.scheme_for(limb, code, &self.exam.header.schemes)?;
        Some((scheme, scheme.zone(code)?))
    }
}

/// What a rule found: the message, and what it points to.
#[derive(Debug, Default)]
struct Hit {
    message: String,
    call_seq: Option<u64>,
    frame: Option<String>,
    at: Option<DateTime<Utc>>,
}

impl Hit {
    fn new(message: String) -> Hit {
        Hit { message, ..Hit::default() }
    }

    fn call(call: &LoggedCall, message: String) -> Hit {
        Hit { call_seq: Some(call.seq), at: Some(call.said_at), ..Hit::new(message) }
    }

    fn still(frame: &FrameRow, message: String) -> Hit {
        Hit { frame: Some(frame.id.clone()), at: frame.saved_at_exam, ..Hit::new(message) }
    }

    fn finding(self, rule: &Rule) -> Finding {
        Finding {
            severity: rule.severity,
            rule: rule.id.to_owned(),
            message: self.message,
            call_seq: self.call_seq,
            frame: self.frame,
            at: self.at,
        }
    }
}

/// A problem in one line: what is wrong, then what to do.
fn in_words(problem: &Problem) -> String {
    format!("{}; {}", problem.message, problem.help)
}
