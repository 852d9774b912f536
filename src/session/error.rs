//! Why an exam cannot be heard.
//!
//! Takes: the errors of the stages that a session joins.
//! Gives: `SessionError`, and its causes in one line.
//! Never: a text of its own where a stage has one.
//! Tested in: here, `tests/sound/listen.rs`.

use std::path::PathBuf;

use crate::exam::journal::JournalError;
use crate::exam_folder::FolderError;
use crate::speech::capture::CaptureError;
use crate::speech::keep::KeepError;
use crate::speech::recognise::EngineError;
use crate::speech::switch::{SwitchError, SwitchKey};
use crate::terminal::ShownText as _;

/// The exam cannot be heard, or not any more.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SessionError {
    /// The journal cannot be written.
    #[error(transparent)]
    Journal(#[from] JournalError),
    /// The exam folder cannot be read.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The sound cannot be kept.
    #[error(transparent)]
    Keep(#[from] KeepError),
    /// The engine cannot go on.
    #[error(transparent)]
    Engine(#[from] EngineError),
    /// The microphone cannot be used.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// The switch to talk by cannot be used.
    #[error(transparent)]
    Switch(#[from] SwitchError),
    /// The microphone is there but silent.
    #[error("the microphone `{name}` gives no sound; check that it is switched on")]
    NoSound {
        /// The microphone.
        name: String,
    },
    /// A switch of the terminal, where there is no screen.
    #[error("without a screen the switch {key} needs a device; name it with --switch-device")]
    NoTerminal {
        /// The key.
        key: SwitchKey,
    },
    /// A key that a terminal has other uses for.
    #[error("a terminal cannot report {key}, or uses it itself; name the key's device with --switch-device")]
    NotOfTerminal {
        /// The key.
        key: SwitchKey,
    },
    /// No phrase of the language opens an exam.
    #[error(
        "no phrase in `{language}` starts an exam; give a phrase of its grammar the tags \
         `{{command=start_of_exam}} {{!command}}`, or use --into"
    )]
    NoOpening {
        /// The language.
        language: String,
    },
    /// Another program listens for exams in the folder.
    #[error(
        "another zonecall is listening for exams in `{path}`, maybe as a service; stop that one first, or name another folder",
        path = path.shown()
    )]
    TwoListeners {
        /// The folder.
        path: PathBuf,
    },
    /// The folder of the exams cannot be used.
    #[error("cannot {doing} `{path}`: {source}", path = path.shown())]
    Folders {
        /// What was being done.
        doing: &'static str,
        /// The folder.
        path: PathBuf,
        /// Why not.
        #[source]
        source: std::io::Error,
    },
    /// The terminal cannot be written or read.
    #[error("cannot use the terminal: {0}")]
    Terminal(#[from] std::io::Error),
}

/// An error and its causes in one line; a cause that the error names itself is not named twice.
#[must_use]
pub fn in_one_line(error: &(dyn std::error::Error + 'static)) -> String {
    let mut text = error.to_string();
    let mut next = error.source();
    while let Some(cause) = next {
        let cause_text = cause.to_string();
        if !text.contains(&cause_text) {
            text = format!("{text}: {cause_text}");
        }
        next = cause.source();
    }
    text
}
