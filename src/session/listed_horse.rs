//! A horse on the list of the day.
//!
//! Takes: nothing; the list is read elsewhere.
//! Gives: `ListedHorse`.
//! Never: a horse without a number to name it by.
//! Tested in: `tests/it/horse_name.rs`.

use crate::exam::event::{Horse, Order};

/// A horse on the list of the day, with all that an exam takes from there.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct ListedHorse {
    /// What it is named by.
    pub number: String,
    /// The horse.
    pub horse: Horse,
    /// What the practice's system knows its exam by.
    pub order: Option<Order>,
}

impl ListedHorse {
    /// Its name, or what stands for it, as it is said.
    #[must_use]
    pub fn name(&self) -> String {
        self.horse.name.clone().unwrap_or_else(|| format!("horse {}", self.number))
    }
}
