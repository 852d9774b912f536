//! The journal folded into one exam.
//!
//! Takes: the journal's events in order, and the protocols.
//! Gives: `Exam`: what was said, with the context that was in force, taking back and putting right carried out.
//! Never: I/O, a clock, or a guess; equal events give an equal exam.
//! Tested in: `tests/cases.rs` and here.

use chrono::{DateTime, Utc};

use crate::clock::{Anchor, Span};
use crate::exam::call::{Act, Call, Problem};
use crate::exam::context::Context;
use crate::exam::event::{AudioFile, Frame, Header, Outcome};

/// The exam as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Exam {
    /// The journal's first line.
    pub header: Header,
    /// Calls in the order they were said, withdrawn ones too.
    pub calls: Vec<LoggedCall>,
    /// Every breath, understood or not.
    pub breaths: Vec<Breath>,
    /// Free notes.
    pub notes: Vec<Note>,
    /// Saved stills, in the order they were found.
    pub frames: Vec<Frame>,
    /// Audio files.
    pub audio: Vec<AudioFile>,
    /// Clock anchors.
    pub anchors: Vec<Anchor>,
    /// What is in force at the end.
    pub context: Context,
    /// When listening ended, and why; none while it goes on or after a crash.
    pub closed: Option<(DateTime<Utc>, String)>,
    /// Samples lost while listening.
    pub samples_lost: u64,
    /// Faults of the journal itself, with the line they are on.
    pub damage: Vec<(u64, Problem)>,
}

/// A call with what was in force.
#[derive(Debug, Clone, PartialEq)]
pub struct LoggedCall {
    /// Its event in the journal.
    pub seq: u64,
    /// The breath it came from.
    pub heard_seq: u64,
    /// When it was said (start of its span).
    pub said_at: DateTime<Utc>,
    /// As heard.
    pub call: Call,
    /// As it counts: `call.act`, or what a later correction made of it.
    pub act: Act,
    /// What was in force just after it.
    pub context: Context,
    /// Taken back by the call with this number.
    pub withdrawn_by: Option<u64>,
    /// Put right by the calls with these numbers.
    pub corrected_by: Vec<u64>,
    /// What keeps it from being taken as said.
    pub problems: Vec<Problem>,
}

/// One breath.
#[derive(Debug, Clone, PartialEq)]
pub struct Breath {
    /// Its event in the journal.
    pub seq: u64,
    /// When it began.
    pub said_at: DateTime<Utc>,
    /// Where it lies in the audio.
    pub span: Span,
    /// The words the engine heard, joined; may be empty.
    pub words: String,
    /// How sure the engine is, 0 to 1.
    pub confidence: f64,
    /// What became of it.
    pub outcome: Outcome,
    /// Why it was not taken.
    pub problems: Vec<Problem>,
}

/// A free note.
#[derive(Debug, Clone, PartialEq)]
pub struct Note {
    /// The call that opened it.
    pub seq: u64,
    /// Its whole span in the audio.
    pub span: Span,
    /// What was in force when it was spoken.
    pub context: Context,
}
