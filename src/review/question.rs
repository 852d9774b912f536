//! What is open, in the order of danger.
//!
//! Takes: `Record`.
//! Gives: `FindingQuestion`s: each finding that a person has to look at, with the readings to choose between.
//! Never: settles one; a finding that a person looked at stays in the record and leaves this list.
//! Tested in: here and in `tests/it/review.rs`.

use chrono::{DateTime, Utc};
use serde::Serialize;

use crate::exam::closed_sets::CallKind;
use crate::exam::seq::Seq;
use crate::knowledge::record::{Finding, FrameRow, Record, RivalLabel, Severity, Status};
use crate::protocol::rules::Rules;

/// Something to be settled by a person.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FindingQuestion {
    /// Id of the rule that asks.
    pub rule: String,
    /// How much it matters.
    pub severity: Severity,
    /// What is the matter and what to do, as the record has it.
    pub text: String,
    /// The same for people at the desk: a still by its number there, not by the name of its file.
    pub shown: String,
    /// The call it points to.
    pub call_seq: Option<Seq>,
    /// When it is about, where the record says so.
    pub at: Option<DateTime<Utc>>,
    /// The still it points to, by its id.
    pub still: Option<String>,
    /// The limb, where it points to neither call nor still.
    pub place: Option<String>,
    /// Labels to choose between.
    pub rivals: Vec<RivalLabel>,
    /// How many stills and calls hang on it.
    pub concerns: usize,
    /// The label of a still may be wrong.
    pub doubts_label: bool,
    /// One look answers all questions of this rule.
    pub one_look: bool,
}

/// The open questions of an exam, the most dangerous first: what may be of another horse, then of another limb, then worse
/// ones before others; among those what may be a wrong label, then what concerns most, then the earliest.
#[must_use]
pub fn questions(record: &Record, rules: &Rules) -> Vec<FindingQuestion> {
    of_findings(record, rules, Finding::is_open)
}

/// What only informs and nobody has settled, in the same order: nothing has to be done about it.
#[must_use]
pub(super) fn informing(record: &Record, rules: &Rules) -> Vec<FindingQuestion> {
    of_findings(record, rules, |finding| finding.settled.is_none() && !finding.is_open())
}

fn of_findings(record: &Record, rules: &Rules, wanted: impl Fn(&Finding) -> bool) -> Vec<FindingQuestion> {
    let open = record.findings.iter().filter(|finding| wanted(finding));
    let mut all: Vec<FindingQuestion> = open.map(|finding| question(record, rules, finding)).collect();
    let danger = |id: &str| rules.rule(id).map(|rule| rule.danger).unwrap_or_default();
    // A stable sort: equal ones keep the order of the record.
    all.sort_by_key(|question| {
        let FindingQuestion { rule, severity, doubts_label, concerns, .. } = question;
        (danger(rule), *severity, !doubts_label, std::cmp::Reverse(*concerns))
    });
    all
}

fn question(record: &Record, rules: &Rules, finding: &Finding) -> FindingQuestion {
    let rule = rules.rule(&finding.rule);
    let still = finding.frame.as_ref().and_then(|id| record.frames.iter().find(|row| &row.id == id));
    FindingQuestion {
        rule: finding.rule.clone(),
        severity: finding.severity,
        text: finding.message.clone(),
        shown: by_number(&finding.message, record),
        call_seq: finding.call_seq.or_else(|| still.and_then(|row| row.call_seq)),
        at: finding.at,
        still: finding.frame.clone(),
        place: finding.place.clone(),
        rivals: still.map(|row| row.rivals.clone()).unwrap_or_default(),
        concerns: concerns(record, finding, still),
        doubts_label: rule.is_some_and(|rule| rule.doubt.is_some()),
        one_look: rule.is_some_and(|rule| rule.one_look),
    }
}

/// The sentence with each still called by its number at the desk; a file name that two stills have stays.
fn by_number(message: &str, record: &Record) -> String {
    let mut shown = message.to_owned();
    for (idx, frame) in record.frames.iter().enumerate() {
        let name = format!("`{}`", frame.name());
        let is_sole = || record.frames.iter().filter(|other| other.name() == frame.name()).count() == 1;
        if shown.contains(&name) && is_sole() {
            let number = format!("still {}", idx + 1);
            shown = shown.replace(&format!("still {name}"), &number).replace(&name, &number);
        }
    }
    shown
}

/// A question of a still concerns that still, or all of a patient that was refused; one of the whole exam concerns every
/// still without a certain label; a call concerns what it labels.
fn concerns(record: &Record, finding: &Finding, still: Option<&FrameRow>) -> usize {
    if let Some(still) = still {
        let same = |row: &&FrameRow| row.refused.is_some() && row.patient == still.patient;
        return if still.refused.is_some() { record.frames.iter().filter(same).count() } else { 1 };
    }
    match finding.call_seq {
        Some(seq) => {
            let labelled = record.frames.iter().filter(|row| row.call_seq == Some(seq)).count();
            labelled + moved_by(record, seq)
        }
        None => record.frames.iter().filter(|row| row.status == Status::Unlabelled).count().max(1),
    }
}

/// Calls after a move up to the next one: they are at the place it names.
fn moved_by(record: &Record, seq: Seq) -> usize {
    let mut after = record.calls.iter().skip_while(|call| call.seq != seq);
    match after.next() {
        Some(call) if call.kind == CallKind::View || call.kind == CallKind::Unknown => {
            1 + after.take_while(|call| call.kind != CallKind::View).count()
        }
        _ => 1,
    }
}
