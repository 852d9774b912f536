//! The closed sets that only journal and record know; those that a grammar can write are in `language::closed_sets`.
//!
//! Takes: nothing; these are types.
//! Gives: `CallKind`, `ExamStatus`, `SettledAs`, `SettledBy`, `Presence`.
//! Never: a member without a text of its own.
//! Tested in: `tests/it/schema.rs`, which holds the texts to the schemas.

use crate::language::closed_sets::{AnswerWord, closed_set};

closed_set! {
    /// What a row of the record says was done.
    #[derive(Default)]
    CallKind {
        /// Moved to a limb, zone, plane or structure.
        View = "view",
        /// Set the machine, the stance, the probe or the skin.
        Setting = "setting",
        /// Said what was seen.
        Finding = "finding",
        /// Said what was measured or scored.
        Value = "value",
        /// Marked a still, or a moving sequence.
        Save = "save",
        /// Began or ended free words.
        Note = "note",
        /// Acted on the exam itself.
        Command = "command",
        /// Asked the program something.
        Question = "question",
        /// Answered a question of the program.
        Answer = "answer",
        /// Said which horse it is.
        Identity = "identity",
        /// Was not understood.
        #[default]
        Unknown = "unknown",
    }
}

closed_set! {
    /// Whether a record is final.
    ExamStatus {
        /// Nothing was written after a vet's signature.
        Signed = "signed",
        /// Everything else.
        Draft = "draft",
    }
}

closed_set! {
    /// What became of a question about an utterance, or of one that was not understood.
    SettledAs {
        /// Yes.
        Yes = "yes",
        /// No.
        No = "no",
        /// The first of two readings.
        First = "first",
        /// The second of two readings.
        Second = "second",
        /// The call was said again instead of an answer.
        Again = "again",
        /// What was asked about was taken back before it was acted on.
        TakenBack = "taken back",
        /// Another call followed the end of the exam.
        GoesOn = "goes on",
        /// Nobody objected to it.
        Nothing = "nothing",
    } else
    /// An answer that a journal holds and this version does not know.
    Unknown = "unknown"
}

closed_set! {
    /// How a question was settled.
    SettledBy {
        /// By voice.
        Voice = "voice",
        /// By a key of the terminal.
        Key = "key",
        /// By nobody: the time for an answer had passed.
        Time = "time",
    } else
    /// A way that a journal holds and this version does not know.
    Unknown = "unknown"
}

closed_set! {
    /// Whether a device that may go and come back is there.
    Presence {
        /// It is gone.
        Lost = "lost",
        /// It is there again.
        Back = "back",
        /// The sound comes from another one now.
        Moved = "moved",
    }
}

impl From<AnswerWord> for SettledAs {
    fn from(answer: AnswerWord) -> SettledAs {
        match answer {
            AnswerWord::Yes => SettledAs::Yes,
            AnswerWord::No => SettledAs::No,
            AnswerWord::First => SettledAs::First,
            AnswerWord::Second => SettledAs::Second,
            AnswerWord::Unknown => SettledAs::Unknown,
        }
    }
}
