//! Who sends loops only as videos, as far as what came shows it.
//!
//! Takes: what was passed over for pictures in an association, and what came in it.
//! Gives: whose videos are taken in its next one, and a line for the log.
//! Never: passes over a loop for good that its sender has only as a video.
//! Tested in: `tests/it/exchange/video.rs`, with senders that are not ours.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Mutex, PoisonError};

use super::proposal::PassedOver;
use crate::frames::video::{VideoCoding, video};

/// Senders that are remembered; a practice has a few.
const SENDERS_MAX: usize = 256;

/// What an association brought: of each object its class and its transfer syntax.
pub(super) type Came = BTreeSet<(String, String)>;

/// The turns of all senders, by AE title.
#[derive(Debug, Default)]
pub(super) struct VideoTurns(Mutex<BTreeMap<String, Turn>>);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Turn {
    /// Its videos are taken.
    Now,
    /// They were taken, and it sent none: most likely it had no loop to send.
    Over,
}

impl VideoTurns {
    /// Whether the videos of this sender are taken, whatever it offers beside them.
    pub(super) fn is_now(&self, from: &str) -> bool {
        self.turns().get(from) == Some(&Turn::Now)
    }

    /// Learns from an association that is over; gives what is to be said of it.
    pub(super) fn learn(&self, from: &str, over: &PassedOver, came: &Came) -> Option<String> {
        let mut turns = self.turns();
        if over.classes.is_empty() {
            return None;
        }
        let has_come = came.iter().any(|(class, _)| over.classes.contains(class));
        let is_lost = match turns.get(from) {
            Some(Turn::Now) => {
                if came.iter().all(|(_, syntax)| video(syntax).is_none()) {
                    turns.insert(from.to_owned(), Turn::Over);
                }
                false
            }
            // It sends stills by themselves and proposes loops each time; only one that sends nothing at all may lack something.
            Some(Turn::Over) => came.is_empty(),
            None => !has_come,
        };
        if !is_lost {
            return None;
        }
        if turns.len() >= SENDERS_MAX {
            turns.clear();
        }
        turns.insert(from.to_owned(), Turn::Now);
        let kinds: BTreeSet<&str> =
            over.videos.iter().filter_map(|syntax| video(syntax)).map(VideoCoding::name).collect();
        let kinds: Vec<&str> = kinds.into_iter().collect();
        Some(format!(
            "it offered loops both as videos ({}) and as pictures, was asked for the pictures, and sent none; if a loop is \
             missing, send it again: next time its videos are taken; to have loops shown and measured, set the scanner to \
             save them as JPEG or uncompressed",
            kinds.join("; ")
        ))
    }

    fn turns(&self) -> std::sync::MutexGuard<'_, BTreeMap<String, Turn>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
