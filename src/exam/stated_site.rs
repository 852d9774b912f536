//! Which part of the body a still shows, as its file says.
//!
//! Takes: side and parts out of a file.
//! Gives: `StatedSite`.
//! Never: takes them for the label; they are held against it.
//! Tested in: `tests/it/rules/stills.rs` and `tests/it/stated_site.rs`.

use serde::{Deserialize, Serialize};

/// Which part of the body a still shows, as its file says; what it does not say is absent.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StatedSite {
    /// `left` or `right`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub side: Option<String>,
    /// Values of Body Part Examined, and codes as `SCHEME:CODE`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub parts: Vec<String>,
    /// Codes of the view, as `SCHEME:CODE`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub views: Vec<String>,
}

impl StatedSite {
    /// Itself, unless nothing is said.
    #[must_use]
    pub fn known(self) -> Option<StatedSite> {
        (self != StatedSite::default()).then_some(self)
    }
}
