//! Who sends loops only as videos, as far as what came shows it.
//!
//! Takes: the videos that were passed over for pictures in an association, and what came in it.
//! Gives: whose videos are taken in its next one, and a line for the log.
//! Never: passes over a loop for good that its sender has only as a video and sends again by itself.
//! Tested in: `tests/it/exchange/video.rs`, with senders that are not ours.

use std::collections::BTreeSet;
use std::sync::{Mutex, PoisonError};

use crate::frames::video::{VideoCoding, video};

/// Senders that are remembered; a practice has a few.
const SENDERS_MAX: usize = 256;

/// The senders whose videos are taken, by AE title.
#[derive(Debug, Default)]
pub(super) struct VideoTurns(Mutex<BTreeSet<String>>);

impl VideoTurns {
    /// Whether the videos of this sender are taken, whatever it offers beside them.
    pub(super) fn is_now(&self, from: &str) -> bool {
        self.turns().contains(from)
    }

    /// Learns from an association that is over, by the videos that were passed over and the transfer syntaxes of what came;
    /// gives what is to be said of it.
    ///
    /// Many senders propose loops each time, also where all they have is a still: only one that sends nothing at all may
    /// lack something.
    pub(super) fn learn(
        &self,
        from: &str,
        passed_over: &BTreeSet<&'static str>,
        came: &BTreeSet<String>,
    ) -> Option<String> {
        let mut turns = self.turns();
        if passed_over.is_empty() {
            return None;
        }
        if turns.contains(from) {
            if came.iter().all(|syntax| video(syntax).is_none()) {
                turns.remove(from);
            }
            return None;
        }
        if !came.is_empty() {
            return None;
        }
        if turns.len() >= SENDERS_MAX {
            turns.clear();
        }
        turns.insert(from.to_owned());
        let kinds: BTreeSet<&str> =
            passed_over.iter().filter_map(|syntax| video(syntax)).map(VideoCoding::name).collect();
        let kinds: Vec<&str> = kinds.into_iter().collect();
        Some(format!(
            "it offered loops both as videos ({}) and as pictures, was asked for the pictures, and sent nothing; if a loop is \
             missing, send it again: next time its videos are taken; to have loops shown and measured, set the scanner to \
             save them as JPEG or uncompressed",
            kinds.join("; ")
        ))
    }

    fn turns(&self) -> std::sync::MutexGuard<'_, BTreeSet<String>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
