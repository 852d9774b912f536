//! What the dialogue takes into account: who listens, how the program speaks, where its voice comes out.
//!
//! Takes: nothing; whoever listens sets them.
//! Gives: `DialogueOptions`.
//! Never: decides anything.
//! Tested in: `tests/it/dialogue.rs`.

/// Who listens to what the program asks.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Listener {
    /// Nobody: a recording is heard, and nothing is asked.
    #[default]
    Nobody,
    /// A person who can answer.
    Person,
}

/// How the program speaks.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Speech {
    /// It has no voice, or is not to use it.
    #[default]
    Silent,
    /// Aloud.
    Aloud,
}

/// Where the program's voice comes out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Output {
    /// In the room: the microphone hears it, too.
    #[default]
    Room,
    /// In an earpiece, which the microphone does not hear: what is said meanwhile counts as ever.
    Earpiece,
}

/// What the dialogue takes into account.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct DialogueOptions {
    /// Who listens.
    pub listener: Listener,
    /// How the program speaks.
    pub speech: Speech,
    /// Where its voice comes out.
    pub output: Output,
    /// The pair of words by which the sides are called, by its place among those of the practice; the other pair is asked
    /// about. None where the first one that is said counts.
    pub sides: Option<usize>,
    /// Samples from saving a still to its file in the scanner's folder; none where no folder is followed: then the
    /// spoken saves count.
    pub export_delay: Option<u64>,
}
