//! The exam for other programs.
//!
//! Takes: `Record`.
//! Gives: JSON (the record itself), CSV (stills and calls in one table), WebVTT (captions of the kept audio).
//! Never: I/O or a clock; equal input gives equal bytes.
//! Tested in: `tests/it/report.rs` and `tests/it/schema.rs`.

use crate::knowledge::record::Record;

pub use super::cues::vtt;
pub use super::spreadsheet::csv;

/// The record as `schema/record.schema.json` describes it, indented, with a line feed at the end.
///
/// # Panics
/// Never: a record holds nothing that JSON cannot express.
#[must_use]
pub fn json(record: &Record) -> String {
    match serde_json::to_string_pretty(record) {
        Ok(text) => text + "\n",
        Err(error) => unreachable!("the keys of a record are text: {error}"),
    }
}
