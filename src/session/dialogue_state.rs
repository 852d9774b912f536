//! The state of a dialogue, and how its parts write, sound and show.
//!
//! Takes: events, tones, and changes of the screen.
//! Gives: `Dialogue`; what is written goes into its log and becomes an effect.
//! Never: decides what follows from an utterance; `dialogue`, `open_question`, `prompts`, `summary`,
//! `taken_back` and `unsaid` do.
//! Tested in: `tests/it/dialogue.rs`.

use std::collections::{BTreeMap, BTreeSet};

use crate::clock::Sample;
use crate::code::{LimbCode, ZoneCode};
use crate::exam::call::Call;
use crate::exam::context::Context;
use crate::exam::event::{CallEvent, Event, Horse, Outcome, UtteranceEvent};
use crate::exam::live_exam::CallsChanged;
use crate::exam::seq::Seq;
use crate::exam::utterance_outcome::Attention;
use crate::session::ask::SpokenQuestion;
use crate::session::dialogue_options::DialogueOptions;
use crate::session::effect::{AnswerExpected, Effect, Expected, Floor};
use crate::session::exam_log::ExamLog;
use crate::session::exam_summary::Summary;
use crate::session::listed_horse::ListedHorse;
use crate::session::notice::{Notice, ScreenChange};
use crate::session::own_voice::OwnVoice;
use crate::session::stills::AwaitedStills;
use crate::session::tone::Tone;

/// How much was heard.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Utterances.
    pub utterances: usize,
    /// Calls.
    pub calls: usize,
    /// Utterances that were not understood.
    pub not_understood: usize,
    /// Utterances after the end of the exam that may have been calls, and were not acted on.
    pub after_end: usize,
}

/// The dialogue of one exam.
#[derive(Debug)]
pub struct Dialogue {
    pub(super) log: ExamLog,
    pub(super) attention: Attention,
    pub(super) options: DialogueOptions,
    pub(super) open: Option<OpenQuestion>,
    pub(super) own_voice: OwnVoice,
    pub(super) stills: Option<AwaitedStills>,
    /// When the lines of stills from before the exam was resumed were written, by the sample.
    pub(super) earlier_stills: Vec<Sample>,
    pub(super) counts: Counts,
    pub(super) expected: Expected,
    pub(super) effects: Vec<Effect>,
    /// Why stills were not taken, as far as it was said aloud.
    pub(super) foreign: BTreeSet<String>,
    /// The pair of words that named the sides so far.
    pub(super) sides: Option<usize>,
    /// That no limb was called was asked aloud.
    pub(super) limb_was_asked: bool,
    /// Limbs and zones that were named as missing.
    pub(super) named: BTreeSet<(LimbCode, ZoneCode)>,
    /// Views missing when a limb was summed up last.
    pub(super) summed_up: BTreeMap<LimbCode, usize>,
    /// What waits to be said until nobody speaks.
    pub(super) unsaid: Unsaid,
    /// The last utterance that was not acted on, if nothing was acted on since.
    pub(super) unheard: Option<Unheard>,
    /// The same as it was before the utterance that is being asked about.
    pub(super) unheard_before: Option<Unheard>,
    /// What was heard over the program's own voice was read back, and nothing was heard without it since.
    pub(super) asked_over_own_voice: bool,
    /// The horses of the day.
    pub(super) day_list: Vec<ListedHorse>,
    /// The name that was spelled last and not confirmed.
    pub(super) spelled: Option<String>,
    /// The horses that are known from earlier exams.
    pub(super) known_horses: Vec<Horse>,
    /// What was shown of the exam when it was asked whether it is to end.
    pub(super) shown_at_end: Option<Summary>,
}

/// An utterance that was not acted on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Unheard {
    /// Its line.
    pub(super) heard_seq: Seq,
    /// Where it ended.
    pub(super) to: Sample,
    /// It did not even sound like a call.
    pub(super) rejected: bool,
    /// It was read back, and no reading of it was a save.
    pub(super) is_no_save: bool,
}

/// A question that waits for an answer.
#[derive(Debug, Clone)]
pub(super) struct OpenQuestion {
    pub(super) heard_seq: Seq,
    pub(super) question: SpokenQuestion,
    /// An answer must begin before this sample.
    pub(super) until: Sample,
    /// The question that it broke into, because something was said over it.
    pub(super) over: Option<Box<OpenQuestion>>,
}

