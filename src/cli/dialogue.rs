//! What is made of each breath at the horse: acted on, asked about, answered.
//!
//! Takes: breaths in order, and the session they belong to.
//! Gives: journal lines, and what is sounded, said and told.
//! Never: acts on what it has asked about before the answer, or on its own voice.
//! Tested in: `tests/listen.rs`.

use std::io::Write;

use chrono::Utc;

use super::session::{Session, Written};
use crate::clock::{SAMPLE_RATE_HZ, Span};
use crate::exam::call::{Act, Problem};
use crate::exam::context::Context;
use crate::exam::event::{Heard, Outcome, Settled};
use crate::exam::parse::Parsed;
use crate::hear::utterance::{Segment, Utterance};
use crate::live::answer::{answer, forgotten};
use crate::live::ask::{ANSWER_WAIT_S, Answer, Question, question};
use crate::live::mouth::Mouth;
use crate::live::tone::Tone;

/// The program's own voice lingers so long in a room and in the buffers of a sound system.
const LINGERS: u64 = SAMPLE_RATE_HZ as u64 / 2;

/// The call was said again instead of an answer.
const AGAIN: &str = "again";
/// How an answer was given.
const VOICE: &str = "voice";

/// A question that waits for an answer.
struct Open {
    heard_seq: u64,
    question: Question,
    /// An answer must begin before this sample.
    until: u64,
}

/// What is sounded and said.
#[derive(Default)]
pub(super) struct Manner {
    /// None where there is no loudspeaker, or nothing is to be heard of it.
    pub(super) mouth: Option<Mouth>,
    pub(super) tones: bool,
}

pub(super) struct Dialogue {
    manner: Manner,
    /// What was in force after the breath before.
    in_force: Context,
    open: Option<Open>,
    /// Where the program's own voice lies in the sound that was heard last.
    own_voice: Option<Span>,
}

impl Dialogue {
    pub(super) fn new(manner: Manner, in_force: Context) -> Self {
        Self { manner, in_force, open: None, own_voice: None }
    }

    /// Called with each block of sound: where the program's own voice is heard in it, up to the sample `now`.
    pub(super) fn mind_own_voice(&mut self, now: u64) {
        if self.manner.mouth.as_ref().is_some_and(Mouth::speaks) {
            let from = self.own_voice.filter(|own| own.to + LINGERS >= now).map_or(now, |own| own.from);
            self.own_voice = Some(Span { from, to: now });
        }
    }

    /// One breath; where it is `broken`, sound was lost in it, and half a phrase can mean something else.
    pub(super) fn breath(
        &mut self,
        session: &mut Session,
        segment: &Segment,
        broken: bool,
    ) -> anyhow::Result<()> {
        if self.open.as_ref().is_some_and(|open| segment.span.from > open.until) {
            self.close(session)?;
            self.tell("no answer: it stays open for the reviewer")?;
        }
        let (mut utterance, parsed) = session.recognise(segment)?;
        utterance.unsure |= broken;
        if self.is_own_voice(&utterance) {
            return Self::pass_over(session, utterance);
        }
        if let Some(open) = self.open.take() {
            return self.reply_to(session, open, utterance, parsed);
        }
        self.take(session, utterance, parsed)
    }

    /// A breath begins before its words, with a little of the quiet there: only the words are looked at.
    fn is_own_voice(&self, utterance: &Utterance) -> bool {
        let words = utterance.words.iter().map(|word| word.span).reduce(Span::join).unwrap_or(utterance.span);
        self.own_voice.is_some_and(|own| words.from < own.to + LINGERS && own.from < words.to)
    }

    /// The program heard itself, perhaps with somebody else: kept, and nothing more.
    fn pass_over(session: &mut Session, utterance: Utterance) -> anyhow::Result<()> {
        let problem = Problem {
            message: "heard while the program itself was speaking".to_owned(),
            help: "if it was a call, put it in; an earpiece keeps the two apart".to_owned(),
        };
        session.write(Heard { utterance, outcome: Outcome::Ignored, problems: vec![problem] }, Vec::new())?;
        Ok(())
    }

