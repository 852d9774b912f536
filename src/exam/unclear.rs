//! Why a phrase of the language is not taken where it stands.
//!
//! Takes: what to say instead, where the grammar knows.
//! Gives: the problem, with what to say.
//! Never: decides that there is one; that is `parse`.
//! Tested in: `tests/it/language_asked.rs`.

use crate::exam::call::Problem;

pub(crate) fn not_after_no() -> Problem {
    Problem::new(
        "`no` goes before a limb, a zone, a plane, a number, or a finding that is not there",
        "say `correction` before a structure that was meant, `not seen` after one that is not there",
    )
}

pub(crate) fn begins_like_a_question() -> Problem {
    Problem::new(
        "it begins like a question",
        "say what is seen, or where the probe is, without `is` in front",
    )
}

pub(crate) fn like_talk() -> Problem {
    Problem::new(
        "it sounds like people talking to each other",
        "say the place, or what to do, without words before it",
    )
}

pub(crate) fn too_short() -> Problem {
    Problem::new(
        "one short word is too easily misheard to be a finding",
        "say the finding in full, such as `core lesion`",
    )
}

pub(crate) fn corrects_which() -> Problem {
    Problem::new(
        "it is not clear whether this is the right phrase, or the right one is still to come",
        "say `correction`, then the right phrase",
    )
}

pub(crate) fn said_to_others(instead: Option<&str>) -> Problem {
    Problem {
        message: "on its own, people also say it to somebody nearby".to_owned(),
        help: instead.unwrap_or("say it in the words of the phrase card").to_owned(),
    }
}

pub(crate) fn also_what() -> Problem {
    Problem::new(
        "it is not clear what was found in the last structure",
        "say each structure with what was found in it",
    )
}

pub(crate) fn of_which() -> Problem {
    Problem::new(
        "it is not clear whether it is a part of the structure before it, or another one",
        "say what it is a part of, or `and` between the two",
    )
}

pub(crate) fn of_what() -> Problem {
    Problem::new(
        "it means nothing without a structure just before it",
        "say the structure with it, or `normal`",
    )
}

pub(crate) fn of_where() -> Problem {
    Problem::new("it means nothing without a place just before it", "say the zone with it, or `long axis`")
}

/// A phrase of the language that could be taken for what it does not mean.
pub(crate) fn unclear(instead: &str) -> Problem {
    Problem {
        message: "these words could be taken to mean something else".to_owned(),
        help: instead.to_owned(),
    }
}
