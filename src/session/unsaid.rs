//! What the program says, and when: never while somebody speaks, for neither would be understood.
//!
//! Takes: texts, and whether somebody speaks just now.
//! Gives: the texts that can be said, in order.
//! Never: says what comes so late that it is about something else; the screen has it.
//! Tested in: `tests/it/dialogue.rs`, `tests/it/dialogue_laws.rs`.

use crate::clock::{SAMPLE_RATE_HZ, Sample};
use crate::session::dialogue_options::Speech;
use crate::session::dialogue_state::Dialogue;
use crate::session::effect::{Effect, Floor};

/// A text that could not be said within so many samples is not said any more.
const LATE: u64 = 4 * SAMPLE_RATE_HZ as u64;
/// Texts that can wait; of more than these the oldest are left out.
const TEXTS_MAX: usize = 4;

impl Dialogue {
    /// Says a text, at once or when nobody speaks any more; gives about how many samples that takes, or none without a
    /// voice.
    pub(super) fn say(&mut self, text: &str, now: Sample) -> Option<u64> {
        if self.options.speech == Speech::Silent {
            return None;
        }
        match self.unsaid.floor {
            Floor::Free => self.speak(text),
            Floor::Taken => {
                self.unsaid.texts.push((text.to_owned(), now));
                let too_many = self.unsaid.texts.len().saturating_sub(TEXTS_MAX);
                self.unsaid.texts.drain(..too_many);
            }
        }
        // Two and a half words a second, as the voice speaks.
        let words = text.split_whitespace().count() as u64;
        Some(words * u64::from(SAMPLE_RATE_HZ) * 2 / 5)
    }

    fn speak(&mut self, text: &str) {
        self.push(Effect::Say(text.to_owned()));
    }

    /// Somebody begins or ceases to speak.
    pub(super) fn mind_floor(&mut self, floor: Floor, now: Sample) {
        self.unsaid.floor = floor;
        if floor == Floor::Taken {
            return;
        }
        for (text, due) in std::mem::take(&mut self.unsaid.texts) {
            if due + LATE >= now {
                self.speak(&text);
                self.give_time_to_answer(now.since(due));
            }
        }
    }
}
