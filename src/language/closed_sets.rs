//! The closed sets of meanings: classes, commands, questions, answers, facts of a horse. Each member is spelled once.
//!
//! Takes: the text of a tag.
//! Gives: the member of the set, or none; a grammar with another spelling is refused when it is loaded.
//! Never: a phrase; how a member is said is the grammar's business.
//! Tested in: `tests/it/language.rs`.

/// A closed set, each member with the text by which grammars, journals and records name it.
///
/// After `else` stands the member for a text that a journal of a later version holds: `Unknown = "..."`, or `Other`, which
/// keeps the text. No grammar can write it.
macro_rules! closed_set {
    (
        $(#[$about:meta])*
        $set:ident { $($(#[$doc:meta])* $member:ident = $text:literal,)+ }
        $(else $(#[$else_doc:meta])* $else:ident = $else_text:literal)?
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
        pub enum $set {
            $($(#[$doc])* #[serde(rename = $text)] $member,)+
            $($(#[$else_doc])* #[serde(other, rename = $else_text)] $else,)?
        }

        impl $set {
            /// Every member that this version knows.
            pub const ALL: &[$set] = &[$($set::$member,)+];

            /// As grammars, journals and records spell it.
            #[must_use]
            pub const fn as_str(self) -> &'static str {
                match self {
                    $($set::$member => $text,)+
                    $($set::$else => $else_text,)?
                }
            }
        }

        $crate::language::closed_sets::named!($set);
    };
    (
        $(#[$about:meta])*
        $set:ident { $($(#[$doc:meta])* $member:ident = $text:literal,)+ }
        else $(#[$else_doc:meta])* $else:ident
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
        pub enum $set {
            $($(#[$doc])* #[serde(rename = $text)] $member,)+
            $(#[$else_doc])*
            #[serde(untagged)]
            $else(String),
        }

        impl $set {
            /// Every member that this version knows.
            pub const ALL: &[$set] = &[$($set::$member,)+];

            /// As grammars, journals and records spell it.
            #[must_use]
            pub fn as_str(&self) -> &str {
                match self {
                    $($set::$member => $text,)+
                    $set::$else(text) => text,
                }
            }
        }

        $crate::language::closed_sets::named!($set);
    };
}

/// The member of a set that has a text, and its text for people.
macro_rules! named {
    ($set:ident) => {
        impl $set {
            /// The member with this text; none where this version knows no such member.
            #[must_use]
            pub fn named(text: &str) -> Option<$set> {
                $set::ALL.iter().find(|member| member.as_str() == text).cloned()
            }
        }

        impl std::fmt::Display for $set {
            fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                out.write_str(self.as_str())
            }
        }
    };
}
pub(crate) use {closed_set, named};

closed_set! {
    /// What sort of finding it is.
    Class {
        /// Nothing is wrong.
        Normal = "normal",
        /// The structure was looked for and could not be seen.
        Absent = "absent",
        /// It was not scanned.
        NotDone = "not_done",
        /// Something is wrong.
        Lesion = "lesion",
        /// What was seen of one thing, such as a surface, is as it should be; says nothing about anything else.
        Unremarkable = "unremarkable",
        /// The named thing was looked for and not found; says nothing about anything else.
        Negative = "negative",
        /// Not normal, without a word of what it is.
        Abnormal = "abnormal",
        /// An impression against the other limb or the last scan.
        Comparison = "comparison",
        /// More about the finding before it.
        Detail = "detail",
        /// How good the picture is.
        Quality = "quality",
    } else
    /// A class that a journal holds and this version does not know.
    Other
}

closed_set! {
    /// Which question is put to the program.
    Ask {
        /// What is current.
        Where = "where",
        /// What is still to be scanned.
        Left = "left",
        /// The view that is scanned next.
        Next = "next",
        /// The last call.
        Last = "last",
        /// What the other limb or the last scan showed.
        Compare = "compare",
        /// A number said before.
        Value = "value",
        /// How many stills were saved.
        Saved = "saved",
    } else
    /// A question that a journal holds and this version does not know.
    Unknown = "unknown"
}

closed_set! {
    /// What is answered to a question of the program.
    AnswerWord {
        /// That is it.
        Yes = "yes",
        /// That is not it.
        No = "no",
        /// The first of two.
        First = "first",
        /// The second of two.
        Second = "second",
    } else
    /// An answer that a journal holds and this version does not know.
    Unknown = "unknown"
}

closed_set! {
    /// Which command acts on the exam; what belongs to it is in `exam::call::Command`.
    CommandName {
        /// Undo the last calls.
        TakeBack = "take_back",
        /// Undo the last save.
        TakeBackSave = "take_back_save",
        /// The still saved now pins the offset between the two clocks.
        ClockMark = "clock_mark",
        /// Pause the journal; the name is that of the first journals.
        PauseJournal = "stop_listening",
        /// Resume the journal; likewise.
        ResumeJournal = "start_listening",
        /// Open an exam.
        StartOfExam = "start_of_exam",
        /// Close the exam.
        EndOfExam = "end_of_exam",
        /// A limb is done.
        LimbDone = "limb_done",
        /// Another horse comes.
        NewHorse = "new_horse",
    }
}

closed_set! {
    /// What a call says of the horse.
    HorseFact {
        /// Its name, spelled.
        Name = "horse_name",
        /// The rest of a name that was broken off.
        MoreOfName = "horse_name_more",
        /// Its number on the list of the day.
        Number = "horse_number",
        /// The practice's number for it. No grammar says it: the program adds it to a name that a person has chosen.
        Id = "horse_id",
        /// The number of its chip.
        Microchip = "microchip",
        /// The last digits of that number.
        MicrochipEnd = "microchip_end",
        /// The number of its case.
        CaseNumber = "case_number",
        /// Where it is stabled.
        Stable = "stable",
        /// Its age in years.
        Age = "age",
        /// Its breed.
        Breed = "breed",
        /// Its sex.
        Sex = "sex",
    } else
    /// Something that a journal holds and this version does not know.
    Other
}
