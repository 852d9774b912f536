//! The question that waits for an answer.
//!
//! Takes: an utterance that may be wrong, then what is said or pressed afterwards.
//! Gives: the question, and what its answer does.
//! Never: I/O; acts on what was asked about before the answer.
//! Tested in: `tests/it/dialogue.rs`.

use crate::clock::{SAMPLE_RATE_HZ, Sample};
use crate::exam::call::{Act, Call, Command};
use crate::exam::closed_sets::{SettledAs, SettledBy};
use crate::exam::event::{Event, Outcome, Settled, UtteranceEvent};
use crate::exam::parse::Parsed;
use crate::exam::seq::Seq;
use crate::exam::spelled::sign_by_sign;
use crate::language::closed_sets::AnswerWord;
use crate::session::ask::{
    ANSWER_WAIT_S, AnswerMeaning, AskContext, Doubt, SpokenQuestion, end_anyway, question,
};
use crate::session::dialogue_state::{Dialogue, OpenQuestion};
use crate::session::effect::Arrival;
use crate::session::notice::{Notice, ScreenChange};
use crate::session::tone::Tone;
use crate::speech::utterance::Utterance;

/// Samples of the longest answer.
const ANSWER_MAX: u64 = 3 * SAMPLE_RATE_HZ as u64;

