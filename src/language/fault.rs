//! A fault in a grammar or dictionary file, shown with its line and a caret.
//!
//! Takes: the text of a file and a place in it.
//! Gives: `Fault`, whose `Display` names file, line, column and what to do.
//! Never: I/O.
//! Tested in: `tests/it/language.rs`.

use crate::terminal::ShownText as _;
use std::fmt;
use std::path::{Path, PathBuf};

/// A place in a text: line and column, both from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct FilePlace {
    /// Line number.
    pub line: usize,
    /// Column, in characters.
    pub column: usize,
}

/// What is wrong with a file of the pack, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The file.
    pub file: PathBuf,
    /// Where in it.
    pub place: FilePlace,
    /// The line itself.
    pub text: String,
    /// What is wrong and what to do.
    pub message: String,
}

impl Fault {
    pub(crate) fn new(file: &Path, source: &str, place: FilePlace, message: impl Into<String>) -> Self {
        let text = source.lines().nth(place.line.saturating_sub(1)).unwrap_or("").to_owned();
        Self { file: file.to_owned(), place, text, message: message.into() }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let FilePlace { line, column } = self.place;
        writeln!(out, "{}:{line}:{column}: {}", self.file.shown(), self.message)?;
        let number = line.to_string();
        writeln!(out, " {number} | {}", self.text)?;
        let gap = " ".repeat(column.saturating_sub(1));
        write!(out, " {} | {gap}^", " ".repeat(number.len()))
    }
}

impl std::error::Error for Fault {}
