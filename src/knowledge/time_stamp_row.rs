//! The time stamp of a signature, as the record has it.
//!
//! Takes: nothing; it is a row.
//! Gives: `StampRow`.
//! Never: a time stamp that does not hold.
//! Tested in: `tests/it/time_stamp/kept.rs`.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// A time stamp by a third party (RFC 3161) of the line of a signature.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StampRow {
    /// When it was stamped, by the clock of the server.
    pub at: DateTime<Utc>,
    /// The server, by the name in its certificate; whether that leads to an authority is not looked at here.
    pub by: String,
}
