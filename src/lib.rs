//! You call the zone, it keeps the record.
//!
//! Two chains meet in the journal.
//! At the horse: `speech` (audio -> utterances -> words) -> `exam` (words -> calls -> journal).
//! Afterwards: `exam` (journal -> exam) -> `frames` (stills, paired) -> `knowledge` (record, findings) -> `report`;
//! `review` shows all of it to a person and takes back what they put right, as events.
//! `session` is what the program answers while it listens; `evaluation` puts its ears to the test.
//! A folder uses only folders that stand above it here.

pub mod private;
pub mod clock;
pub mod protocol;
pub mod trace;
pub mod language;
pub mod speech;
pub mod exam;
pub mod frames;
pub mod knowledge;
pub mod exam_folder;
pub mod session;
pub mod archive;
pub mod report;
pub mod review;
pub mod evaluation;
pub mod cli;

/// Bytes as lower-case hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
