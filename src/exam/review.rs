//! What a person puts right afterwards: changes, each an event that can be taken back.
//!
//! Takes: the `review` events of the journal, and the calls as they were said.
//! Gives: which changes stand, and the calls with those changes carried out.
//! Never: removes what was said or an earlier change; the later one counts, both stay.
//! Tested in: `tests/it/review_events.rs`.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::clock::Span;
use crate::exam::call::{Act, Call, Command, View};
use crate::exam::context::Context;
use crate::exam::fold::{Exam, LoggedCall};

/// Longest name, reason or description in a change, in characters.
pub const TEXT_MAX: usize = 500;

/// Whether a text holds nothing that a terminal obeys or that turns the order of what is read: no control characters
/// and none of the marks of direction of Unicode (UAX 9).
#[must_use]
pub fn is_plain(text: &str) -> bool {
    let turns =
        |c: char| matches!(c, '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}');
    !text.chars().any(|c| c.is_control() || turns(c))
}

/// A change that a person made after the exam.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Review {
    /// Who.
    pub by: String,
    /// Why, in a word.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub why: String,
    /// What stood there before, in words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub was: String,
    /// What.
    #[serde(flatten)]
    pub change: Change,
}

/// What a person changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "snake_case")]
pub enum Change {
    /// The call counts as if this had been said; a move changes all that follows from it.
    Call {
        /// The call's line.
        seq: u64,
        /// What it counts as.
        act: Act,
    },
    /// This call alone was about another place; nothing after it moves.
    Place {
        /// The call's line.
        seq: u64,
        /// The parts of its place that were wrong.
        place: View,
    },
    /// The call does not count.
    Withdraw {
        /// The call's line.
        seq: u64,
    },
    /// This call was made, though it was not heard; it counts as if it had been said at that moment.
    Add {
        /// The sample, counted from the start of the exam's audio.
        sample: u64,
        /// What it means.
        act: Act,
    },
    /// The call counts as if it had been said at another moment.
    Move {
        /// The call's line.
        seq: u64,
        /// The sample, counted from the start of the exam's audio.
        sample: u64,
    },
    /// The still was saved at this call and takes its label.
    Pair {
        /// The still's id.
        still: String,
        /// The call's line.
        seq: u64,
    },
    /// The still shows this place, whatever was said.
    Label {
        /// The still's id.
        still: String,
        /// What it shows.
        place: View,
    },
    /// The still is not part of this exam.
    LeaveOut {
        /// The still's id.
        still: String,
    },
    /// A pixel of this still is as large as these two points on its depth scale say; both sides of a pixel are alike.
    Scale {
        /// The still's id.
        still: String,
        /// The two points, in pixels from the upper left corner.
        ends_px: [(f64, f64); 2],
        /// How far they lie apart in millimetres, as the scanner writes it.
        distance_mm: f64,
    },
    /// The scanner's clock runs this much ahead of the exam's.
    Clock {
        /// Scanner minus exam, in seconds.
        offset_s: f64,
    },
    /// A person looked at this finding and leaves it as it is.
    Looked {
        /// Id of the rule.
        rule: String,
        /// What the finding said.
        finding: String,
        /// The call it points to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        seq: Option<u64>,
        /// The still it points to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        still: Option<String>,
    },
    /// An earlier change, or a typed or traced value, does not count any more.
    TakeBack {
        /// Its line.
        seq: u64,
    },
}

