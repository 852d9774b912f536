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

/// "Size", without "normal" before it.
pub(crate) fn normal_in_what() -> Problem {
    Problem::new(
        "it means nothing without `normal` just before it",
        "say it in one phrase, such as `size normal`",
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

/// "Core lesion down to three bravo".
pub(crate) fn how_far() -> Problem {
    Problem::new(
        "it may be how far the finding reaches, or where the probe is now",
        "say `extends to` and the zone, or pause before the next zone",
    )
}

/// "No lesion area one twelve".
pub(crate) fn may_deny(words: &str) -> Problem {
    Problem::new(
        format!("`{words}` may say that there is none, or correct a number"),
        "pause after `no lesion`; to correct a number say `correction` before it",
    )
}

/// "Undo the lesion".
pub(crate) fn takes_back_what() -> Problem {
    Problem::new(
        "it may take back that finding, or take back the last call and say the finding anew",
        "say `disregard that` by itself; an earlier finding is withdrawn at the desk",
    )
}

/// "Linear lesion", "long tear".
pub(crate) fn what_it_is_like() -> Problem {
    Problem::new(
        "it may be what the lesion looks like, or the plane or the probe",
        "say the lesion alone and describe it in a note; say a plane or a probe by itself",
    )
}

/// "Lateral deep normal", "transverse and longitudinal normal".
pub(crate) fn what_is_there() -> Problem {
    Problem::new(
        "it is not clear what was seen where",
        "say the place or the structure first, then what was found there, then its position",
    )
}

/// "Superficial thickness nine, deep eleven".
pub(crate) fn which_measure() -> Problem {
    Problem::new(
        "it is not clear what the second number measures",
        "say what each number is, such as `thickness` or `area`",
    )
}

pub(crate) fn denied_too() -> Problem {
    Problem::new(
        "it is not clear whether the second was seen or not",
        "say `or` between what is not there; pause before what is",
    )
}

pub(crate) fn normal_and_not() -> Problem {
    Problem::new(
        "one structure is called both normal and not normal in one phrase",
        "say each structure with what was found in it, then pause",
    )
}

/// "Everything normal but the check".
pub(crate) fn excepted() -> Problem {
    Problem::new(
        "it is not clear what the structure after `but` is, only that it is not what was said before it",
        "say each structure with what was found in it, such as `check enlarged`",
    )
}

pub(crate) fn which() -> Problem {
    Problem::new("it is not clear which structure is meant", "say one structure with its finding, then pause")
}

pub(crate) fn nothing_of_these() -> Problem {
    Problem::new(
        "several structures were named, and nothing was said of them",
        "say what was found in all of them in the same breath, or one structure; a place said with them counts only then",
    )
}

pub(crate) fn alone() -> Problem {
    Problem::new("it continues a phrase that was not said", "say the whole phrase again")
}

/// "Normal laterally".
pub(crate) fn normal_as_a_whole() -> Problem {
    Problem::new(
        "`normal` is said of a whole structure",
        "say `normal` alone where the whole structure is; where it is not, say what is seen and at which side",
    )
}
