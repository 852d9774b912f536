//! What is made of each utterance at the horse: acted on, asked about, answered.
//!
//! Takes: utterances in order, and the session they belong to.
//! Gives: journal lines, and what is sounded, said and told.
//! Never: acts on what it has asked about before the answer, or on its own voice.
//! Tested in: `tests/sound/listen.rs`.

use std::collections::BTreeMap;
use std::time::Duration;

use super::screen::{Notice, Screen};
use super::session::{Session, Written};
use crate::clock::{SAMPLE_RATE_HZ, Span};
use crate::exam::call::{Act, Problem};
use crate::exam::context::Context;
use crate::exam::event::{Outcome, Settled, UtteranceEvent};
use crate::exam::fold::Exam;
use crate::exam::parse::Parsed;
use crate::knowledge::place::Place;
use crate::session::answer::answer;
use crate::session::ask::{ANSWER_WAIT_S, AnswerMeaning, AskContext, SpokenQuestion, question};
use crate::session::forgotten::{Left, ends, is_saved_by_word, left};
use crate::session::speech_output::SpeechOutput;
use crate::session::tone::Tone;
use crate::speech::utterance::{Utterance, UtteranceAudio};

/// The file of a still is read after it has come to rest, within so many samples.
const COMES_TO_REST: u64 = 2 * SAMPLE_RATE_HZ as u64;
/// The program's own voice lingers so long in a room and in the buffers of a sound system.
const LINGERS: u64 = SAMPLE_RATE_HZ as u64 / 2;

/// The call was said again instead of an answer.
const AGAIN: &str = "again";
/// How an answer was given.
const VOICE: &str = "voice";
const KEY: &str = "key";

/// A device that may go and come back, as it is told: that it is gone, that it is back.
pub(super) type Device = [&'static str; 2];
pub(super) const MICROPHONE: Device =
    ["the microphone is gone: nothing is heard until it is back", "the microphone is back"];
pub(super) const SWITCH: Device =
    ["the switch is gone: what is said does not count until it is back", "the switch is back"];

/// How an utterance came to the ear.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Arrival {
    Whole,
    /// Sound was lost in it, and half a phrase can mean something else.
    Broken,
    /// The switch to talk by was off.
    SwitchedOff,
}

/// A question that waits for an answer.
struct Open {
    heard_seq: u64,
    question: SpokenQuestion,
    /// An answer must begin before this sample.
    until: u64,
}

/// What is sounded and said.
#[derive(Default)]
pub(super) struct Feedback {
    /// None where there is no loudspeaker, or nothing is to be heard of it.
    pub(super) mouth: Option<SpeechOutput>,
    pub(super) tones: bool,
}

impl Feedback {
    pub(super) fn sound(&self, tone: Tone) {
        if let Some(mouth) = self.mouth.as_ref().filter(|_| self.tones) {
            mouth.sound(tone);
        }
    }

    /// Tells that a device is gone, with a sound, or that it is back.
    pub(super) fn device(
        &self,
        face: &mut Screen,
        [gone, back]: Device,
        is_gone: bool,
    ) -> anyhow::Result<()> {
        if is_gone {
            self.sound(Tone::Alarm);
            return face.tell(Notice::Fault, gone);
        }
        face.tell(Notice::Notice, back)
    }
}

pub(super) struct Dialogue {
    pub(super) face: Screen,
    manner: Feedback,
    schemes: BTreeMap<String, String>,
    /// What is in force: only calls change it, and after each of them it is read anew.
    in_force: Context,
    open: Option<Open>,
    /// Where the program's own voice lies in the sound that was heard last.
    own_voice: Option<Span>,
    /// None where no folder of the scanner is followed: then the spoken saves tell.
    stills: Option<Stills>,
}

/// What is known of the stills that arrive from the scanner.
pub(super) struct Stills {
    /// Samples from saving a still to its file.
    delay: u64,
    /// When they were saved, by the sample.
    saved_at: Vec<u64>,
    /// The sample at which the view in force was called.
    entered: u64,
    /// Views whose stills may still be on their way.
    left: Vec<Left>,
}

impl Stills {
    pub(super) fn new(delay_s: f64, now: u64) -> Self {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // the command line bounds it
        let delay = (delay_s * f64::from(SAMPLE_RATE_HZ)) as u64;
        Self { delay, saved_at: Vec::new(), entered: now, left: Vec::new() }
    }
}