impl Change {
    /// Whether both speak of the same call, still, clock or finding, so that the later one replaces the earlier.
    #[must_use]
    pub fn same_target(&self, other: &Change) -> bool {
        use Change::{Call, Clock, Label, LeaveOut, Looked, Move, Pair, Place, Scale, TakeBack, Withdraw};
        match (self, other) {
            (
                Call { seq: a, .. } | Place { seq: a, .. } | Move { seq: a, .. } | Withdraw { seq: a },
                Call { seq: b, .. } | Place { seq: b, .. } | Move { seq: b, .. } | Withdraw { seq: b },
            )
            | (TakeBack { seq: a }, TakeBack { seq: b }) => a == b,
            (
                Pair { still: a, .. } | Label { still: a, .. } | LeaveOut { still: a },
                Pair { still: b, .. } | Label { still: b, .. } | LeaveOut { still: b },
            ) => a == b,
            (Scale { still: a, .. }, Scale { still: b, .. }) => a == b,
            (Clock { .. }, Clock { .. }) => true,
            (Looked { .. }, Looked { .. }) => self == other,
            _ => false,
        }
    }
}

impl Change {
    /// The call and the still it speaks of.
    #[must_use]
    pub fn target(&self) -> (Option<u64>, Option<&str>) {
        match self {
            Change::Call { seq, .. }
            | Change::Place { seq, .. }
            | Change::Move { seq, .. }
            | Change::Withdraw { seq } => (Some(*seq), None),
            Change::Pair { still, seq } => (Some(*seq), Some(still)),
            Change::Label { still, .. } | Change::LeaveOut { still } | Change::Scale { still, .. } => {
                (None, Some(still))
            }
            Change::Looked { seq, still, .. } => (*seq, still.as_deref()),
            Change::Add { .. } | Change::Clock { .. } | Change::TakeBack { .. } => (None, None),
        }
    }
}

/// A change with its line in the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedChange {
    /// Its event in the journal.
    pub seq: u64,
    /// When it was made.
    pub at: DateTime<Utc>,
    /// Who changed what.
    pub review: Review,
    /// Taken back by the change with this number.
    pub taken_back_by: Option<u64>,
}

impl Exam {
    /// The changes that stand, in the order they were made.
    pub fn standing_changes(&self) -> impl DoubleEndedIterator<Item = &LoggedChange> {
        self.changes.iter().filter(|change| change.taken_back_by.is_none())
    }

    /// What a person last said of this still, if that stands: a pairing, a label or that it is left out.
    #[must_use]
    pub fn said_of_still(&self, id: &str) -> Option<&LoggedChange> {
        self.standing_changes().rev().find(|logged| match &logged.review.change {
            Change::Pair { still, .. } | Change::Label { still, .. } | Change::LeaveOut { still } => {
                still == id
            }
            _ => false,
        })
    }

    /// The scanner's offset as set by hand in seconds, and who set it.
    #[must_use]
    pub fn clock_by_hand(&self) -> Option<(f64, &str)> {
        self.standing_changes().rev().find_map(|logged| match logged.review.change {
            Change::Clock { offset_s } => Some((offset_s, logged.review.by.as_str())),
            _ => None,
        })
    }

    /// Millimetres of a pixel's side on this still, as a person set it by hand.
    #[must_use]
    pub fn scale_by_hand_mm(&self, id: &str) -> Option<f64> {
        self.standing_changes().rev().find_map(|logged| match &logged.review.change {
            Change::Scale { still, ends_px: [from, to], distance_mm } if still == id => {
                Some(distance_mm / (to.0 - from.0).hypot(to.1 - from.1))
                    .filter(|mm| mm.is_finite() && *mm > 0.0)
            }
            _ => None,
        })
    }

    /// Adds calls and moves them in time. Done after what was spoken took back and corrected: that counted other calls.
    pub(crate) fn add_and_move_by_hand(&mut self) {
        let changes: Vec<LoggedChange> = self.standing_changes().cloned().collect();
        for logged in changes {
            let (sample, mut call) = match logged.review.change {
                Change::Add { sample, act } => (sample, added(logged.seq, sample, act)),
                Change::Move { seq, sample } => {
                    let Some(idx) = self.calls.iter().position(|call| call.seq == seq) else { continue };
                    let mut call = self.calls.remove(idx);
                    call.corrected_by.push(logged.seq);
                    (sample, call)
                }
                _ => continue,
            };
            call.said_at = self.instant_of(sample);
            let idx = self.calls.iter().take_while(|other| other.said_at <= call.said_at).count();
            self.calls.insert(idx, call);
        }
    }

