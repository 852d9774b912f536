//! What `doctor` says of one part.
//!
//! Takes: what was found, and what to do about it.
//! Gives: `DoctorLine`.
//! Never: looks for anything itself.
//! Tested in: `tests/sound/doctor.rs`.

/// The state of one part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum PartState {
    /// It is there and was tried.
    There,
    /// Missing, and nothing can be heard without it, or it was asked for by name.
    Needed,
    /// Missing, and something is worse for it.
    Better,
}

/// One part.
#[derive(Debug)]
pub(super) struct DoctorLine {
    pub(super) part: &'static str,
    pub(super) state: PartState,
    /// What was found.
    pub(super) found: String,
    /// What to do; empty where it is there.
    pub(super) remedy: String,
}

impl DoctorLine {
    /// It is there.
    pub(super) fn there(part: &'static str, found: impl Into<String>) -> Self {
        Self { part, state: PartState::There, found: found.into(), remedy: String::new() }
    }

    /// It is not.
    pub(super) fn lacks(
        part: &'static str,
        state: PartState,
        found: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        Self { part, state, found: found.into(), remedy: remedy.into() }
    }

    /// Nothing can be heard as it is: an error that names its way out, or what else to do.
    pub(super) fn wrong(part: &'static str, error: &str, otherwise: &str) -> Self {
        let (found, remedy) = error.split_once("; ").unwrap_or((error, otherwise));
        Self::lacks(part, PartState::Needed, found, remedy)
    }
}