    /// A breath while no question waits.
    fn take(&mut self, session: &mut Session, utterance: Utterance, parsed: Parsed) -> anyhow::Result<()> {
        let exam = session.exam()?;
        let rival = session.rival(&utterance);
        let due = question(&utterance, &parsed, rival.as_ref(), &exam, &session.ear.protocols);
        match due.filter(|_| session.attention.takes_calls(&utterance)) {
            Some(question) => self.ask(session, utterance, question),
            None => self.act(session, utterance, parsed),
        }
    }

    fn ask(
        &mut self,
        session: &mut Session,
        utterance: Utterance,
        mut question: Question,
    ) -> anyhow::Result<()> {
        if session.attention.corrects(&utterance) {
            question
                .offers
                .iter_mut()
                .flat_map(|offer| &mut offer.calls)
                .for_each(|call| call.corrects = true);
        }
        let heard = Heard { utterance, outcome: Outcome::Asked, problems: vec![question.problem()] };
        let heard_seq = session.write(heard, Vec::new())?.heard_seq;
        self.wait_for_answer(session, heard_seq, question)
    }

    /// Asks, or asks once more.
    fn wait_for_answer(
        &mut self,
        session: &mut Session,
        heard_seq: u64,
        question: Question,
    ) -> anyhow::Result<()> {
        let aloud = question.aloud();
        let spoken_s = self.say(&aloud, session);
        if spoken_s.is_none() {
            self.sound(Tone::NotUnderstood);
        }
        self.tell(&format!("{:<15} {aloud} ({})", "ASKED", question.answers()))?;
        let until = session.next_sample() + spoken_s.unwrap_or(0) + ANSWER_WAIT_S * u64::from(SAMPLE_RATE_HZ);
        self.open = Some(Open { heard_seq, question, until });
        session.expect_answer(true)
    }

    /// A breath while a question waits.
    fn reply_to(
        &mut self,
        session: &mut Session,
        open: Open,
        utterance: Utterance,
        parsed: Parsed,
    ) -> anyhow::Result<()> {
        match open.question.answered(&utterance, &parsed) {
            answer @ (Answer::Take(_) | Answer::Nothing) => {
                let given = parsed.calls.first().and_then(|call| match &call.act {
                    Act::Answer { answer } => Some(answer.clone()),
                    _ => None,
                });
                let sample = utterance.span.to;
                let heard = Heard { utterance, outcome: Outcome::Calls, problems: Vec::new() };
                session.write(heard, if given.is_some() { parsed.calls } else { Vec::new() })?;
                let given = given.unwrap_or_else(|| AGAIN.to_owned());
                self.settle(session, open, &answer, given, sample)
            }
            Answer::Again => {
                let settled = Settled {
                    heard_seq: open.heard_seq,
                    answer: AGAIN.to_owned(),
                    by: VOICE.to_owned(),
                    taken: None,
                };
                session.settle(utterance.span.from, settled, &[])?;
                session.expect_answer(false)?;
                self.take(session, utterance, parsed)
            }
            Answer::Unfit => {
                let heard = Heard { utterance, outcome: Outcome::Calls, problems: Vec::new() };
                session.write(heard, parsed.calls)?;
                self.wait_for_answer(session, open.heard_seq, open.question)
            }
            // Another call: the question is passed over, and stays open for the reviewer.
            Answer::Other if !utterance.rejected && !utterance.unsure && !parsed.calls.is_empty() => {
                session.expect_answer(false)?;
                self.take(session, utterance, parsed)
            }
            // Talk, or not understood: the question still waits.
            Answer::Other => {
                self.open = Some(open);
                self.act(session, utterance, parsed)
            }
        }
    }

