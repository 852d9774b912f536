//! Exams kept over the years, in one file or on a server that several boxes share.
//!
//! Takes: records with the hash of the journal they were made from.
//! Gives: all exams of a horse, and exams by what was seen in them.
//! Never: keeps an exam twice, or drops an earlier version of one; the longest journal is used.
//! Tested in: `tests/it/archive.rs`, on SQLite and on PostgreSQL alike.
//!
//! One SQL for both: text, whole numbers and `$1`. Instants are RFC 3339 in UTC, so that text sorts as time.

mod schema;
mod open;
mod write;
mod read;
mod copy;

pub use copy::ArchiveState;
pub use open::{Archive, ArchiveError};
pub use read::{ArchiveQuery, ArchivedRecord, FiledVersion, Found, HISTORY_SQL};
pub use write::{Filed, Filing};