/// What waits to be said until nobody speaks.
#[derive(Debug, Clone, Default)]
pub(super) struct Unsaid {
    pub(super) floor: Floor,
    /// Each with the sample at which it was due.
    pub(super) texts: Vec<(String, Sample)>,
}

/// What was written of an utterance or an answer.
pub(super) struct Written {
    pub(super) heard_seq: Seq,
    pub(super) outcome: Outcome,
    pub(super) calls: Vec<Call>,
    /// What was current before its calls.
    pub(super) before: Context,
    /// What its calls did to those before them.
    pub(super) changed: CallsChanged,
}

impl Dialogue {
    pub(super) fn with(log: ExamLog) -> Self {
        Self {
            log,
            attention: Attention::default(),
            options: DialogueOptions::default(),
            open: None,
            own_voice: OwnVoice::default(),
            stills: None,
            counts: Counts::default(),
            expected: Expected::default(),
            effects: Vec::new(),
            foreign: BTreeSet::new(),
            sides: None,
            limb_was_asked: false,
            earlier_stills: Vec::new(),
            named: BTreeSet::new(),
            summed_up: BTreeMap::new(),
            unsaid: Unsaid::default(),
            unheard: None,
            unheard_before: None,
            asked_over_own_voice: false,
            day_list: Vec::new(),
            spelled: None,
            known_horses: Vec::new(),
            shown_at_end: None,
        }
    }

    pub(super) fn answer_expected(&self) -> AnswerExpected {
        if self.open.is_some() { AnswerExpected::Yes } else { AnswerExpected::No }
    }

    /// Writes an utterance and its calls.
    pub(super) fn write(&mut self, event: UtteranceEvent, calls: Vec<Call>) -> Written {
        let (sample, outcome) = (event.utterance.span.to, event.outcome);
        self.counts.utterances += 1;
        self.counts.not_understood += usize::from(outcome == Outcome::NotUnderstood);
        let may_be_call = !event.utterance.rejected && !event.utterance.words.is_empty();
        let is_late = self.attention.ended() && outcome == Outcome::Ignored && event.problems.is_empty();
        self.counts.after_end += usize::from(is_late && may_be_call);
        self.mind_unheard(&event);
        let heard_seq = self.note(sample, Event::Utterance(event));
        self.write_calls(heard_seq, outcome, sample, calls)
    }

    /// Writes the calls of the utterance `heard_seq`, at `sample`.
    pub(super) fn write_calls(
        &mut self,
        heard_seq: Seq,
        outcome: Outcome,
        sample: Sample,
        mut calls: Vec<Call>,
    ) -> Written {
        calls.iter_mut().filter(|call| call.corrects).for_each(|call| call.reach = self.log.reach_of(call));
        if calls.iter().any(|call| call.act.changes_exam()) {
            self.unheard = None;
        }
        let before = self.log.exam().context.clone();
        self.counts.calls += calls.len();
        let mut changed = CallsChanged::None;
        for call in &calls {
            let event = Event::Call(CallEvent { heard_seq, call: call.clone() });
            let (line, did) = self.log.append(sample, event);
            self.effects.push(Effect::Write(Box::new(line)));
            if changed != CallsChanged::Earlier {
                changed = did;
            }
        }
        self.mind_sides(&calls);
        self.expect();
        Written { heard_seq, outcome, calls, before, changed }
    }

    /// Writes a line; gives its number.
    pub(super) fn note(&mut self, sample: Sample, event: Event) -> Seq {
        let (line, _) = self.log.append(sample, event);
        let seq = line.seq;
        self.effects.push(Effect::Write(Box::new(line)));
        seq
    }

    /// Has the engine expect what can be said now.
    pub(super) fn expect(&mut self) {
        let limb = self.log.exam().context.place.limb.clone();
        let expected = Expected { limb, answer: self.answer_expected() };
        if expected != self.expected {
            self.expected = expected.clone();
            self.effects.push(Effect::Expect(expected));
        }
    }

    pub(super) fn sound(&mut self, tone: Tone) {
        self.effects.push(Effect::Sound(tone));
    }

    pub(super) fn push(&mut self, effect: Effect) {
        self.effects.push(effect);
    }

    pub(super) fn report(&mut self, notice: Notice, text: &str) {
        self.show(ScreenChange::Line(notice, text.to_owned()));
    }

    pub(super) fn show(&mut self, change: ScreenChange) {
        self.effects.push(Effect::Show(change));
    }
}