    fn settle(
        &mut self,
        session: &mut Session,
        open: Open,
        answer: &Answer,
        given: String,
        sample: u64,
    ) -> anyhow::Result<()> {
        let offer = match answer {
            Answer::Take(idx) => open.question.offers.get(*idx),
            _ => None,
        };
        let taken = offer.map(|offer| offer.words.clone());
        let calls = offer.map(|offer| offer.calls.clone()).unwrap_or_default();
        let settled =
            Settled { heard_seq: open.heard_seq, answer: given, by: VOICE.to_owned(), taken: taken.clone() };
        session.settle(sample, settled, &calls)?;
        session.expect_answer(false)?;
        self.sound(Tone::Understood);
        self.tell(&match &taken {
            Some(words) => format!("{:<15} {words}", "settled"),
            None => format!("{:<15} nothing of it was taken; say it again", "settled"),
        })?;
        let written = Written { heard_seq: open.heard_seq, outcome: Outcome::Calls, calls };
        if written.calls.is_empty() { Ok(()) } else { self.reply(session, &written) }
    }

    /// No answer is waited for any more; at the end of an exam, too.
    pub(super) fn close(&mut self, session: &mut Session) -> anyhow::Result<()> {
        if self.open.take().is_some() { session.expect_answer(false) } else { Ok(()) }
    }

    /// Does what was said.
    fn act(&mut self, session: &mut Session, utterance: Utterance, parsed: Parsed) -> anyhow::Result<()> {
        let (words, doubted) = (utterance.text(), !utterance.rejected);
        let written = session.attend(utterance, parsed)?;
        match written.outcome {
            Outcome::Calls => self.sound(Tone::Understood),
            // What sounds like talk to somebody else is not answered.
            Outcome::NotUnderstood if doubted => self.sound(Tone::NotUnderstood),
            _ => {}
        }
        self.tell(&line(&written, &words))?;
        if written.calls.is_empty() { Ok(()) } else { self.reply(session, &written) }
    }

    /// Answers what was asked, and tells at once when a view is left without a save.
    fn reply(&mut self, session: &Session, written: &Written) -> anyhow::Result<()> {
        let exam = session.exam()?;
        for call in &written.calls {
            if let Act::Question { ask } = &call.act
                && let Some(said) = answer(ask, &exam, &session.ear.protocols)
            {
                self.say(&said, session);
                self.tell(&format!("{:<15} {said}", "answer"))?;
            }
        }
        let before = std::mem::replace(&mut self.in_force, exam.context.clone());
        if let Some(view) = forgotten(&before, &exam) {
            let view = view.view_in_words(&session.ear.protocols);
            self.sound(Tone::Alarm);
            self.say(&format!("{view} was left without a save"), session);
            self.tell(&format!("{:<15} {view} was left without a save", "FORGOTTEN?"))?;
        }
        Ok(())
    }

    pub(super) fn sound(&self, tone: Tone) {
        if let Some(mouth) = self.manner.mouth.as_ref().filter(|_| self.manner.tones) {
            mouth.sound(tone);
        }
    }

    /// Says a text; gives about how many samples that takes, or none without a voice.
    fn say(&mut self, text: &str, session: &Session) -> Option<u64> {
        let said = self.manner.mouth.as_ref().is_some_and(|mouth| mouth.say(text));
        self.mind_own_voice(session.next_sample());
        // Two and a half words a second, as the voice speaks.
        let words = text.split_whitespace().count() as u64;
        said.then_some(words * u64::from(SAMPLE_RATE_HZ) * 2 / 5)
    }

    pub(super) fn tell(&self, text: &str) -> anyhow::Result<()> {
        let at = Utc::now().with_timezone(&chrono::Local).format("%H:%M:%S");
        writeln!(std::io::stdout(), "{at}  {text}")?;
        Ok(())
    }
}

/// A breath as one line for the terminal.
fn line(written: &Written, words: &str) -> String {
    let what = match written.outcome {
        Outcome::Calls => "heard",
        Outcome::NotUnderstood => "not understood",
        Outcome::Asked => "asked",
        Outcome::Talk => "talk",
        Outcome::Note => "note",
        Outcome::Ignored => "ignored",
    };
    format!("{what:<15} {words}")
}