impl Dialogue {
    /// Begins or goes on with `exam`.
    pub(super) fn new(face: Screen, manner: Feedback, exam: Exam, stills: Option<Stills>) -> Self {
        let (schemes, in_force) = (exam.header.schemes, exam.context);
        Self { face, manner, schemes, in_force, open: None, own_voice: None, stills }
    }

    /// A still has arrived, at the sample `at`.
    pub(super) fn still(&mut self, name: &str, at: u64) -> anyhow::Result<()> {
        if let Some(stills) = &mut self.stills {
            let saved_at = at.saturating_sub(stills.delay);
            stills.saved_at.push(saved_at);
            let left = stills.left.iter().find(|left| left.holds(saved_at));
            let view = left.map_or_else(|| Place::from(&self.in_force), |left| left.view.clone());
            self.face.still_of(&view);
        }
        self.face.tell(Notice::Still, name)
    }

    /// How long the stills of the views that were just left can still take, if there are such views.
    pub(super) fn still_waits(&self) -> Option<Duration> {
        let stills = self.stills.as_ref().filter(|stills| !stills.left.is_empty())?;
        Some(Duration::from_secs((stills.delay + COMES_TO_REST) / u64::from(SAMPLE_RATE_HZ)))
    }

    /// Tells of the views whose stills should have come by now; with `all`, of those that were just left, too.
    pub(super) fn mind_stills(&mut self, session: &Session, all: bool) -> anyhow::Result<()> {
        let Some(stills) = &mut self.stills else { return Ok(()) };
        let due = session.next_sample().saturating_sub(stills.delay + COMES_TO_REST);
        let (known, waiting): (Vec<Left>, Vec<Left>) =
            std::mem::take(&mut stills.left).into_iter().partition(|left| all || left.to <= due);
        stills.left = waiting;
        let lacking: Vec<Left> =
            known.into_iter().filter(|left| left.lacks_still(&stills.saved_at)).collect();
        lacking.iter().try_for_each(|left| self.warn(session, &left.view, "has no still"))
    }

    fn warn(&mut self, session: &Session, view: &Place, what: &str) -> anyhow::Result<()> {
        let view = view.view_in_words(&session.ear.protocols);
        self.sound(Tone::Alarm);
        self.say(&format!("{view} {what}"), session);
        self.face.tell(Notice::Forgotten, &format!("{view} {what}"))
    }

    /// Called with each block of sound: where the program's own voice is heard in it, up to the sample `now`.
    pub(super) fn mind_own_voice(&mut self, now: u64) {
        if self.manner.mouth.as_ref().is_some_and(SpeechOutput::speaks) {
            let from = self.own_voice.filter(|own| own.to + LINGERS >= now).map_or(now, |own| own.from);
            self.own_voice = Some(Span { from, to: now });
        }
    }

    /// True while the program's own voice is heard, up to the sample `now`.
    pub(super) fn hears_itself(&self, now: u64) -> bool {
        self.own_voice.is_some_and(|own| now < own.to + LINGERS)
    }

    /// One utterance.
    pub(super) fn utterance(
        &mut self,
        session: &mut Session,
        segment: &UtteranceAudio,
        came: Arrival,
    ) -> anyhow::Result<()> {
        if self.open.as_ref().is_some_and(|open| segment.span.from > open.until) {
            self.close(session)?;
            self.face.tell(Notice::Notice, "no answer: it stays open for the reviewer")?;
        }
        let (mut utterance, parsed) = session.recognise(segment)?;
        utterance.unsure |= came == Arrival::Broken;
        if came == Arrival::SwitchedOff {
            let help = "if it was a call, put it in; the switch must be on while it is said";
            return pass_over(session, utterance, "heard while the switch was off", help);
        }
        if self.is_own_voice(&utterance) {
            let help = "if it was a call, put it in; an earpiece keeps the two apart";
            return pass_over(session, utterance, "heard while the program itself was speaking", help);
        }
        if let Some(open) = self.open.take() {
            return self.reply_to(session, open, utterance, parsed);
        }
        self.take(session, utterance, parsed)
    }

    /// An utterance begins before its words, with a little of the quiet there: only the words are looked at.
    fn is_own_voice(&self, utterance: &Utterance) -> bool {
        let words = utterance.words.iter().map(|word| word.span).reduce(Span::join).unwrap_or(utterance.span);
        self.own_voice.is_some_and(|own| words.from < own.to + LINGERS && own.from < words.to)
    }

