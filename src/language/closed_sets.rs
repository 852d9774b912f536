//! The closed sets of meanings: classes, commands, questions and answers, each spelled once.
//!
//! Takes: the text of a tag.
//! Gives: the member of the set, or none; a grammar with another spelling is refused when it is loaded.
//! Never: a phrase; how a member is said is the grammar's business.
//! Tested in: `tests/it/language.rs`.

use std::fmt::{Display, Formatter};

use serde::{Deserialize, Serialize};

/// What sort of finding it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Class {
    /// Nothing is wrong.
    Normal,
    /// The structure was looked for and could not be seen.
    Absent,
    /// It was not scanned.
    NotDone,
    /// Something is wrong.
    Lesion,
    /// The named thing was looked for and not found; says nothing about anything else.
    Negative,
    /// Not normal, without a word of what it is.
    Abnormal,
    /// An impression against the other limb or the last scan.
    Comparison,
    /// More about the finding before it.
    Detail,
    /// How good the picture is.
    Quality,
    /// A class that a journal holds and this version does not know; no grammar can write it.
    #[serde(untagged)]
    Other(String),
}

impl Class {
    /// Every class that a grammar can write, as journals, records and grammars spell it.
    pub const NAMES: [&str; 9] =
        ["normal", "absent", "not_done", "lesion", "negative", "abnormal", "comparison", "detail", "quality"];
    const ALL: [Class; 9] = [
        Class::Normal,
        Class::Absent,
        Class::NotDone,
        Class::Lesion,
        Class::Negative,
        Class::Abnormal,
        Class::Comparison,
        Class::Detail,
        Class::Quality,
    ];

    /// As journals, records and grammars spell it.
    #[must_use]
    pub fn as_str(&self) -> &str {
        match self {
            Class::Other(text) => text,
            known => Class::ALL.iter().position(|class| class == known).map_or("", |idx| Class::NAMES[idx]),
        }
    }

    /// The class that a grammar spells so.
    #[must_use]
    pub fn named(text: &str) -> Option<Class> {
        let idx = Class::NAMES.iter().position(|name| *name == text)?;
        Some(Class::ALL[idx].clone())
    }
}

/// Which question is put to the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ask {
    /// What is current.
    Where,
    /// What is still to be scanned.
    Left,
    /// The view that is scanned next.
    Next,
    /// The last call.
    Last,
    /// What the other limb or the last scan showed.
    Compare,
    /// A number said before.
    Value,
    /// How many stills were saved.
    Saved,
    /// A question that a journal holds and this version does not know.
    #[serde(other)]
    Unknown,
}

impl Ask {
    /// Every question that a grammar can write.
    pub const ALL: [Ask; 7] =
        [Ask::Where, Ask::Left, Ask::Next, Ask::Last, Ask::Compare, Ask::Value, Ask::Saved];

    /// As journals, records and grammars spell it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Ask::Where => "where",
            Ask::Left => "left",
            Ask::Next => "next",
            Ask::Last => "last",
            Ask::Compare => "compare",
            Ask::Value => "value",
            Ask::Saved => "saved",
            Ask::Unknown => "unknown",
        }
    }

    /// The question that a grammar spells so.
    #[must_use]
    pub fn named(text: &str) -> Option<Ask> {
        Ask::ALL.into_iter().find(|ask| ask.as_str() == text)
    }
}

/// What is answered to a question of the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AnswerWord {
    /// That is it.
    Yes,
    /// That is not it.
    No,
    /// The first of two.
    First,
    /// The second of two.
    Second,
    /// An answer that a journal holds and this version does not know.
    #[serde(other)]
    Unknown,
}

impl AnswerWord {
    /// Every answer that a grammar can write.
    pub const ALL: [AnswerWord; 4] = [AnswerWord::Yes, AnswerWord::No, AnswerWord::First, AnswerWord::Second];

    /// As journals, records and grammars spell it.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            AnswerWord::Yes => "yes",
            AnswerWord::No => "no",
            AnswerWord::First => "first",
            AnswerWord::Second => "second",
            AnswerWord::Unknown => "unknown",
        }
    }

    /// The answer that a grammar spells so.
    #[must_use]
    pub fn named(text: &str) -> Option<AnswerWord> {
        AnswerWord::ALL.into_iter().find(|answer| answer.as_str() == text)
    }
}

/// Names of the commands that a grammar can write.
pub const COMMANDS: [&str; 9] = [
    "take_back",
    "take_back_save",
    "clock_mark",
    "stop_listening",
    "start_listening",
    "start_of_exam",
    "end_of_exam",
    "limb_done",
    "new_horse",
];

macro_rules! shown {
    ($($set:ty),+) => {$(
        impl Display for $set {
            fn fmt(&self, out: &mut Formatter<'_>) -> std::fmt::Result {
                out.write_str(self.as_str())
            }
        }
    )+};
}
shown!(Class, Ask, AnswerWord);
