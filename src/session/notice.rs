//! What a person at the horse can be shown: kinds of lines, devices that come and go, changes of the screen.
//!
//! Takes: nothing; these are the types between the dialogue and the screen.
//! Gives: `Notice`, `Device`, `ScreenChange`.
//! Never: I/O.
//! Tested in: `tests/it/dialogue.rs`.

use crate::exam::closed_sets::Presence;
use crate::exam::event::Outcome;
use crate::exam::place::Place;

/// What a line is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Notice {
    /// An utterance was understood, and its calls are in the journal.
    Heard,
    /// An utterance was not understood.
    NotUnderstood,
    /// The program asks back.
    Asked,
    /// A question was answered.
    Settled,
    /// Known talk.
    Talk,
    /// Part of a free note.
    Note,
    /// Heard while nothing counted.
    Ignored,
    /// The program answers a question.
    Answer,
    /// A still has arrived.
    Still,
    /// A file has arrived that is not a still.
    NoStill,
    /// A view was left without a still.
    Forgotten,
    /// A part of the place is not known, and what was said hangs on it.
    Incomplete,
    /// What there is of a limb, or of the exam.
    Summary,
    /// The switch to talk by was turned.
    Switch,
    /// About the listening itself.
    Listening,
    /// About the listening itself, and bad.
    Fault,
}

impl Notice {
    /// The word that opens its line; empty where none does.
    #[must_use]
    pub fn label(self) -> &'static str {
        match self {
            Notice::Heard => "heard",
            Notice::NotUnderstood => "not understood",
            Notice::Asked => "ASKED",
            Notice::Settled => "settled",
            Notice::Talk => "talk",
            Notice::Note => "note",
            Notice::Ignored => "ignored",
            Notice::Answer => "answer",
            Notice::Still => "still",
            Notice::NoStill => "no still",
            Notice::Forgotten => "FORGOTTEN?",
            Notice::Incomplete => "WHICH?",
            Notice::Summary => "summary",
            Notice::Switch => "switch",
            Notice::Listening => "",
            Notice::Fault => "FAULT",
        }
    }
}

impl From<Outcome> for Notice {
    fn from(outcome: Outcome) -> Self {
        match outcome {
            Outcome::Calls => Notice::Heard,
            Outcome::NotUnderstood => Notice::NotUnderstood,
            Outcome::Asked => Notice::Asked,
            Outcome::Talk => Notice::Talk,
            Outcome::Note => Notice::Note,
            Outcome::Ignored => Notice::Ignored,
        }
    }
}

/// A device that may go and come back while the program listens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Device {
    /// What is listened with.
    Microphone,
    /// What is held or pressed to talk.
    Switch,
}

impl Device {
    /// What a person is shown when it goes or comes back.
    #[must_use]
    pub fn line(self, presence: Presence) -> (Notice, &'static str) {
        match (self, presence) {
            (Device::Microphone, Presence::Lost) => {
                (Notice::Fault, "the microphone is lost: nothing is heard until it is back")
            }
            (Device::Microphone, Presence::Back) => (Notice::Listening, "the microphone is back"),
            (Device::Microphone, Presence::Moved) => (
                Notice::Fault,
                "the sound server now records from another source: is it the right microphone?",
            ),
            (Device::Switch, Presence::Moved) => (Notice::Listening, "a different switch is in use now"),
            (Device::Switch, Presence::Lost) => {
                (Notice::Fault, "the switch is lost: nothing is acted on until it is back")
            }
            (Device::Switch, Presence::Back) => (Notice::Listening, "the switch is back"),
        }
    }
}

/// A change of what the screen shows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ScreenChange {
    /// A line of what happened.
    Line(Notice, String),
    /// The question that waits, with its answers; none when it waits no more.
    Question(Option<String>),
    /// The exam has changed.
    Exam,
    /// A still of this view has arrived.
    StillOf(Place),
    /// These are all the views of which a still has arrived: a correction has moved some.
    StillsOf(Vec<Place>),
}
