//! How an exam goes on in a recording in which "end of exam" was said.
//!
//! Takes: what is heard after the end while nobody is there to be asked "end anyway?".
//! Gives: an exam that goes on where it would have at the horse.
//! Never: ends an exam, or asks anything.
//! Tested in: `tests/it/after_end.rs`.

use crate::exam::call::{Act, Call, Command};
use crate::exam::event::Event;
use crate::exam::parse::Parsed;
use crate::language::closed_sets::AnswerWord;
use crate::session::dialogue_options::Listener;
use crate::session::dialogue_state::Dialogue;
use crate::speech::utterance::Utterance;

impl Dialogue {
    /// At the horse another call goes on with an exam that lacks views, and "no" always does. In a recording, too; and as
    /// nobody was asked, however late it comes.
    pub(super) fn go_on_after_end(&mut self, utterance: &Utterance, parsed: &Parsed) {
        let is_clear = !utterance.rejected && !utterance.unsure && parsed.problems.is_empty();
        if !is_clear || !self.attention.ended() || self.options.listener != Listener::Nobody {
            return;
        }
        let says_no = |call: &Call| matches!(call.act, Act::Answer { answer: AnswerWord::No });
        // Said again, the later end is the end.
        let goes_on = |call: &Call| says_no(call) || call.act == Act::Command(Command::EndOfExam);
        let is_call = || parsed.calls.iter().any(|call| !matches!(call.act, Act::Answer { .. }));
        if parsed.calls.iter().any(goes_on) || (is_call() && self.lacks_views()) {
            self.attention.go_on();
        }
    }

    /// Views are missing, or none was called at all.
    fn lacks_views(&self) -> bool {
        let summary = self.summary();
        summary.wanted == 0 || !summary.missing.is_empty()
    }

    /// Whoever gives another recording of the same exam says that it went on.
    pub(super) fn go_on_in_next_file(&mut self, event: &Event) {
        if matches!(event, Event::Audio(_)) && self.options.listener == Listener::Nobody {
            self.attention.go_on();
        }
    }
}
