//! The question that waits for an answer.
//!
//! Takes: an utterance that may be wrong, then what is said or pressed afterwards.
//! Gives: the question, and what its answer does.
//! Never: I/O; acts on what was asked about before the answer.
//! Tested in: `tests/it/dialogue.rs`.

use crate::clock::{SAMPLE_RATE_HZ, Sample};
use crate::exam::call::Act;
use crate::exam::event::{Event, Outcome, Settled, UtteranceEvent};
use crate::exam::parse::Parsed;
use crate::exam::seq::Seq;
use crate::language::closed_sets::AnswerWord;
use crate::session::ask::{
    ANSWER_WAIT_S, AnswerMeaning, AskContext, Doubt, SpokenQuestion, end_anyway, question,
};
use crate::session::dialogue_state::{Dialogue, OpenQuestion};
use crate::session::notice::{Notice, ScreenChange};
use crate::session::tone::Tone;
use crate::speech::utterance::Utterance;

/// Samples of the longest answer.
const ANSWER_MAX: u64 = 3 * SAMPLE_RATE_HZ as u64;

/// An exam whose end was said surely ends after so many seconds in which nobody objects.
const END_WAIT_S: u64 = 6;

/// The call was said again instead of an answer.
const AGAIN: &str = "again";
/// Something else was called, so that the exam goes on.
const GOES_ON: &str = "goes on";
/// Nobody answered.
const NOTHING: &str = "nothing";
/// How an answer was given.
const VOICE: &str = "voice";
const KEY: &str = "key";
const TIME: &str = "time";

impl Dialogue {
    /// The question that an utterance gives rise to, if its calls would count at all.
    pub(super) fn due_question(
        &self,
        utterance: &Utterance,
        parsed: &Parsed,
        rival: Option<&Parsed>,
    ) -> Option<SpokenQuestion> {
        let exam = self.log.exam();
        let now = AskContext {
            context: &exam.context,
            header: &exam.header,
            protocols: self.log.protocols(),
            sides: self.sides,
        };
        let reaches =
            || self.reach_question(&parsed.calls).filter(|_| !utterance.rejected && !utterance.unsure);
        reaches()
            .or_else(|| question(utterance, parsed, rival, now))
            .filter(|question| !self.was_sent_there(question))
            .or_else(|| end_anyway(utterance, parsed, || self.summary().missing.len()))
            .filter(|_| self.attention.takes_calls(utterance))
    }

    /// The program itself has just named this zone as missing: that it is far is no reason to doubt it.
    fn was_sent_there(&self, question: &SpokenQuestion) -> bool {
        let limb = self.log.exam().context.place.limb.as_deref();
        let calls = question.offers.iter().flat_map(|offer| &offer.calls);
        let mut zones = calls.filter_map(|call| match &call.act {
            Act::View(view) => view.zone.as_deref(),
            _ => None,
        });
        let is_named =
            |zone: &str| self.named.iter().any(|(of, one)| limb == Some(of.as_str()) && one == zone);
        matches!(question.doubt, Doubt::Jump { .. }) && zones.all(is_named)
    }

    pub(super) fn ask(&mut self, utterance: Utterance, mut question: SpokenQuestion, now: Sample) {
        if self.attention.corrects(&utterance) {
            let calls = question.offers.iter_mut().flat_map(|offer| &mut offer.calls);
            calls.for_each(|call| call.corrects = true);
        }
        let problems = vec![question.problem()];
        let event = UtteranceEvent { utterance, outcome: Outcome::Asked, problems };
        let heard_seq = self.write(event, Vec::new()).heard_seq;
        if question.counts_by_itself() {
            self.report_summary(&self.summary());
        }
        self.wait_for_answer(heard_seq, question, now);
    }

    /// Asks, or asks once more.
    fn wait_for_answer(&mut self, heard_seq: Seq, question: SpokenQuestion, now: Sample) {
        let aloud = question.aloud();
        let spoken = self.say(&aloud, now);
        if spoken.is_none() {
            self.sound(Tone::NotUnderstood);
        }
        let shown = format!("{aloud} ({})", question.answers());
        self.report(Notice::Asked, &shown);
        self.show(ScreenChange::Question(Some(shown)));
        let until = now + spoken.unwrap_or(0) + wait(&question);
        self.open = Some(OpenQuestion { heard_seq, question, until });
        self.expect();
    }

