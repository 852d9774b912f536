//! When the switch lets through what is said.
//!
//! Takes: whether the switch is on, by the sample.
//! Gives: the moments at which what is said begins and ceases to count.
//! Never: touches the sound; all of it is kept.
//! Tested in: `tests/sound/switch.rs`.

use crate::clock::{SAMPLE_RATE_HZ, Sample};

/// A key is often let go on the last syllable: so many samples after that still count.
pub const LINGERS: u64 = SAMPLE_RATE_HZ as u64 * 3 / 10;

/// Open while the switch is on, and a little longer.
#[derive(Debug, Clone, Default)]
pub struct Gate {
    is_open: bool,
    /// The switch was let go: at this sample the gate closes.
    closes_at: Option<Sample>,
}

impl Gate {
    /// True when what is said now is acted on.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.is_open
    }

    /// Whether the gate turns before the sample `next`, while `now` is just being recorded.
    pub fn is_due(&mut self, is_on: bool, next: Sample, now: Sample) -> bool {
        if is_on {
            self.closes_at = None;
            return !self.is_open;
        }
        let closes_at = *self.closes_at.get_or_insert(now + LINGERS);
        self.is_open && next >= closes_at
    }

    /// Opens or closes it.
    pub fn turn(&mut self) {
        self.is_open = !self.is_open;
        self.closes_at = None;
    }
}
