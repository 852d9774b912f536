//! What goes with everything that people read.
//!
//! Takes: nothing.
//! Gives: one text for the screen at the horse, the record, the tables, the desk, both reports and the phrase card.
//! Never: a second wording elsewhere.
//! Tested in: `tests/it/cautions.rs`.

macro_rules! until_signed {
    () => {
        "A draft until a licensed vet has signed it. "
    };
}

/// Cautions that go with everything that people read.
pub const CAUTIONS: &str = concat!(
    "Not a diagnosis. ",
    until_signed!(),
    "Cut-offs are defaults with their sources; local rules and licensed practice come first. ",
    "Sedation and handling safety are the practice's responsibility."
);

/// The cautions as they are for a record: a signature answers one of them.
#[must_use]
pub(crate) fn cautions_now(cautions: &str, is_signed: bool) -> String {
    if is_signed { cautions.replace(UNTIL_SIGNED, "") } else { cautions.to_owned() }
}

/// The caution that a vet's signature answers: part of the others.
const UNTIL_SIGNED: &str = until_signed!();
