//! What an error costs: the parts of a reading that must not be wrong.
//!
//! Takes: nothing; these are the types between the meaning of words and the trust in them.
//! Gives: `Stake`, `Stakes`, `Limit`.
//! Never: meaning; what a part means is a text that is only compared.
//! Tested in: `tests/it/stakes.rs`.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

/// A part of a reading that costs much if it is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stake {
    /// All that follows belongs to another limb.
    Limb,
    /// A wrong number is in the report.
    Number,
    /// Something is there, is not there, or was not looked for; it is one thing and not another.
    Presence,
    /// Takes calls back.
    TakeBack,
    /// What follows is not taken for calls.
    Note,
    /// Replaces the call before.
    Correction,
    /// Ends the exam, or the listening.
    End,
}

/// What is at stake in a reading, each with what the reading makes of it.
pub type Stakes = BTreeSet<(Stake, String)>;

/// What is at stake in words.
pub type StakesOf = Box<dyn Fn(&[&str]) -> Stakes + Send>;

/// What is wanted before a reading with a stake is acted on.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// It is at least so probable.
    pub right_min: f64,
    /// A rival that makes something else of the stake is at least so far behind: natural logarithm of the odds.
    pub rival_min: f64,
}

/// A limit for each stake that has one.
pub type Limits = BTreeMap<Stake, Limit>;

/// Why a reading is not acted on, as far as its stakes go; none where it may be.
///
/// `rivals` are what is at stake in the other readings, each with how far it is behind.
#[must_use]
pub fn broken(limits: &Limits, best: &Stakes, right: f64, rivals: &[(f64, Stakes)]) -> Option<Stake> {
    let (of, none) = (
        |stakes: &Stakes, stake: Stake| -> BTreeSet<String> {
            stakes.iter().filter(|(own, _)| *own == stake).map(|(_, text)| text.clone()).collect()
        },
        BTreeSet::new(),
    );
    limits.iter().find_map(|(stake, limit)| {
        let own = of(best, *stake);
        let improbable = own != none && right < limit.right_min;
        let rivalled =
            || rivals.iter().any(|(behind, other)| *behind < limit.rival_min && of(other, *stake) != own);
        (improbable || rivalled()).then_some(*stake)
    })
}