    /// Marks what was taken back; the latest speaks first, so that taking back can itself be taken back.
    pub(crate) fn settle_changes(&mut self) {
        for idx in (0..self.changes.len()).rev() {
            let taking = &self.changes[idx];
            let (Change::TakeBack { seq }, None) = (&taking.review.change, taking.taken_back_by) else {
                continue;
            };
            let (target, by) = (*seq, taking.seq);
            // Only what stands before it: a line that names itself or a later one takes nothing back.
            for earlier in self.changes[..idx].iter_mut().filter(|earlier| earlier.seq == target) {
                earlier.taken_back_by = Some(by);
            }
            self.entries.retain(|entry| entry.seq != target || entry.seq > by);
        }
    }
}

/// A call that nobody heard: no words, no sound, and its own line where others have their utterance's.
fn added(seq: u64, sample: u64, act: Act) -> LoggedCall {
    let span = Span { from: sample, to: sample };
    LoggedCall {
        seq,
        heard_seq: seq,
        said_at: DateTime::default(),
        call: Call { act: act.clone(), corrects: false, words: String::new(), span, confidence: 1.0 },
        act,
        context: Context::default(),
        withdrawn_by: None,
        corrected_by: Vec::new(),
        problems: Vec::new(),
    }
}

/// Withdraws spoken calls that take back others, before they are carried out.
pub(crate) fn withdraw_take_backs(calls: &mut [LoggedCall], changes: &[LoggedChange]) {
    withdraw(calls, changes, |act| matches!(act, Act::Command(Command::TakeBack { .. })));
}

/// Withdraws all other calls; done after the spoken taking back, which counted them.
pub(crate) fn withdraw_rest(calls: &mut [LoggedCall], changes: &[LoggedChange]) {
    withdraw(calls, changes, |act| !matches!(act, Act::Command(Command::TakeBack { .. })));
}

fn withdraw(calls: &mut [LoggedCall], changes: &[LoggedChange], of: impl Fn(&Act) -> bool) {
    for logged in changes.iter().filter(|logged| logged.taken_back_by.is_none()) {
        if let Change::Withdraw { seq } = logged.review.change
            && let Some(call) = calls.iter_mut().find(|call| call.seq == seq && of(&call.call.act))
        {
            call.withdrawn_by = Some(logged.seq);
        }
    }
}

/// Puts calls right; done after spoken corrections, so that a person's word counts before them.
pub(crate) fn correct_by_hand(calls: &mut [LoggedCall], changes: &[LoggedChange]) {
    for logged in changes.iter().filter(|logged| logged.taken_back_by.is_none()) {
        if let Change::Call { seq, act } = &logged.review.change
            && let Some(call) = calls.iter_mut().find(|call| call.seq == *seq)
        {
            call.act = act.clone();
            call.corrected_by.push(logged.seq);
        }
    }
}

/// Sets the place of single calls; done last, as it changes nothing after them.
pub(crate) fn place_by_hand(calls: &mut [LoggedCall], changes: &[LoggedChange]) {
    for logged in changes.iter().filter(|logged| logged.taken_back_by.is_none()) {
        if let Change::Place { seq, place } = &logged.review.change
            && let Some(call) = calls.iter_mut().find(|call| call.seq == *seq)
        {
            let context = &mut call.context;
            for (part, right) in [
                (&mut context.limb, &place.limb),
                (&mut context.zone, &place.zone),
                (&mut context.plane, &place.plane),
                (&mut context.structure, &place.structure),
            ] {
                if right.is_some() {
                    part.clone_from(right);
                }
            }
            call.corrected_by.push(logged.seq);
        }
    }
}
