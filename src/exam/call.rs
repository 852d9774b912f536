//! What can be meant: the closed set of calls.
//!
//! Takes: nothing; these are the types between the parser, the journal and the record.
//! Gives: `Call` and its parts.
//! Never: a clinical word; codes and terms come from the grammar and the protocols.
//! Tested in: `exam::parse` and `exam::fold`.

use serde::{Deserialize, Serialize};

use crate::clock::Span;
use crate::protocol::LevelProblem;

/// One thing said, as understood: an act and the words it came from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Call {
    /// What it means.
    #[serde(flatten)]
    pub act: Act,
    /// Said after "correction": it replaces an earlier call of the same kind.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub corrects: bool,
    /// The words as heard.
    pub words: String,
    /// Where they were heard.
    pub span: Span,
    /// The least sure of its words, 0 to 1.
    pub confidence: f64,
}

/// What a call does.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Act {
    /// Moves to a limb, zone, plane or structure; what is not named stays in force.
    View(View),
    /// Sets the machine, the stance, the probe or the skin.
    Setting(Setting),
    /// Says what was seen at the place in force.
    Finding(Finding),
    /// Says what was measured or scored at the place in force.
    Value(Value),
    /// A still was saved at this moment.
    Save,
    /// Free words begin (`open`) or end.
    Note {
        /// Begin or end.
        open: bool,
    },
    /// Acts on the exam itself.
    Command(Command),
    /// Asks the program something.
    Question {
        /// Which question, as the grammar names it: `where`, `left`, `last`.
        ask: String,
    },
    /// Answers a question that the program asked.
    Answer {
        /// Which answer, as the grammar names it: `yes`, `no`, `first`, `second`.
        answer: String,
    },
}

/// A move: the parts that were named, and nothing else.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct View {
    /// Limb code of the protocols, such as `LF`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub limb: Option<String>,
    /// Zone code, such as `2A`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// Distance below the scheme's landmark in centimetres; the zone follows from it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level_cm: Option<f64>,
    /// Plane code, such as `T`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub plane: Option<String>,
    /// Structure code, such as `SDFT`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub structure: Option<String>,
}

/// A setting: it stays in force until the same slot is set again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Setting {
    /// Which setting: `standoff`, `stance`, `imaging depth`, ...
    pub slot: String,
    /// Its new state in words, where it is not a number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
    /// Its new value, where it is a number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub amount: Option<Amount>,
}

/// Something seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// What sort: `normal`, `absent` (looked for, not there), `not_done`, `lesion`, `quality`.
    pub class: String,
    /// The term, as the grammar writes it.
    pub term: String,
    /// How marked it is: `mild`, `moderate`, `severe`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub degree: Option<String>,
    /// Where in the structure: one or two directions.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub position: Vec<String>,
    /// Too easily misheard to be taken without a read-back, and none has settled it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unconfirmed: bool,
}

/// Something measured or scored.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Value {
    /// What was measured: `area`, `echo score`, ...
    pub term: String,
    /// How much.
    pub amount: Amount,
}

/// A number with its unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Amount {
    /// The number as said.
    pub number: f64,
    /// UCUM unit (`mm2`, `cm`, `%`, ...); none for scores and bare settings.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// The unit was not said: it is the term's default of the protocols.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub unit_assumed: bool,
}

/// An act on the exam itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "command", rename_all = "snake_case")]
pub enum Command {
    /// Undo the last calls.
    TakeBack {
        /// How many, at least 1.
        count: usize,
    },
    /// The still saved now pins the offset between the two clocks.
    ClockMark,
    /// Log nothing until told to start again.
    StopListening,
    /// Go on logging.
    StartListening,
    /// Open an exam, where the program waits for one; inside an exam it changes nothing.
    StartOfExam,
    /// Close the exam.
    EndOfExam,
}

/// Something that could not be taken as said; data for a person, never a failure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Problem {
    /// What is wrong, in words.
    pub message: String,
    /// What to do or say instead.
    pub help: String,
}

impl From<LevelProblem> for Problem {
    fn from(problem: LevelProblem) -> Problem {
        Problem { message: problem.message, help: problem.help }
    }
}