/// An exam whose end was said surely ends after so many seconds in which nobody objects.
const END_WAIT_S: u64 = 6;

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
        let named = self.name_question(utterance, parsed);
        if let Some(question) = named.or_else(|| self.number_question(utterance, parsed)) {
            return Some(question).filter(|_| self.attention.takes_calls(utterance));
        }
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

    pub(super) fn ask(&mut self, utterance: Utterance, question: SpokenQuestion, now: Sample) {
        self.ask_over(None, utterance, question, now);
    }

    /// The same about what was said over the question `over`, which waits meanwhile.
    pub(super) fn ask_over(
        &mut self,
        over: Option<Box<OpenQuestion>>,
        utterance: Utterance,
        mut question: SpokenQuestion,
        now: Sample,
    ) {
        if self.attention.corrects(&utterance) {
            let calls = question.offers.iter_mut().flat_map(|offer| &mut offer.calls);
            calls.for_each(|call| call.corrects = true);
        }
        let problems = vec![question.problem()];
        // What is asked about now is not yet one of the utterances that are open.
        if over.is_none() {
            self.shown_at_end = question.counts_by_itself().then(|| self.summary());
        }
        self.unheard_before = self.unheard.filter(|_| over.is_none());
        let event = UtteranceEvent { utterance, outcome: Outcome::Asked, problems };
        let heard_seq = self.write(event, Vec::new()).heard_seq;
        if let Some(unheard) = self.unheard.as_mut().filter(|unheard| unheard.heard_seq == heard_seq) {
            let mut calls = question.offers.iter().flat_map(|offer| &offer.calls);
            unheard.is_no_save = !calls.any(|call| call.act.is_save());
        }
        if let Some(summary) = self.shown_at_end.clone().filter(|_| question.counts_by_itself()) {
            self.report_summary(&summary);
        }
        self.wait_for_answer(heard_seq, question, over, now);
    }

    /// Asks, or asks once more.
    fn wait_for_answer(
        &mut self,
        heard_seq: Seq,
        question: SpokenQuestion,
        over: Option<Box<OpenQuestion>>,
        now: Sample,
    ) {
        let aloud = question.aloud();
        let spoken = self.say(&aloud, now);
        if spoken.is_none() {
            self.sound(Tone::NotUnderstood);
        }
        let mut shown = format!("{aloud} ({})", question.answers());
        if let Doubt::Name { name, .. } = &question.doubt {
            shown = format!("{} = {shown}", sign_by_sign(name));
            self.spelled = Some(name.clone());
        }
        self.report(Notice::Asked, &shown);
        self.show(ScreenChange::Question(Some(shown)));
        let until = now + spoken.unwrap_or(0) + wait(&question);
        self.open = Some(OpenQuestion { heard_seq, question, until, over });
        self.expect();
    }

    /// An utterance while a question waits.
    pub(super) fn reply_to(
        &mut self,
        open: OpenQuestion,
        utterance: Utterance,
        mut parsed: Parsed,
        rival: Option<&Parsed>,
        arrival: Arrival,
        now: Sample,
    ) {
        let is_correction = self.is_correction(&open, &utterance, &parsed);
        if is_correction {
            // What was asked about was not acted on: there is nothing before it to be corrected.
            self.attention.corrects(&utterance);
            parsed.calls.iter_mut().for_each(|call| call.corrects = false);
        }
        // Half of what was said may sound like an answer.
        let answered = match arrival {
            Arrival::Broken => AnswerMeaning::Other,
            _ => open.question.answered(&utterance, &parsed, rival),
        };
        match answered {
            AnswerMeaning::TakenBack => self.take_back_asked(&open, utterance, parsed, now),
            answer @ (AnswerMeaning::Take(_) | AnswerMeaning::Nothing) => {
                let given = parsed.calls.first().and_then(|call| match &call.act {
                    Act::Answer { answer } => Some(SettledAs::from(*answer)),
                    _ => None,
                });
                let sample = utterance.span.to;
                let event = UtteranceEvent { utterance, outcome: Outcome::Calls, problems: Vec::new() };
                self.write(event, if given.is_some() { parsed.calls } else { Vec::new() });
                let given = given.unwrap_or(SettledAs::Again);
                self.settle(&open, &answer, (given, SettledBy::Voice), sample, now);
            }
            AnswerMeaning::Again => self.say_anew(&open, utterance, parsed, rival, now),
            _ if is_correction => self.say_anew(&open, utterance, parsed, rival, now),
            AnswerMeaning::Unfit => {
                let event = UtteranceEvent { utterance, outcome: Outcome::Calls, problems: Vec::new() };
                self.write(event, parsed.calls);
                self.ask_again(open, now);
            }
            // Another call: the question is passed over, and stays open for the reviewer.
            AnswerMeaning::Other if !utterance.rejected && !utterance.unsure && !parsed.calls.is_empty() => {
                self.pass_over_question(&open, utterance.span.from, now);
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

    /// The call was said again, or corrected, instead of an answer: it speaks for itself.
    fn say_anew(
        &mut self,
        open: &OpenQuestion,
        utterance: Utterance,
        parsed: Parsed,
        rival: Option<&Parsed>,
        now: Sample,
    ) {
        let (heard_seq, answer) = (open.heard_seq, SettledAs::Again);
        let settled = Settled { heard_seq, answer, by: SettledBy::Voice, taken: None };
        self.note(utterance.span.from, Event::Settled(settled));
        self.shown_at_end = None;
        if let Some(over) = &open.over {
            self.pass_over_question(over, utterance.span.from, now);
        }
        self.stop_waiting();
        self.take(utterance, parsed, rival, now);
    }

    fn settle(
        &mut self,
        open: &OpenQuestion,
        answer: &AnswerMeaning,
        (given, by): (SettledAs, SettledBy),
        sample: Sample,
        now: Sample,
    ) {
        let offer = match answer {
            AnswerMeaning::Take(idx) => open.question.offers.get(*idx),
            _ => None,
        };
        let is_taken_back = given == SettledAs::TakenBack;
        let mut calls = match offer {
            Some(offer) => offer.calls.clone(),
            None if is_taken_back => Vec::new(),
            None => open.question.kept_after_no(),
        };
        if offer.is_none() && open.question.counts_by_itself() {
            self.shown_at_end = None;
        }
        if !matches!(open.question.doubt, Doubt::Reach { .. })
            && let Some(question) = self.reach_question(&calls)
        {
            // That the words are right does not say what they are meant for.
            return self.wait_for_answer(open.heard_seq, question, open.over.clone(), now);
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
        if offer.is_some() {
            calls = match open.over.as_deref() {
                Some(over) => self.settle_first(over, calls, sample, now),
                None => self.confirm_take_back(calls, sample, now),
            };
        }
        let heard_seq = open.heard_seq;
        let settled = Settled { heard_seq, answer: given, by, taken: taken.clone() };
        self.note(sample, Event::Settled(settled));
        self.attention.count_joined(&mut calls);
        self.attention.follow(&calls, sample);
        let written = self.write_calls(heard_seq, Outcome::Calls, sample, calls);
        self.stop_waiting();
        let lacks = self.lacks(&written).is_some();
        self.sound(if lacks { Tone::Alarm } else { Tone::Understood });
        let nothing = match open.question.counts_by_itself() {
            true => "the exam goes on",
            false if is_taken_back => "taken back before it was acted on",
            false => "not acted on; say it again",
        };
        self.report(Notice::Settled, taken.as_deref().unwrap_or(nothing));
        self.reply(&written, now);
        if let Some(over) = open.over.clone().filter(|_| offer.is_none()) {
            self.ask_again(*over, now);
        }
    }

    /// The calls that broke into the question `over` count: what becomes of it, and which of them are left to be acted on.
    fn settle_first(
        &mut self,
        over: &OpenQuestion,
        calls: Vec<Call>,
        sample: Sample,
        now: Sample,
    ) -> Vec<Call> {
        let Some(left) = left_to_take_back(&calls) else {
            self.pass_over_question(over, sample, now);
            return calls;
        };
        // What was said last is what the first question is about, and that was not acted on.
        self.settle_without(over, (SettledAs::TakenBack, SettledBy::Voice), sample, now);
        left
    }

    /// Something else was called: the exam goes on where its end was asked about, and any other question stays open for
    /// the reviewer. So does a question that this one broke into.
    fn pass_over_question(&mut self, open: &OpenQuestion, sample: Sample, now: Sample) {
        self.settle_without(open, (SettledAs::GoesOn, SettledBy::Voice), sample, now);
    }

    /// What was asked about is not meant, and neither is it asked again.
    fn settle_without(
        &mut self,
        open: &OpenQuestion,
        given: (SettledAs, SettledBy),
        sample: Sample,
        now: Sample,
    ) {
        let alone = OpenQuestion { over: None, ..open.clone() };
        if open.question.counts_by_itself() || given.0 == SettledAs::TakenBack {
            self.settle(&alone, &AnswerMeaning::Nothing, given, sample, now);
        }
        if let Some(over) = &open.over {
            self.pass_over_question(over, sample, now);
        }
    }

    /// "Disregard" while a question waits: what was said last is what the question is about, and was not acted on.
    fn take_back_asked(&mut self, open: &OpenQuestion, utterance: Utterance, parsed: Parsed, now: Sample) {
        let left = left_to_take_back(&parsed.calls).unwrap_or_default();
        let given = (SettledAs::TakenBack, SettledBy::Voice);
        if left.is_empty() {
            let sample = utterance.span.to;
            let event = UtteranceEvent { utterance, outcome: Outcome::Calls, problems: Vec::new() };
            self.write(event, Vec::new());
            self.unheard = None;
            return self.settle(open, &AnswerMeaning::Nothing, given, sample, now);
        }
        self.settle_without(open, given, utterance.span.from, now);
        self.unheard = None;
        self.stop_waiting();
        self.take(utterance, Parsed { calls: left, ..parsed }, None, now);
    }

    /// Nobody answers any more: an answer that began in time would have ended by now.
    pub(super) fn expire_question(&mut self, now: Sample) {
        if self.open.as_ref().is_some_and(|open| now > open.until + ANSWER_MAX)
            && let Some(over) = self.give_up_question(now)
        {
            self.ask_again(*over, now);
        }
    }

    /// Something is said that comes too late for an answer.
    pub(super) fn speak_after_question(&mut self, now: Sample) {
        if let Some(over) = self.give_up_question(now) {
            self.pass_over_question(&over, now, now);
        }
    }

    fn ask_again(&mut self, open: OpenQuestion, now: Sample) {
        self.wait_for_answer(open.heard_seq, open.question, open.over, now);
    }

    /// The question was heard so many samples late, and its answer may come as late.
    pub(super) fn give_time_to_answer(&mut self, late: u64) {
        if let Some(open) = &mut self.open {
            open.until += late;
        }
    }

    /// No answer is waited for any more: what was sure counts, and the rest is for the reviewer. Gives the question that
    /// this one broke into.
    fn give_up_question(&mut self, now: Sample) -> Option<Box<OpenQuestion>> {
        let mut open = self.open.take()?;
        let over = open.over.take();
        if open.question.counts_by_itself() {
            let given = (SettledAs::Nothing, SettledBy::Time);
            self.settle(&open, &AnswerMeaning::Take(0), given, open.until.min(now), now);
        } else {
            self.stop_waiting();
            self.report(Notice::Listening, "no answer: left open for review");
        }
        over
    }

    fn stop_waiting(&mut self) {
        self.open = None;
        self.show(ScreenChange::Question(None));
        self.expect();
    }

    /// A question answered by a key.
    pub(super) fn key(&mut self, given: AnswerWord, now: Sample) {
        let Some(open) = self.open.take() else { return };
        match open.question.chosen(given) {
            answer @ (AnswerMeaning::Take(_) | AnswerMeaning::Nothing) => {
                self.settle(&open, &answer, (given.into(), SettledBy::Key), now, now);
            }
            _ => self.open = Some(open),
        }
    }
}

/// What is still to be taken back besides the phrase that is being asked about; none where the calls take back nothing.
fn left_to_take_back(calls: &[Call]) -> Option<Vec<Call>> {
    let [call @ Call { act: Act::Command(Command::TakeBack { count }), .. }] = calls else { return None };
    let act = Act::Command(Command::TakeBack { count: count.saturating_sub(1) });
    Some(if *count > 1 { vec![Call { act, ..call.clone() }] } else { Vec::new() })
}

/// Samples in which an answer to the question must begin.
fn wait(question: &SpokenQuestion) -> u64 {
    let seconds = if question.counts_by_itself() { END_WAIT_S } else { ANSWER_WAIT_S };
    seconds * u64::from(SAMPLE_RATE_HZ)
}
