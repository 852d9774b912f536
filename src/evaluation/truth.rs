//! What was said in a recording, and when, written down by a person.
//!
//! Takes: a table with tabs: `from_s`, `to_s`, `words`, a line for each thing said, in order.
//! Gives: `SpokenStretch` rows.
//! Never: decides whether words are a phrase.
//! Tested in: `tests/it/compare.rs`.

use std::path::{Path, PathBuf};

use serde::Deserialize;

use crate::clock::{Sample, Span};
use crate::terminal::ShownText as _;

/// Something said.
#[derive(Debug, Clone, PartialEq)]
pub struct SpokenStretch {
    /// Line of the table, from 1; the heading is line 1.
    pub line: u64,
    /// When, in samples from the start of the recording.
    pub span: Span,
    /// The words as the grammar spells them; none for talk that is no call.
    pub words: String,
}

/// The table cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TruthError {
    /// The file cannot be read, or a line of it is no line of such a table.
    #[error(
        "cannot read the truth in `{path}`: {source}; it needs lines of `from_s`, `to_s` and `words` with tabs \
         between, under a heading with these names",
        path = path.shown()
    )]
    Table {
        /// The file.
        path: PathBuf,
        /// What is wrong, with its line.
        #[source]
        source: csv::Error,
    },
    /// A line's times are not in order.
    #[error(
        "line {line} of `{path}`: {from_s} to {to_s} s {what}; times are seconds from the start, in order",
        path = path.shown()
    )]
    Times {
        /// The file.
        path: PathBuf,
        /// The line, from 1.
        line: u64,
        /// Its beginning.
        from_s: f64,
        /// Its end.
        to_s: f64,
        /// What is wrong with them.
        what: &'static str,
    },
}

#[derive(Deserialize)]
struct TruthLine {
    from_s: f64,
    to_s: f64,
    words: String,
}

/// Reads the table.
///
/// # Errors
/// When the file cannot be read, or a line is damaged, ends before it begins, or begins before the one above ended.
pub fn read(path: &Path) -> Result<Vec<SpokenStretch>, TruthError> {
    let table = |source| TruthError::Table { path: path.to_owned(), source };
    let mut reader =
        csv::ReaderBuilder::new().delimiter(b'\t').quoting(false).from_path(path).map_err(table)?;
    let names = reader.headers().map_err(table)?.clone();
    let (mut rows, mut before_s): (Vec<SpokenStretch>, f64) = (Vec::new(), 0.0);
    for record in reader.records() {
        let record = record.map_err(table)?;
        let line = record.position().map_or(0, csv::Position::line);
        let TruthLine { from_s, to_s, words } = record.deserialize(Some(&names)).map_err(table)?;
        let wrong = |what| TruthError::Times { path: path.to_owned(), line, from_s, to_s, what };
        if !(from_s.is_finite() && to_s.is_finite() && from_s < to_s) {
            return Err(wrong("ends before it begins"));
        }
        if from_s < before_s {
            return Err(wrong("begins before the line above has ended"));
        }
        before_s = to_s;
        let words = words.split_whitespace().collect::<Vec<_>>().join(" ");
        rows.push(SpokenStretch {
            line,
            span: Span { from: Sample::at_second(from_s), to: Sample::at_second(to_s) },
            words,
        });
    }
    Ok(rows)
}
