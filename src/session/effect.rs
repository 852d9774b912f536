//! What happens to the dialogue, and what it needs done.
//!
//! Takes: nothing; these are the types between the dialogue and whoever carries out what it decides.
//! Gives: `Input` and `Effect`.
//! Never: I/O.
//! Tested in: `tests/it/dialogue.rs`.

use std::path::PathBuf;

use crate::clock::{Anchor, Sample, Span};
use crate::code::LimbCode;
use crate::exam::call::Problem;
use crate::exam::closed_sets::Presence;
use crate::exam::event::{CloseReason, Event, ExamEvent, Frame};
use crate::exam::parse::Parsed;
use crate::language::closed_sets::AnswerWord;
use crate::session::notice::{Device, ScreenChange};
use crate::session::tone::Tone;
use crate::speech::utterance::Utterance;

pub use crate::exam::phrase_end::AnswerExpected;

/// How an utterance came to the ear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrival {
    /// From its first sample to its last.
    Whole,
    /// Sound was lost in it, and half a phrase can mean something else.
    Broken,
    /// The switch to talk by was off.
    SwitchedOff,
    /// It began before the program had said that it listens.
    TooEarly,
}

/// An utterance that ended, recognised and understood.
#[derive(Debug, Clone, PartialEq)]
pub struct HeardUtterance {
    /// What the engine made of it.
    pub utterance: Utterance,
    /// What it means by itself.
    pub parsed: Parsed,
    /// What its second reading means, where the engine is unsure.
    pub rival: Option<Parsed>,
    /// How it came.
    pub arrival: Arrival,
}

/// Something that happens; each comes with the sample that the exam has reached.
#[derive(Debug, Clone, PartialEq)]
pub enum Input {
    /// An utterance ended.
    Utterance(Box<HeardUtterance>),
    /// A key answers the question that waits.
    Key(AnswerWord),
    /// The program itself could be heard in this stretch.
    OwnSound(ProgramSound, Span),
    /// Whether a person speaks just now.
    Floor(Floor),
    /// Time has passed.
    Time,
    /// A still has arrived from the scanner; its file appeared at this sample.
    Still {
        /// What its file says.
        frame: Box<Frame>,
        /// When its file appeared.
        at: Sample,
    },
    /// A file has arrived from the scanner that is not a still.
    NoStill {
        /// The file.
        file: PathBuf,
        /// What is wrong with it.
        problem: Problem,
    },
    /// All stills have arrived that will.
    LastStills,
    /// A device went, or came back.
    Device {
        /// Which one.
        device: Device,
        /// What happened.
        presence: Presence,
        /// Its name, for the journal.
        name: String,
    },
    /// The clocks were read together.
    Anchor(Anchor),
    /// A line for the journal about the sound itself.
    Line(Box<Event>),
    /// Listening ends.
    End {
        /// Why, for the journal.
        reason: CloseReason,
    },
}

/// What could be heard of the program itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ProgramSound {
    /// Its voice, saying this.
    Voice(String),
    /// One of its tones.
    Tone,
}

/// Whether a person speaks just now.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Floor {
    /// Nobody does: the program may.
    #[default]
    Free,
    /// Somebody does.
    Taken,
}

/// Something that is to be done, in this order.
#[derive(Debug, Clone, PartialEq)]
pub enum Effect {
    /// Append this line to the journal; its number is the journal's next one.
    Write(Box<ExamEvent>),
    /// Sound a tone.
    Sound(Tone),
    /// Say this aloud.
    Say(String),
    /// Change what the screen shows.
    Show(ScreenChange),
    /// Expect other words from now on.
    Expect(Expected),
}

impl Effect {
    /// The line that is to be written, if this is one.
    pub(super) fn line(&self) -> Option<&ExamEvent> {
        match self {
            Effect::Write(line) => Some(line),
            _ => None,
        }
    }
}

/// What the engine should expect.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Expected {
    /// Code of the current limb.
    pub limb: Option<LimbCode>,
    /// Whether an answer may come.
    pub answer: AnswerExpected,
}
