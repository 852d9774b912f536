//! What goes with everything that people read.
//!
//! Takes: nothing.
//! Gives: one text for the screen at the horse, the record, the tables, the desk, both reports and the phrase card.
//! Never: a second wording elsewhere.
//! Tested in: `tests/it/cautions.rs`.

/// Cautions that go with everything that people read.
pub const CAUTIONS: &str = "Not a diagnosis. A draft until a licensed vet has signed it. \
Cut-offs are defaults with their sources; local rules and licensed practice come first. \
Sedation and handling safety are the practice's responsibility.";

/// The caution that a vet's signature answers.
pub(crate) const UNTIL_SIGNED: &str = "A draft until a licensed vet has signed it. ";