    /// An utterance while no question waits.
    fn take(&mut self, session: &mut Session, utterance: Utterance, parsed: Parsed) -> anyhow::Result<()> {
        let rival = session.rival(&utterance);
        let now =
            AskContext { context: &self.in_force, schemes: &self.schemes, protocols: &session.ear.protocols };
        let due = question(&utterance, &parsed, rival.as_ref(), now);
        match due.filter(|_| session.attention.takes_calls(&utterance)) {
            Some(question) => self.ask(session, utterance, question),
            None => self.act(session, utterance, parsed),
        }
    }

    fn ask(
        &mut self,
        session: &mut Session,
        utterance: Utterance,
        mut question: SpokenQuestion,
    ) -> anyhow::Result<()> {
        if session.attention.corrects(&utterance) {
            question
                .offers
                .iter_mut()
                .flat_map(|offer| &mut offer.calls)
                .for_each(|call| call.corrects = true);
        }
        let heard = UtteranceEvent { utterance, outcome: Outcome::Asked, problems: vec![question.problem()] };
        let heard_seq = session.write(heard, Vec::new())?.heard_seq;
        self.wait_for_answer(session, heard_seq, question)
    }

    /// Asks, or asks once more.
    fn wait_for_answer(
        &mut self,
        session: &mut Session,
        heard_seq: u64,
        question: SpokenQuestion,
    ) -> anyhow::Result<()> {
        let aloud = question.aloud();
        let spoken = self.say(&aloud, session);
        if spoken.is_none() {
            self.sound(Tone::NotUnderstood);
        }
        let shown = format!("{aloud} ({})", question.answers());
        self.face.tell(Notice::Asked, &shown)?;
        self.face.question(Some(shown));
        let until = session.next_sample() + spoken.unwrap_or(0) + ANSWER_WAIT_S * u64::from(SAMPLE_RATE_HZ);
        self.open = Some(Open { heard_seq, question, until });
        session.expect_answer(true)
    }

    /// An utterance while a question waits.
    fn reply_to(
        &mut self,
        session: &mut Session,
        open: Open,
        utterance: Utterance,
        parsed: Parsed,
    ) -> anyhow::Result<()> {
        match open.question.answered(&utterance, &parsed) {
            answer @ (AnswerMeaning::Take(_) | AnswerMeaning::Nothing) => {
                let given = parsed.calls.first().and_then(|call| match &call.act {
                    Act::Answer { answer } => Some(answer.clone()),
                    _ => None,
                });
                let sample = utterance.span.to;
                let heard = UtteranceEvent { utterance, outcome: Outcome::Calls, problems: Vec::new() };
                session.write(heard, if given.is_some() { parsed.calls } else { Vec::new() })?;
                let given = given.unwrap_or_else(|| AGAIN.to_owned());
                self.settle(session, open, &answer, (given, VOICE), sample)
            }
            AnswerMeaning::Again => {
                let settled = Settled {
                    heard_seq: open.heard_seq,
                    answer: AGAIN.to_owned(),
                    by: VOICE.to_owned(),
                    taken: None,
                };
                session.settle(utterance.span.from, settled, &[])?;
                self.stop_waiting(session)?;
                self.take(session, utterance, parsed)
            }
            AnswerMeaning::Unfit => {
                let heard = UtteranceEvent { utterance, outcome: Outcome::Calls, problems: Vec::new() };
                session.write(heard, parsed.calls)?;
                self.wait_for_answer(session, open.heard_seq, open.question)
            }
            // Another call: the question is passed over, and stays open for the reviewer.
            AnswerMeaning::Other if !utterance.rejected && !utterance.unsure && !parsed.calls.is_empty() => {
                self.stop_waiting(session)?;
                self.take(session, utterance, parsed)
            }
            // Talk, or not understood: the question still waits.
            AnswerMeaning::Other => {
                self.open = Some(open);
                self.act(session, utterance, parsed)
            }
        }
    }

    fn settle(
        &mut self,
        session: &mut Session,
        open: Open,
        answer: &AnswerMeaning,
        (given, by): (String, &str),
        sample: u64,
    ) -> anyhow::Result<()> {
        let offer = match answer {
            AnswerMeaning::Take(idx) => open.question.offers.get(*idx),
            _ => None,
        };
        let taken = offer.map(|offer| offer.words.clone());
        let calls = offer.map(|offer| offer.calls.clone()).unwrap_or_default();
        let settled =
            Settled { heard_seq: open.heard_seq, answer: given, by: by.to_owned(), taken: taken.clone() };
        session.settle(sample, settled, &calls)?;
        self.stop_waiting(session)?;
        self.sound(Tone::Understood);
        self.face
            .tell(Notice::Settled, taken.as_deref().unwrap_or("nothing of it was taken; say it again"))?;
        let written = Written { heard_seq: open.heard_seq, outcome: Outcome::Calls, calls };
        if written.calls.is_empty() { Ok(()) } else { self.reply(session, &written) }
    }

