//! One phrase of an utterance, between its tags and what surrounds it.
//!
//! Takes: nothing; these are the types between `item` and `bind`.
//! Gives: `Phrase`: a call, and what its words say about its neighbours.
//! Never: which neighbour it belongs to; that is `found_at` and `bind`.
//! Tested in: `tests/it/language_phrases.rs`.

use crate::exam::call::Call;

/// A call and what its phrase says about its neighbours.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Phrase {
    pub(crate) call: Call,
    /// The words on the way to a place or a structure.
    pub(crate) way: Way,
    /// What joins it to the phrase before it.
    pub(crate) joined: Option<Joint>,
    /// It only makes sense after a negative.
    pub(crate) after_negative: bool,
    /// "All normal": where several structures were named before it, it is said of each.
    pub(crate) of_each: bool,
    /// What it may mean beside others.
    pub(crate) hint: Hint,
}

/// What a phrase may mean beside others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Hint {
    /// Nothing else.
    Plain,
    /// "Long", "linear": just before a lesion it may be what that is like.
    Describes,
    /// A number without a name: after another measure it may be one more of that.
    Unnamed,
}

/// A word that joins a phrase to the one before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Joint {
    /// After what was not found it leaves open whether this was.
    And,
    /// Only what is not there is said of each.
    Or,
    /// It is an exception to what is before it.
    But,
    /// It is found together with what is before it.
    With,
}

/// The words on the way to a place or a structure, and so where what was said before it belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Way {
    /// None, as in "two bravo".
    Bare,
    /// "In", "on", "at": it belongs to what was found before it.
    Within,
    /// "Moving on to", "next": what was found before it was at the place before.
    Onward,
}
