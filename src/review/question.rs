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
    /// What is the matter and what to do.
    pub text: String,
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
    pub settles: usize,
}

/// The open questions of an exam, the most dangerous first: what may be of another horse, then of another limb, then worse
/// ones before others; among those what settles most, then the earliest. What only informs comes last.
#[must_use]
pub fn questions(record: &Record, rules: &Rules) -> Vec<FindingQuestion> {
    let open = record.findings.iter().filter(|finding| finding.settled.is_none());
    let mut all: Vec<FindingQuestion> = open.map(|finding| question(record, finding)).collect();
    let danger = |id: &str| rules.rule(id).map(|rule| rule.danger).unwrap_or_default();
    // A stable sort: equal ones keep the order of the record.
    all.sort_by_key(|question| {
        let FindingQuestion { rule, severity, settles, .. } = question;
        (*severity == Severity::Info, danger(rule), *severity, std::cmp::Reverse(*settles))
    });
    all
}

fn question(record: &Record, finding: &Finding) -> FindingQuestion {
    let still = finding.frame.as_ref().and_then(|id| record.frames.iter().find(|row| &row.id == id));
    FindingQuestion {
        rule: finding.rule.clone(),
        severity: finding.severity,
        text: finding.message.clone(),
        call_seq: finding.call_seq.or_else(|| still.and_then(|row| row.call_seq)),
        at: finding.at,
        still: finding.frame.clone(),
        place: finding.place.clone(),
        rivals: still.map(|row| row.rivals.clone()).unwrap_or_default(),
        settles: settles(record, finding, still),
    }
}

/// A question of a still concerns that still, or all of a patient that was refused; one of the whole exam concerns every
/// still without a certain label; a call concerns what it labels.
fn settles(record: &Record, finding: &Finding, still: Option<&FrameRow>) -> usize {
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
