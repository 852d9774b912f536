//! The number of a line in the journal.
//!
//! Takes: nothing; the journal gives each line its number.
//! Gives: `Seq`, by which lines name one another.
//! Never: a count, a sample, or the place of a line in its file, which differs where lines are lost.
//! Tested in: here and `tests/it/journal.rs`.

use std::fmt;

use serde::{Deserialize, Serialize};

/// Number of a line in the journal, counted from 1; in JSON it is the bare number.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seq(pub u64);

impl Seq {
    /// The number of a journal's first line.
    pub const FIRST: Seq = Seq(1);

    /// The number of the line after it.
    #[must_use]
    pub fn next(self) -> Seq {
        Seq(self.0 + 1)
    }
}

impl fmt::Display for Seq {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;

    #[test]
    fn a_line_number_is_a_bare_number_in_json_and_in_print() {
        let seq = Seq::FIRST.next();
        assert_eq!(serde_json::to_string(&Some(seq)).unwrap(), "2");
        assert_eq!(serde_json::to_string(&BTreeMap::from([(seq, true)])).unwrap(), "{\"2\":true}");
        assert_eq!(serde_json::from_str::<Seq>("2").unwrap(), seq);
        assert_eq!(format!("[{seq:>3}]"), "[  2]");
    }
}
