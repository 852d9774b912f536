//! What a person corrects afterwards: changes, each an event that can be taken back.
//!
//! Takes: nothing; these are the bodies of the journal's `review` lines.
//! Gives: `Review` and `Change`, and what a change speaks of.
//! Never: carries a change out; that is `by_hand`'s work.
//! Tested in: `tests/it/review_events.rs`.

use serde::{Deserialize, Serialize};

use crate::clock::Sample;
use crate::exam::call::{Act, View};
use crate::exam::patient::Patient;
use crate::exam::seq::Seq;

/// Longest text of a report, in characters.
pub const WORDS_MAX: usize = 4000;
/// Longest name, reason or description in a change, in characters.
pub const TEXT_MAX: usize = 500;

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
    /// The call is treated as if this had been said; a move changes all that follows from it.
    Call {
        /// The call's line.
        seq: Seq,
        /// What it is treated as.
        act: Act,
    },
    /// This call alone was about another place; nothing after it moves.
    Place {
        /// The call's line.
        seq: Seq,
        /// The parts of its place that were wrong.
        place: View,
    },
    /// The call does not count.
    Withdraw {
        /// The call's line.
        seq: Seq,
    },
    /// This call was made, though it was not heard; it is treated as if it had been said at that moment.
    Add {
        /// The sample, counted from the start of the exam's audio.
        sample: Sample,
        /// What it means.
        act: Act,
    },
    /// The call is treated as if it had been said at another moment.
    Move {
        /// The call's line.
        seq: Seq,
        /// The sample, counted from the start of the exam's audio.
        sample: Sample,
    },
    /// The still was saved at this call and takes its label.
    Pair {
        /// The still's id.
        still: String,
        /// The call's line.
        seq: Seq,
    },
    /// The still shows this place, whatever was said.
    Label {
        /// The still's id.
        still: String,
        /// What it shows.
        place: View,
    },
    /// Stills of this patient are of the exam's horse, whatever name they carry.
    SameHorse {
        /// Whom the files name.
        patient: Patient,
    },
    /// The still is not part of this exam.
    LeaveOut {
        /// The still's id.
        still: String,
    },
    /// The still is to be among the pictures of the report, or not, whatever the program proposes.
    KeyPicture {
        /// The still's id.
        still: String,
        /// It is to be shown there.
        shown: bool,
        /// Which frame of a loop, counted from 1.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        frame_number: Option<u32>,
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
        seq: Option<Seq>,
        /// The still it points to.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        still: Option<String>,
        /// The limb it points to, where it points to neither call nor still.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        place: Option<String>,
    },
    /// This part of the report says this; empty, it says nothing.
    Words {
        /// Which part.
        part: WordsPart,
        /// In the person's own words.
        text: String,
    },
    /// A person listened to this free note: these are its words.
    NoteText {
        /// The line of the call that opened it.
        seq: Seq,
        /// What was said.
        text: String,
    },
    /// An earlier change, a typed or traced value, or a signature does not count any more.
    TakeBack {
        /// Its line.
        seq: Seq,
    },
}

/// A part of the report that a person writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WordsPart {
    /// Whose horse it is.
    Owner,
    /// How old the horse is.
    Age,
    /// Its breed.
    Breed,
    /// Its sex.
    Sex,
    /// The number of its microchip.
    Microchip,
    /// What it is used for.
    Use,
    /// Why it was scanned, and what happened before.
    Question,
    /// What the scan means.
    Impression,
    /// What to do.
    Recommendation,
}

impl WordsPart {
    /// All of them, in the order of the report.
    pub const ALL: [WordsPart; 9] = [
        WordsPart::Owner,
        WordsPart::Age,
        WordsPart::Breed,
        WordsPart::Sex,
        WordsPart::Microchip,
        WordsPart::Use,
        WordsPart::Question,
        WordsPart::Impression,
        WordsPart::Recommendation,
    ];

    /// As people read it.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            WordsPart::Owner => "Owner",
            WordsPart::Age => "Age",
            WordsPart::Breed => "Breed",
            WordsPart::Sex => "Sex",
            WordsPart::Microchip => "Microchip",
            WordsPart::Use => "Use",
            WordsPart::Question => "Question or history",
            WordsPart::Impression => "Impression",
            WordsPart::Recommendation => "Recommendation",
        }
    }
}

impl Change {
    /// Whether both speak of the same call, still, clock or finding, so that the later one replaces the earlier.
    #[must_use]
    pub fn same_target(&self, other: &Change) -> bool {
        use Change::{
            Call, Clock, KeyPicture, Label, LeaveOut, Looked, Move, NoteText, Pair, Place, SameHorse, Scale,
            TakeBack, Withdraw, Words,
        };
        match (self, other) {
            (
                Call { seq: a, .. } | Place { seq: a, .. } | Move { seq: a, .. } | Withdraw { seq: a },
                Call { seq: b, .. } | Place { seq: b, .. } | Move { seq: b, .. } | Withdraw { seq: b },
            )
            | (NoteText { seq: a, .. }, NoteText { seq: b, .. })
            | (TakeBack { seq: a }, TakeBack { seq: b }) => a == b,
            (
                Pair { still: a, .. } | Label { still: a, .. } | LeaveOut { still: a },
                Pair { still: b, .. } | Label { still: b, .. } | LeaveOut { still: b },
            ) => a == b,
            (Scale { still: a, .. }, Scale { still: b, .. })
            | (KeyPicture { still: a, .. }, KeyPicture { still: b, .. }) => a == b,
            (Clock { .. }, Clock { .. }) => true,
            (Words { part: a, .. }, Words { part: b, .. }) => a == b,
            (SameHorse { patient: a }, SameHorse { patient: b }) => a == b,
            (Looked { .. }, Looked { .. }) => self == other,
            _ => false,
        }
    }
}

impl Change {
    /// The call and the still it speaks of.
    #[must_use]
    pub fn target(&self) -> (Option<Seq>, Option<&str>) {
        match self {
            Change::Call { seq, .. }
            | Change::Place { seq, .. }
            | Change::Move { seq, .. }
            | Change::NoteText { seq, .. }
            | Change::Withdraw { seq } => (Some(*seq), None),
            Change::Pair { still, seq } => (Some(*seq), Some(still)),
            Change::Label { still, .. }
            | Change::LeaveOut { still }
            | Change::KeyPicture { still, .. }
            | Change::Scale { still, .. } => (None, Some(still)),
            Change::Looked { seq, still, .. } => (*seq, still.as_deref()),
            Change::Add { .. }
            | Change::Clock { .. }
            | Change::Words { .. }
            | Change::SameHorse { .. }
            | Change::TakeBack { .. } => (None, None),
        }
    }
}
