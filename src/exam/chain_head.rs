//! The head of a journal: number and hash of its last line, in a file next to it.
//!
//! Takes: the numbers of a journal that has just grown.
//! Gives: `exam.head`, and what is missing from a journal that does not reach it.
//! Never: proves anything against a person who can write both files; a signature does that.
//! Tested in: `tests/it/journal.rs`.

use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::exam::call::Problem;
use crate::exam::event::{Event, ExamEvent};
use crate::exam::seq::Seq;
use crate::machine::Machine;
use crate::plain_file;

/// Name of the file inside an exam folder.
pub(super) const HEAD_FILE: &str = "exam.head";
/// Versions of the program that wrote none.
const HEADLESS: &str = "0.1.";
/// Its name until it is whole.
const NEW_FILE: &str = ".exam.head.new";

/// The last line of a journal when it last grew.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Head {
    /// Its number.
    pub(super) seq: Seq,
    /// Its SHA-256, in hexadecimal.
    pub(super) sha256: String,
}

impl Head {
    /// The head of the journal in `folder`; none where there is none, as next to a journal of an earlier version.
    pub(super) fn read(folder: &Path) -> Option<Head> {
        let path = folder.join(HEAD_FILE);
        serde_json::from_slice(&plain_file::read(&path).ok()?).ok()
    }

    /// Whether a journal that had a head has none any more: versions before 0.2.0 wrote none.
    pub(super) fn is_gone(folder: &Path, events: &[ExamEvent]) -> bool {
        let had_one = events.iter().any(|line| match &line.event {
            Event::Exam(header) => !header.program.starts_with(HEADLESS),
            Event::Sealed { .. } | Event::Erased(_) => true,
            _ => false,
        });
        had_one && Self::read(folder).is_none()
    }

    /// Writes the head; a head that lags behind says less, never something wrong, so a failure is none of the journal's.
    pub(super) fn write(&self, machine: &dyn Machine, folder: &Path) {
        // One program writes at a time, so that one name serves; what a crash leaves is overwritten.
        let (new, path) = (folder.join(NEW_FILE), folder.join(HEAD_FILE));
        let _ = serde_json::to_vec(self).map(|bytes| machine.replace(&new, &path, &bytes));
    }

    /// What is wrong with a journal that had this head; `hashes` are those of its events.
    pub(super) fn fault(&self, events: &[ExamEvent], hashes: &[String]) -> Option<(u64, Problem)> {
        if let [ExamEvent { event: Event::Erased(_), seq, .. }, ..] = events
            && self.seq < *seq
        {
            // It was erased, and a crash came before this was written anew; what it names is gone.
            return None;
        }
        let at = events.iter().position(|line| line.seq == self.seq);
        let (number, message) = match at {
            Some(idx) if hashes.get(idx) == Some(&self.sha256) => return None,
            Some(idx) => {
                (idx as u64 + 1, format!("line with seq {} is not the one that was written", self.seq))
            }
            None => (
                events.len() as u64 + 1,
                format!("the journal ends before seq {}, which had been written", self.seq),
            ),
        };
        let help = "a line was changed or lines were cut off afterwards; compare with a copy".to_owned();
        Some((number, Problem { message, help }))
    }
}