    /// No answer is waited for any more.
    fn close(&mut self, session: &mut Session) -> anyhow::Result<()> {
        if self.open.take().is_some() { self.stop_waiting(session) } else { Ok(()) }
    }

    fn stop_waiting(&mut self, session: &mut Session) -> anyhow::Result<()> {
        self.face.question(None);
        session.expect_answer(false)
    }

    /// A question answered by a key: `yes`, `no`, `first` or `second`.
    pub(super) fn key(&mut self, session: &mut Session, given: &str) -> anyhow::Result<()> {
        let Some(open) = self.open.take() else { return Ok(()) };
        match open.question.chosen(given) {
            answer @ (AnswerMeaning::Take(_) | AnswerMeaning::Nothing) => {
                let sample = session.next_sample();
                self.settle(session, open, &answer, (given.to_owned(), KEY), sample)
            }
            _ => {
                self.open = Some(open);
                Ok(())
            }
        }
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
        self.face.tell(what(written.outcome), &words)?;
        if written.calls.is_empty() { Ok(()) } else { self.reply(session, &written) }
    }

    /// Answers what was asked, and tells at once when a view is left without a save.
    fn reply(&mut self, session: &Session, written: &Written) -> anyhow::Result<()> {
        let exam = session.exam()?;
        self.face.take(&exam, &session.ear.protocols);
        for call in &written.calls {
            if let Act::Question { ask } = &call.act
                && let Some(said) = answer(ask, &exam, &session.ear.protocols)
            {
                self.say(&said, session);
                self.face.tell(Notice::Answer, &said)?;
            }
        }
        let before = std::mem::replace(&mut self.in_force, exam.context.clone());
        let ended = written.calls.iter().any(|call| ends(&call.act));
        let view = left(&before, &exam, ended);
        let now = written.calls.first().map_or(session.next_sample(), |call| call.span.from);
        match (&mut self.stills, view) {
            (Some(stills), view) => {
                let moved = ended || !Place::from(&before).same_view(&Place::from(&exam.context));
                let from = if moved { std::mem::replace(&mut stills.entered, now) } else { stills.entered };
                stills.left.extend(view.map(|view| Left { view, from, to: now }));
                Ok(())
            }
            (None, Some(view)) if !is_saved_by_word(&exam, &view) => {
                self.warn(session, &view, "was left without a save")
            }
            (None, _) => Ok(()),
        }
    }

    pub(super) fn sound(&self, tone: Tone) {
        self.manner.sound(tone);
    }

    pub(super) fn device(&mut self, device: Device, is_gone: bool) -> anyhow::Result<()> {
        self.manner.device(&mut self.face, device, is_gone)
    }

    /// Gives the screen back to the terminal, and the mouth to whoever speaks next.
    pub(super) fn into_manner(self) -> Feedback {
        self.manner
    }

    /// Says a text; gives about how many samples that takes, or none without a voice.
    fn say(&mut self, text: &str, session: &Session) -> Option<u64> {
        let said = self.manner.mouth.as_ref().is_some_and(|mouth| mouth.say(text));
        self.mind_own_voice(session.next_sample());
        // Two and a half words a second, as the voice speaks.
        let words = text.split_whitespace().count() as u64;
        said.then_some(words * u64::from(SAMPLE_RATE_HZ) * 2 / 5)
    }
}

/// Heard, kept, and nothing more.
fn pass_over(session: &mut Session, utterance: Utterance, message: &str, help: &str) -> anyhow::Result<()> {
    let problem = Problem { message: message.to_owned(), help: help.to_owned() };
    session.write(
        UtteranceEvent { utterance, outcome: Outcome::Ignored, problems: vec![problem] },
        Vec::new(),
    )?;
    Ok(())
}

fn what(outcome: Outcome) -> Notice {
    match outcome {
        Outcome::Calls => Notice::Heard,
        Outcome::NotUnderstood => Notice::NotUnderstood,
        Outcome::Asked => Notice::Asked,
        Outcome::Talk => Notice::Talk,
        Outcome::Note => Notice::Note,
        Outcome::Ignored => Notice::Ignored,
    }
}
