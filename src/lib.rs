//! You call the zone, it keeps the record.
//!
//! Two chains meet in the journal.
//! At the horse: `hear` (audio -> breaths -> words) -> `exam` (words -> calls -> journal).
//! Afterwards: `exam` (journal -> exam) -> `frames` (stills, paired) -> `knowledge` (record, findings) -> `tell`;
//! `review` shows all of it to a person and takes back what they put right, as events.
//! `live` is what the program answers while it listens; `trial` puts its ears to the test.
//! A folder uses only folders that stand above it here.

pub mod clock;
pub mod protocol;
pub mod trace;
pub mod language;
pub mod hear;
pub mod exam;
pub mod frames;
pub mod knowledge;
pub mod archive;
pub mod tell;
pub mod review;
pub mod live;
pub mod trial;
pub mod cli;

/// Bytes as lower-case hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
