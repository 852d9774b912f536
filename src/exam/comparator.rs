//! A number that is a bound: on which side of it the true one is.
//!
//! Takes: the sign, as grammars and journals write it.
//! Gives: `Comparator`, its sign and its words.
//! Never: a number to compute with; a bound is none.
//! Tested in: `tests/it/language_degrees.rs`.

use serde::{Deserialize, Serialize};

/// On which side of the spoken number the true one is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Comparator {
    /// Below it.
    #[serde(rename = "<")]
    Below,
    /// Below it, or the number itself.
    #[serde(rename = "<=")]
    AtMost,
    /// Above it, or the number itself.
    #[serde(rename = ">=")]
    AtLeast,
    /// Above it.
    #[serde(rename = ">")]
    Above,
}

impl Comparator {
    /// All of them.
    const ALL: [Comparator; 4] =
        [Comparator::Below, Comparator::AtMost, Comparator::AtLeast, Comparator::Above];

    /// The one with this sign.
    pub(crate) fn of_sign(sign: &str) -> Option<Comparator> {
        Comparator::ALL.into_iter().find(|known| known.sign() == sign)
    }

    /// As journals, spreadsheets and other programs write it.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Comparator::Below => "<",
            Comparator::AtMost => "<=",
            Comparator::AtLeast => ">=",
            Comparator::Above => ">",
        }
    }

    /// What people say before the number.
    #[must_use]
    pub const fn in_words(self) -> &'static str {
        match self {
            Comparator::Below => "less than",
            Comparator::AtMost => "at most",
            Comparator::AtLeast => "at least",
            Comparator::Above => "more than",
        }
    }
}
