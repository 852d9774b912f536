//! You call the zone, it keeps the record.
//!
//! Two chains meet in the journal, which lies in an `exam_folder`.
//! At the horse, driven by `session`, which also answers: `speech` (audio -> utterances -> words) and `language` (what the
//! words can be) -> `exam` (words -> calls -> journal).
//! Afterwards: `exam` (journal -> exam) -> `frames` (stills, paired) and `trace` (outlines on them) -> `knowledge` (record,
//! findings; by the tables of `protocol`) -> `report`; `exchange` gives it to other systems, `archive` keeps it over the years,
//! `signing` lets a vet sign it, with the time of a `time_stamp`; `review` shows all of it to a person and writes what they
//! correct as events.
//! `evaluation` puts the ears to the test. A folder uses only folders whose `mod` stands above its own here.
//!
//! # From another program
//!
//! Without default features the library needs no C library, and opens what any zonecall wrote:
//!
//! ```
//! use zonecall::exam_folder::ExamFolder;
//! use zonecall::protocol::Protocols;
//!
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let home = tempfile::tempdir()?;
//! # let case = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/cases/001_two_zones_in_both_planes/journal.jsonl");
//! # std::fs::copy(case, ExamFolder::at(home.path()).journal_file())?;
//! # let folder = home.path();
//! let record = ExamFolder::at(folder).record(&Protocols::built_in()?)?;
//! assert_eq!(record.exam.horse.name.as_deref(), Some("Juniper"));
//! for finding in &record.findings {
//!     println!("{}: {}", finding.rule, finding.message);
//! }
//! # Ok(())
//! # }
//! ```

pub mod terminal;
pub mod file_name;
pub mod plain_file;
pub mod private;
pub mod settings_file;
pub mod machine;
pub mod clock;
pub mod code;
pub mod protocol;
pub mod trace;
pub mod language;
pub mod speech;
pub mod time_stamp;
pub mod exam;
pub mod frames;
pub mod knowledge;
pub mod exam_folder;
#[cfg(feature = "encrypt")]
pub mod encryption;
pub mod session;
#[cfg(feature = "archive")]
pub mod archive;
pub mod report;
pub mod exchange;
pub mod signing;
#[cfg(feature = "desk")]
pub mod review;
pub mod evaluation;
pub mod cli;

/// Bytes as lower-case hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

/// Bytes that are written as hexadecimal; none where it is not two digits a byte.
pub(crate) fn unhex(hexadecimal: &str) -> Option<Vec<u8>> {
    if !hexadecimal.is_ascii() || !hexadecimal.len().is_multiple_of(2) {
        return None;
    }
    let pair = |idx: usize| u8::from_str_radix(&hexadecimal[idx..idx + 2], 16).ok();
    (0..hexadecimal.len()).step_by(2).map(pair).collect()
}