    /// An utterance while a question waits.
    pub(super) fn reply_to(
        &mut self,
        open: OpenQuestion,
        utterance: Utterance,
        mut parsed: Parsed,
        rival: Option<&Parsed>,
        now: Sample,
    ) {
        let puts_right = self.puts_right(&open, &utterance, &parsed);
        if puts_right {
            // What was asked about was not acted on: there is nothing before it to be corrected.
            self.attention.corrects(&utterance);
            parsed.calls.iter_mut().for_each(|call| call.corrects = false);
        }
        match open.question.answered(&utterance, &parsed) {
            answer @ (AnswerMeaning::Take(_) | AnswerMeaning::Nothing) => {
                let given = parsed.calls.first().and_then(|call| match &call.act {
                    Act::Answer { answer } => Some(answer.as_str().to_owned()),
                    _ => None,
                });
                let sample = utterance.span.to;
                let event = UtteranceEvent { utterance, outcome: Outcome::Calls, problems: Vec::new() };
                self.write(event, if given.is_some() { parsed.calls } else { Vec::new() });
                let given = given.unwrap_or_else(|| AGAIN.to_owned());
                self.settle(&open, &answer, (given, VOICE), sample, now);
            }
            AnswerMeaning::Again => self.say_anew(&open, utterance, parsed, rival, now),
            _ if puts_right => self.say_anew(&open, utterance, parsed, rival, now),
            AnswerMeaning::Unfit => {
                let event = UtteranceEvent { utterance, outcome: Outcome::Calls, problems: Vec::new() };
                self.write(event, parsed.calls);
                self.wait_for_answer(open.heard_seq, open.question, now);
            }
            // Another call: the question is passed over, and stays open for the reviewer.
            AnswerMeaning::Other if !utterance.rejected && !utterance.unsure && !parsed.calls.is_empty() => {
                if open.question.counts_by_itself() {
                    let given = (GOES_ON.to_owned(), VOICE);
                    self.settle(&open, &AnswerMeaning::Nothing, given, utterance.span.from, now);
                }
                self.stop_waiting();
                self.take(utterance, parsed, rival, now);
            }
            // Talk, or not understood: the question still waits.
            AnswerMeaning::Other => {
                // Whoever still speaks has not gone, and may have objected.
                let stays = open.question.counts_by_itself() && !utterance.rejected;
                let until = if stays { now + wait(&open.question) } else { open.until };
                self.open = Some(OpenQuestion { until: until.max(open.until), ..open });
                self.act(utterance, parsed, now);
            }
        }
    }

    /// The call was said again, or put right, instead of an answer: it speaks for itself.
    fn say_anew(
        &mut self,
        open: &OpenQuestion,
        utterance: Utterance,
        parsed: Parsed,
        rival: Option<&Parsed>,
        now: Sample,
    ) {
        let (heard_seq, answer) = (open.heard_seq, AGAIN.to_owned());
        let settled = Settled { heard_seq, answer, by: VOICE.to_owned(), taken: None };
        self.note(utterance.span.from, Event::Settled(settled));
        self.stop_waiting();
        self.take(utterance, parsed, rival, now);
    }

    fn settle(
        &mut self,
        open: &OpenQuestion,
        answer: &AnswerMeaning,
        (given, by): (String, &str),
        sample: Sample,
        now: Sample,
    ) {
        let offer = match answer {
            AnswerMeaning::Take(idx) => open.question.offers.get(*idx),
            _ => None,
        };
        let calls = offer.map_or_else(|| open.question.kept_after_no(), |offer| offer.calls.clone());
        if !matches!(open.question.doubt, Doubt::Reach { .. })
            && let Some(question) = self.reach_question(&calls)
        {
            // That the words are right does not say what they are meant for.
            return self.wait_for_answer(open.heard_seq, question, now);
        }
        if matches!(open.question.doubt, Doubt::Sides { .. }) && offer.is_some() {
            // From here on the sides are called by these words.
            self.sides = None;
        }
        let kept = || calls.iter().map(|call| call.words.as_str()).collect::<Vec<_>>().join(" ");
        let taken = match offer {
            Some(offer) => Some(offer.words.clone()),
            None => (!calls.is_empty()).then(kept),
        };
        let heard_seq = open.heard_seq;
        let settled = Settled { heard_seq, answer: given, by: by.to_owned(), taken: taken.clone() };
        self.note(sample, Event::Settled(settled));
        self.attention.follow(&calls, sample);
        let written = self.write_calls(heard_seq, Outcome::Calls, sample, calls);
        self.stop_waiting();
        let lacks = self.lacks(&written).is_some();
        self.sound(if lacks { Tone::Alarm } else { Tone::Understood });
        let nothing = match open.question.counts_by_itself() {
            true => "the exam goes on",
            false => "not acted on; say it again",
        };
        self.report(Notice::Settled, taken.as_deref().unwrap_or(nothing));
        self.reply(&written, now);
    }

    /// Nobody answers any more: an answer that began in time would have ended by now.
    pub(super) fn expire_question(&mut self, now: Sample) {
        if self.open.as_ref().is_some_and(|open| now > open.until + ANSWER_MAX) {
            self.give_up_question(now);
        }
    }

    /// The question was heard so many samples late, and its answer may come as late.
    pub(super) fn give_time_to_answer(&mut self, late: u64) {
        if let Some(open) = &mut self.open {
            open.until += late;
        }
    }

    /// No answer is waited for any more: what was sure counts, and the rest is for the reviewer.
    pub(super) fn give_up_question(&mut self, now: Sample) {
        let Some(open) = self.open.take() else { return };
        if open.question.counts_by_itself() {
            let given = (NOTHING.to_owned(), TIME);
            return self.settle(&open, &AnswerMeaning::Take(0), given, open.until.min(now), now);
        }
        self.stop_waiting();
        self.report(Notice::Listening, "no answer: left open for review");
    }

    fn stop_waiting(&mut self) {
        self.open = None;
        self.show(ScreenChange::Question(None));
        self.expect();
    }

    /// A question answered by a key: `yes`, `no`, `first` or `second`.
    pub(super) fn key(&mut self, given: &str, now: Sample) {
        let Some(open) = self.open.take() else { return };
        match open.question.chosen(AnswerWord::named(given).unwrap_or(AnswerWord::Unknown)) {
            answer @ (AnswerMeaning::Take(_) | AnswerMeaning::Nothing) => {
                self.settle(&open, &answer, (given.to_owned(), KEY), now, now);
            }
            _ => self.open = Some(open),
        }
    }
}

/// Samples in which an answer to the question must begin.
fn wait(question: &SpokenQuestion) -> u64 {
    let seconds = if question.counts_by_itself() { END_WAIT_S } else { ANSWER_WAIT_S };
    seconds * u64::from(SAMPLE_RATE_HZ)
}
