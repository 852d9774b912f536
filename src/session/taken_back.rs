//! "Disregard" after what was not acted on: it belongs to that, and takes nothing else back.
//!
//! Takes: calls that begin with a take-back, and what was not acted on just before them.
//! Gives: the calls that are left; a line, and words, that say that nothing else was taken back.
//! Never: takes back a call that was said before something unheard; said once more, "disregard" does.
//! Tested in: `tests/it/dialogue_reach.rs`.

use crate::clock::Sample;
use crate::exam::call::{Act, Call, Command, Problem};
use crate::exam::closed_sets::{SettledAs, SettledBy};
use crate::exam::event::{Event, Outcome, Settled, UtteranceEvent};
use crate::exam::parse::Parsed;
use crate::session::dialogue_options::Listener;
use crate::session::dialogue_state::{Dialogue, Unheard};
use crate::session::notice::Notice;
use crate::session::tone::Tone;
use crate::speech::utterance::Utterance;

impl Dialogue {
    /// Gives what of an utterance is still to be done: all of it, unless it takes back what was not acted on.
    pub(super) fn take_back_unheard(
        &mut self,
        utterance: Utterance,
        mut parsed: Parsed,
        now: Sample,
    ) -> Option<(Utterance, Parsed)> {
        let is_clear = !utterance.rejected && !utterance.unsure && parsed.problems.is_empty();
        let unheard = self.unheard.filter(|unheard| unheard.is_just_before(utterance.span.from));
        let Some((unheard, left)) = unheard.and_then(|one| Some((one, left_of(&parsed.calls, one)?))) else {
            return Some((utterance, parsed));
        };
        if !is_clear || !self.attention.takes_calls(&utterance) {
            return Some((utterance, parsed));
        }
        parsed.calls = left;
        let done = parsed.calls.is_empty();
        if self.options.listener == Listener::Nobody {
            // Nobody was told that it had not been understood, so either may be meant: a person listens.
            parsed.problems.push(not_clear());
            let rest = if done {
                self.write(unclear(utterance, parsed), Vec::new());
                None
            } else {
                Some((utterance, parsed))
            };
            self.unheard = None;
            return rest;
        }
        let at = utterance.span.to;
        let rest = if done {
            let event = UtteranceEvent { utterance, outcome: Outcome::Calls, problems: Vec::new() };
            self.write(event, Vec::new());
            self.sound(Tone::NotUnderstood);
            None
        } else {
            Some((utterance, parsed))
        };
        self.drop_unheard(unheard, at, now);
        rest
    }

    /// The same of calls that were confirmed: what they follow was not acted on before they were asked about.
    pub(super) fn confirm_take_back(&mut self, calls: Vec<Call>, sample: Sample, now: Sample) -> Vec<Call> {
        let Some(from) = calls.first().map(|call| call.span.from) else { return calls };
        let unheard = self.unheard_before.take().filter(|unheard| unheard.is_just_before(from));
        let Some((unheard, left)) = unheard.and_then(|one| Some((one, left_of(&calls, one)?))) else {
            return calls;
        };
        self.drop_unheard(unheard, sample, now);
        left
    }

    fn drop_unheard(&mut self, unheard: Unheard, sample: Sample, now: Sample) {
        self.unheard = None;
        let heard_seq = unheard.heard_seq;
        let heard = self.log.exam().utterances.iter().rev().find(|heard| heard.seq == heard_seq);
        let (words, is_open) =
            heard.map_or_else(Default::default, |heard| (heard.words.clone(), heard.is_open()));
        if is_open {
            let (answer, by) = (SettledAs::TakenBack, SettledBy::Voice);
            self.note(sample, Event::Settled(Settled { heard_seq, answer, by, taken: None }));
        }
        self.say("that was not acted on; nothing was taken back", now);
        self.report(
            Notice::Settled,
            &format!(
                "taken back: `{words}`, which had not been acted on; to take back the call before it, say it again"
            ),
        );
    }
}

/// What is left of calls that begin by taking back what was not acted on; none where they do not.
///
/// "Not saved" names what it takes back, so it is meant for what was read back only where that may have been a save.
fn left_of(calls: &[Call], unheard: Unheard) -> Option<Vec<Call>> {
    let takes_back = |call: &&Call| match call.act {
        Act::Command(Command::TakeBack { .. }) => !call.corrects,
        Act::Command(Command::TakeBackSave) => !call.corrects && !unheard.is_no_save,
        _ => false,
    };
    let count = calls.iter().take_while(takes_back).count();
    (count > 0).then(|| calls[count..].to_vec())
}

fn not_clear() -> Problem {
    Problem {
        message: "the phrase just before it was not understood, so nothing was taken back".to_owned(),
        help: "listen to both; if a call before them was meant, withdraw it by hand".to_owned(),
    }
}

fn unclear(utterance: Utterance, parsed: Parsed) -> UtteranceEvent {
    UtteranceEvent { utterance, outcome: Outcome::NotUnderstood, problems: parsed.problems }
}
