//! Where the program's own voice lies in the sound that was heard last.
//!
//! Takes: samples up to which the program speaks.
//! Gives: whether an utterance may be the program's own.
//! Never: looks at the sound itself.
//! Tested in: `tests/it/dialogue.rs`; with sound in `tests/sound/listen.rs`.

use crate::clock::{SAMPLE_RATE_HZ, Span};
use crate::speech::utterance::Utterance;

/// The program's own voice lingers so long in a room and in the buffers of a sound system.
pub(super) const LINGERS: u64 = SAMPLE_RATE_HZ as u64 / 2;

/// The program's own voice, as the microphone hears it.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct OwnVoice {
    last: Option<Span>,
}

impl OwnVoice {
    /// The program speaks, up to the sample `now`.
    pub(super) fn extend(&mut self, now: u64) {
        let from = self.last.filter(|own| own.to + LINGERS >= now).map_or(now, |own| own.from);
        self.last = Some(Span { from, to: now });
    }

    /// True while it is heard, up to the sample `now`.
    pub(super) fn is_heard(&self, now: u64) -> bool {
        self.last.is_some_and(|own| now < own.to + LINGERS)
    }

    /// True where an utterance lies over it. An utterance begins before its words, with a little of the quiet there:
    /// only the words are looked at.
    pub(super) fn overlaps(&self, utterance: &Utterance) -> bool {
        let words = utterance.words.iter().map(|word| word.span).reduce(Span::join).unwrap_or(utterance.span);
        self.last.is_some_and(|own| words.from < own.to + LINGERS && own.from < words.to)
    }
}
