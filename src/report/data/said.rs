//! What was said in the view of a still.
//!
//! Takes: a still of the record.
//! Gives: a line for each finding and value.
//! Never: two numbers for one thing: where another one counts, that one comes first.
//! Tested in: `tests/it/report.rs`.

use crate::knowledge::record::{CallRow, FrameRow, Record};
use crate::protocol::Protocols;
use crate::report::spreadsheet::said_in_view;
use crate::report::words::{meaning_that_counts, structure};

/// What was said in the view of a still.
pub(super) fn said_of(frame: &FrameRow, record: &Record, protocols: &Protocols) -> Vec<String> {
    let said = |call: &CallRow| {
        let by_hand = if call.added { " (added by hand)" } else { "" };
        let what = meaning_that_counts(call, record, protocols);
        match &call.place.structure {
            Some(code) => format!("{}: {what}{by_hand}", structure(code, protocols)),
            None => format!("{what}{by_hand}"),
        }
    };
    said_in_view(frame, record).map(said).collect()
}
