//! Whether a size is that of a finding or of the structure it is in.
//!
//! Takes: the calls of one utterance, and the protocols that say which findings have a size of their own.
//! Gives: the findings that the first size could be of, if one was said before.
//! Never: chooses between the two; that is a problem, and nothing is taken.
//! Tested in: `tests/it/language_ways.rs`.

use crate::exam::call::{Act, Call, Problem, Value, ValueSaid};
use crate::language::closed_sets::Class;
use crate::protocol::Protocols;

/// The term of one distance that was not named.
const UNNAMED: &str = "size";

/// The findings that the first call could be the size of: none where it is no size, or names what it is of.
///
/// # Errors
/// Where a size inside the utterance could be of either.
pub(crate) fn first_size(calls: &[Call], protocols: &Protocols) -> Result<Vec<String>, Problem> {
    if (0..calls.len()).any(|idx| is_of_which(calls, idx, protocols)) {
        return Err(which_size());
    }
    Ok(calls.first().map_or_else(Vec::new, |first| size_of(&first.act, protocols)))
}

/// The findings that a size could be of, too: none where it names what it is of.
fn size_of(act: &Act, protocols: &Protocols) -> Vec<String> {
    let Act::Value(Value { term, said: ValueSaid { structure: None, .. }, .. }) = act else {
        return Vec::new();
    };
    let is_size = protocols.value(term).is_some_and(|kind| kind.of_lesion.is_some());
    if is_size { protocols.sized.clone() } else { Vec::new() }
}

/// "Hypoechoic area eight millimetres wide", "eight by six lesion", "branch four millimetres, core lesion": the size of the
/// lesion, or of the structure?
fn is_of_which(calls: &[Call], idx: usize, protocols: &Protocols) -> bool {
    let could_be = size_of(&calls[idx].act, protocols);
    let is_of = |call: &Call| matches!(&call.act, Act::Finding(finding) if could_be.contains(&finding.term));
    let before = calls[..idx].iter().rev().find(|call| !matches!(call.act, Act::Value(_)));
    let is_pair = matches!(&calls[idx].act, Act::Value(value) if value.said.by.is_some());
    let is_unnamed = matches!(&calls[idx].act, Act::Value(value) if value.term == UNNAMED);
    let has_size = |call: &Call| match &call.act {
        Act::Finding(finding) => finding.class == Class::Lesion && protocols.sized.contains(&finding.term),
        _ => false,
    };
    let next = calls.get(idx + 1);
    before.is_some_and(is_of)
        || (is_pair && next.is_some_and(is_of))
        || (is_unnamed && next.is_some_and(has_size))
}

/// A size that may be the lesion's or that of the structure it is in.
pub(crate) fn which_size() -> Problem {
    Problem::new(
        "it is not clear whether it is the size of the lesion or of the structure",
        "say `lesion` before the size of a lesion, and the structure before its own",
    )
}
