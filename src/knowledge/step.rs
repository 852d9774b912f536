//! How far one zone is from another.
//!
//! Takes: two zones of a limb, and the current scheme.
//! Gives: `Step`.
//! Never: an opinion; what is too far is data of the practice.
//! Tested in: `tests/it/ask.rs`, `tests/it/knowledge.rs`.

use std::collections::BTreeMap;

use crate::protocol::Protocols;

/// A move from one zone to another in the order of their scheme.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    from: usize,
    to: usize,
}

impl Step {
    /// The move; none where the zones are not of one scheme.
    #[must_use]
    pub fn between(
        limb: &str,
        from: &str,
        to: &str,
        schemes: &BTreeMap<String, String>,
        protocols: &Protocols,
    ) -> Option<Step> {
        let scheme = protocols.scheme_for(limb, from, schemes)?;
        let place = |code: &str| scheme.zones.iter().position(|zone| zone.code == code);
        Some(Step { from: place(from)?, to: place(to)? })
    }

    /// How many zones further, up or down: 1 is the next one.
    #[must_use]
    pub fn zones(self) -> usize {
        self.from.abs_diff(self.to)
    }

    /// It goes to the first zone, which is how the next pass over a limb begins.
    #[must_use]
    pub fn begins_anew(self) -> bool {
        self.to == 0
    }
}
