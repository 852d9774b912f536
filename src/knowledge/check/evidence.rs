//! What rules look at, and what they find.
//!
//! Takes: an exam with all that was made of it.
//! Gives: `Evidence` and `Hit`.
//! Never: a rule.
//! Tested in: `tests/it/rules/`.

use chrono::{DateTime, Utc};

use crate::exam::call::Problem;
use crate::exam::fold::{Exam, LoggedCall};
use crate::exam::seq::Seq;
use crate::frames::pairing::Pairing;
use crate::knowledge::measure::row::MeasureRow;
use crate::knowledge::record::{CoverageRow, Finding, FrameRow, Severity};
use crate::protocol::{Protocols, Scheme, Zone};

/// What to do where what was said cannot be heard any more.
const WITHOUT_SOUND: &str = "its sound was deleted, so go by the stills and by whoever was there";

/// All that rules look at.
pub(super) struct Evidence<'a> {
    pub(super) exam: &'a Exam,
    pub(super) pairing: &'a Pairing,
    pub(super) frames: &'a [FrameRow],
    pub(super) coverage: &'a [CoverageRow],
    pub(super) measures: &'a [MeasureRow],
    pub(super) protocols: &'a Protocols,
}

impl<'a> Evidence<'a> {
    /// What to do by ear; where the sound was deleted on purpose, what to do without it.
    pub(super) fn by_ear<'b>(&self, listening: &'b str) -> &'b str {
        if self.exam.is_without_sound() { WITHOUT_SOUND } else { listening }
    }

    /// A problem in one line, as `in_words`, with nothing to listen to where the sound was deleted.
    pub(super) fn in_words(&self, problem: &Problem) -> String {
        let help = &problem.help;
        let help = if help.starts_with("listen") { self.by_ear(help) } else { help };
        format!("{}; {help}", problem.message)
    }

    /// The current zone just after `call`, as the protocols know it.
    pub(super) fn zone_of(&self, call: &LoggedCall) -> Option<(&'a Scheme, &'a Zone)> {
        let (limb, code) = (call.context.place.limb.as_deref()?, call.context.place.zone.as_deref()?);
        let scheme = self.protocols.scheme_for(limb, code, &self.exam.header.schemes)?;
        Some((scheme, scheme.zone(code)?))
    }
}

/// What a rule found: the message, and what it points to.
#[derive(Debug, Default)]
pub(super) struct Hit {
    pub(super) message: String,
    pub(super) call_seq: Option<Seq>,
    pub(super) frame: Option<String>,
    pub(super) at: Option<DateTime<Utc>>,
    /// The limb, where neither call nor still is pointed to.
    pub(super) place: Option<String>,
}

impl Hit {
    pub(super) fn new(message: String) -> Hit {
        Hit { message, ..Hit::default() }
    }

    pub(super) fn call(call: &LoggedCall, message: String) -> Hit {
        Hit { call_seq: Some(call.seq), at: Some(call.said_at), ..Hit::new(message) }
    }

    pub(super) fn still(frame: &FrameRow, message: String) -> Hit {
        Hit { frame: Some(frame.id.clone()), at: frame.saved_at_exam, ..Hit::new(message) }
    }

    pub(super) fn finding(self, id: &str, severity: Severity) -> Finding {
        Finding {
            severity,
            rule: id.to_owned(),
            message: self.message,
            call_seq: self.call_seq,
            frame: self.frame,
            at: self.at,
            place: self.place,
            settled: None,
        }
    }
}

/// The words of a call; one that was added by hand has none of its own.
pub(super) fn words_of(call: &LoggedCall) -> String {
    if call.is_added() { call.act.to_string() } else { call.call.words.clone() }
}

/// The same as the beginning of a sentence: it was said, or added by hand.
pub(super) fn said(call: &LoggedCall) -> String {
    let how = if call.is_added() { "added by hand" } else { "said" };
    format!("`{}` was {how}", words_of(call))
}

/// A problem in one line: what is wrong, then what to do.
pub(super) fn in_words(problem: &Problem) -> String {
    format!("{}; {}", problem.message, problem.help)
}
