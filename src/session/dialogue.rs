//! What is made of each utterance: acted on, read back, answered, or passed over.
//!
//! Takes: one `Input` after the other, each with the sample that the exam has reached.
//! Gives: `Effect`s in order: lines for the journal, tones, speech, changes of the screen.
//! Never: I/O; acts on what it has asked about before the answer, or on its own voice.
//! Tested in: `tests/it/dialogue.rs`; with sound in `tests/sound/listen.rs`.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use crate::clock::{Anchor, Sample};
use crate::exam::call::{Act, Call, NoteEdge};
use crate::exam::event::{Event, ExamEvent, Frame, Header, Outcome};
use crate::exam::fold::{Exam, FoldError};
use crate::exam::journal::Lines;
use crate::exam::live_exam::CallsChanged;
use crate::exam::no_picture::lacks_picture;
use crate::exam::parse::Parsed;
use crate::exam::place::Place;
use crate::knowledge::progress::Progress;
use crate::protocol::Protocols;
use crate::session::answer::{answer, brief};
pub use crate::session::dialogue_options::{DialogueOptions, Listener, Output, Speech};
pub use crate::session::dialogue_state::{Counts, Dialogue};
use crate::session::dialogue_state::{Unheard, Written};
use crate::session::effect::{Arrival, Effect, HeardUtterance, Input};
use crate::session::exam_log::ExamLog;
use crate::session::forgotten::{ExamState, Left, is_meant, is_saved_by_word, left};
use crate::session::notice::{Notice, ScreenChange};
use crate::session::prompts::reaches_back;
use crate::session::stills::{AwaitedStills, file_name, refused};
use crate::session::tone::Tone;
use crate::speech::utterance::Utterance;
use crate::terminal::ShownText as _;

impl Dialogue {
    /// Begins a new exam.
    #[must_use]
    pub fn begin(header: Header, protocols: Arc<Protocols>) -> (Self, Vec<Effect>) {
        let anchor = Anchor { wall: header.started_at, monotonic_ns: 0, sample: Sample::FIRST };
        let (log, line) = ExamLog::begin(header, protocols);
        let mut this = Self::with(log);
        this.effects.push(Effect::Write(Box::new(line)));
        this.note(Sample::FIRST, Event::Anchor(anchor));
        let effects = std::mem::take(&mut this.effects);
        (this, effects)
    }

    /// Goes on with an exam at the sample and the instant of `anchor`; `resumed` is the line that says so.
    ///
    /// # Errors
    /// When the lines are not those of an exam.
    pub fn resume(
        lines: Lines,
        protocols: Arc<Protocols>,
        anchor: Anchor,
        resumed: Event,
    ) -> Result<(Self, Vec<Effect>), FoldError> {
        let is_still = |line: &&ExamEvent| matches!(line.event, Event::Frame(_));
        let earlier_stills = lines.events.iter().filter(is_still).map(|line| line.sample).collect();
        let unheard = Unheard::at_end(&lines.events);
        let mut this = Self::with(ExamLog::resume(lines, anchor.clone(), protocols)?);
        (this.earlier_stills, this.unheard) = (earlier_stills, unheard);
        let calls: Vec<Call> = this.exam().calls.iter().map(|logged| logged.call.clone()).collect();
        this.mind_sides(&calls);
        this.note(anchor.sample, resumed);
        this.note(anchor.sample, Event::Anchor(anchor));
        this.expect();
        let effects = std::mem::take(&mut this.effects);
        Ok((this, effects))
    }

    /// From the sample `now` on, it takes these into account.
    pub fn set(&mut self, options: DialogueOptions, now: Sample) {
        self.options = options;
        self.sides = self.sides.or(options.sides);
        self.stills = options.export_delay.map(|delay| AwaitedStills::new(delay, now, &self.earlier_stills));
    }

    /// From now on the program's own voice is known by the words with which this language says numbers, too.
    pub fn set_number_words(&mut self, numbers: BTreeSet<String>) {
        let sides = self.log.protocols().rules.habits.sides.iter().flatten().cloned().collect();
        self.own_voice.set_words(numbers, sides);
    }

    /// The views of which a still has arrived, for the map.
    #[must_use]
    pub fn views_with_stills(&self) -> Vec<Place> {
        self.stills.as_ref().map(|stills| stills.views(self.log.exam())).unwrap_or_default()
    }

    /// The exam as it is now.
    #[must_use]
    pub fn exam(&self) -> &Exam {
        self.log.exam()
    }

    /// How far the views of the exam are.
    #[must_use]
    pub fn progress(&self) -> &Progress {
        self.log.progress()
    }

    /// How much was heard.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// True once the exam was ended by word.
    #[must_use]
    pub fn has_ended(&self) -> bool {
        self.attention.ended()
    }

    /// The instant of a sample.
    #[must_use]
    pub fn instant_of(&self, sample: Sample) -> chrono::DateTime<chrono::Utc> {
        self.log.instant_of(sample)
    }

    /// True while the program's own voice is heard, up to the sample `now`.
    #[must_use]
    pub fn hears_itself(&self, now: Sample) -> bool {
        self.own_voice.is_heard(now)
    }

    /// How long the stills of the views that were just left can still take, if there are such views.
    #[must_use]
    pub fn stills_wait(&self) -> Option<Duration> {
        self.stills.as_ref()?.wait()
    }

    /// Something happens while the sample `now` is the next one.
    pub fn step(&mut self, input: Input, now: Sample) -> Vec<Effect> {
        match input {
            Input::Utterance(heard) => self.utterance(*heard, now),
            Input::Key(given) => self.key(given, now),
            Input::OwnSound(sound, span) => self.mind_own_sound(sound, span),
            Input::Floor(floor) => self.mind_floor(floor, now),
            Input::Time => {
                self.expire_question(now);
                self.mind_stills(now, Mind::Due);
            }
            Input::Still { frame, at } => self.still(frame, at, now),
            Input::NoStill { file, problem } => {
                self.report(Notice::NoStill, &format!("{}: {}", file.shown(), problem.message));
            }
            Input::LastStills => self.mind_stills(now, Mind::All),
            Input::Device { device, presence, name } => self.device(device, presence, name, now),
            Input::Anchor(anchor) => {
                self.note(now, Event::Anchor(anchor));
            }
            Input::Line(event) => {
                self.go_on_in_next_file(&event);
                self.note(now, *event);
            }
            Input::End { reason } => {
                self.note(now, Event::Closed { reason, samples: now.0 });
            }
        }
        std::mem::take(&mut self.effects)
    }

    fn utterance(&mut self, heard: HeardUtterance, now: Sample) {
        let HeardUtterance { mut utterance, parsed, rival, arrival } = heard;
        if self.open.as_ref().is_some_and(|open| utterance.span.from > open.until) {
            self.speak_after_question(now);
        }
        utterance.unsure |= arrival == Arrival::Broken;
        if arrival == Arrival::SwitchedOff {
            let help = "if it was a call, add it by hand; the switch must be on while you speak";
            return self.pass_over(utterance, "heard while the switch was off", help);
        }
        if arrival == Arrival::TooEarly {
            let help = "if it was a call, add it by hand; wait for the tone that says that listening begins";
            self.sound(Tone::NotUnderstood);
            self.report(
                Notice::Ignored,
                &format!("{} (before listening began: say it again)", utterance.text()),
            );
            return self.pass_over(utterance, "heard before listening was announced", help);
        }
        if self.own_voice.overlaps(&utterance) {
            return self.hear_over_own_voice(utterance, parsed, now);
        }
        if self.own_voice.is_tone(&utterance) {
            let help = "if it was a call, add it by hand; an earpiece keeps the two apart";
            return self.pass_over(utterance, "heard while a tone of the program sounded", help);
        }
        self.hear_person(utterance, parsed, rival.as_ref(), arrival, now);
    }

    /// A person's utterance, and nothing else in it.
    pub(super) fn hear_person(
        &mut self,
        utterance: Utterance,
        parsed: Parsed,
        rival: Option<&Parsed>,
        arrival: Arrival,
        now: Sample,
    ) {
        self.asked_over_own_voice = false;
        match self.open.take() {
            Some(open) => self.reply_to(open, utterance, parsed, rival, arrival, now),
            None => self.take(utterance, parsed, rival, now),
        }
    }

    /// An utterance while no question waits.
    pub(super) fn take(
        &mut self,
        utterance: Utterance,
        mut parsed: Parsed,
        rival: Option<&Parsed>,
        now: Sample,
    ) {
        self.go_on_after_end(&utterance, &parsed);
        if self.attention.takes_calls(&utterance)
            && !utterance.rejected
            && !utterance.unsure
            && self.attention.corrects(&utterance)
        {
            parsed.calls.iter_mut().for_each(|call| call.corrects = true);
        }
        let Some((utterance, parsed)) = self.take_back_unheard(utterance, parsed, now) else { return };
        let asks = self.options.listener == Listener::Person;
        match self.due_question(&utterance, &parsed, rival) {
            Some(question) if asks => self.ask(utterance, question, now),
            Some(question) if question.is_left_open() => self.leave_open(utterance, &question),
            _ => self.act(utterance, parsed, now),
        }
    }

    /// Does what was said.
    pub(super) fn act(&mut self, utterance: Utterance, parsed: Parsed, now: Sample) {
        let (words, doubted) = (utterance.text(), !utterance.rejected);
        let in_note = self.attention.is_in_note(&utterance);
        let (event, calls) = self.attention.decide(utterance, parsed);
        let opens_note = calls.iter().any(|call| call.act.is_note_edge(NoteEdge::Begins));
        let is_of_note = event.outcome == Outcome::Note || opens_note;
        let held = event.problems.first().filter(|_| is_of_note).map(|problem| problem.message.clone());
        let written = self.write(event, calls);
        match written.outcome {
            // What a note took in is not acted on: nobody may believe that it was.
            _ if held.is_some() => self.sound(Tone::NotUnderstood),
            Outcome::Calls if self.lacks(&written).is_some() => self.sound(Tone::Alarm),
            Outcome::Calls => self.sound(Tone::Understood),
            // What sounds like talk to somebody else is not answered.
            Outcome::NotUnderstood if doubted => self.sound(Tone::NotUnderstood),
            _ => {}
        }
        if in_note && written.outcome == Outcome::Calls {
            self.report(Notice::Note, "the note has ended here");
        }
        self.report(Notice::from(written.outcome), &words);
        if let Some(held) = held {
            self.report(
                Notice::NotUnderstood,
                &format!("{held}: if it was a call, say `end of note`, then the call"),
            );
        }
        self.reply(&written, now);
    }

    /// Answers what was asked, and warns at once when a view is left without a save.
    pub(super) fn reply(&mut self, written: &Written, now: Sample) {
        if written.calls.is_empty() {
            return;
        }
        if let (CallsChanged::Earlier, Some(stills)) = (written.changed, &self.stills) {
            let views = stills.views(self.log.exam());
            self.show(ScreenChange::StillsOf(views));
        }
        self.show(ScreenChange::Exam);
        self.ask_what_lacks(written, now);
        for call in &written.calls {
            if let Act::Question { ask } = &call.act
                && let Some(said) = answer(*ask, self.log.exam(), self.log.progress(), self.log.protocols())
            {
                self.name_missing(*ask);
                self.say(&brief(&said), now);
                self.report(Notice::Answer, &said);
            }
        }
        self.tell_reach(written, now);
        self.name_horse(written, now);
        let state = ExamState::after(written.calls.iter().map(|call| &call.act));
        let at = written.calls.first().map_or(now, |call| call.span.from);
        let after = &self.log.exam().context;
        // A place that was corrected or taken back was not left: nobody was there.
        let went_on = state == ExamState::Ended || !written.calls.iter().any(reaches_back);
        let view = left(&written.before, after, self.log.progress(), state).filter(|_| went_on);
        let is_other = !written.before.place.same_view(&after.place);
        let moved = state == ExamState::Ended || (went_on && is_other);
        match (&mut self.stills, view) {
            (Some(stills), view) if moved => stills.leave(view, at),
            (Some(_), _) => {}
            (None, Some(view)) if !is_saved_by_word(self.log.progress(), &view) => {
                self.warn(&view, "was left without a save", "no save", now);
            }
            (None, _) => {}
        }
        self.sum_up(written, state, now);
    }

    /// A still has arrived; its file appeared at the sample `at`.
    fn still(&mut self, frame: Box<Frame>, at: Sample, now: Sample) {
        let name = file_name(&frame.file);
        let (id, also_in) = (frame.id.clone(), frame.also_in.clone());
        self.note(now, Event::Frame(frame));
        for other in also_in {
            self.report(Notice::Listening, &format!("{name} is also in the exam `{}`", other.exam));
        }
        // It is written down in any case; whether it counts is for a person to say.
        if let Some(why) = refused(self.log.exam(), &id) {
            self.sound(Tone::Alarm);
            if self.foreign.insert(why.clone()) {
                self.say("stills of another horse: not accepted", now);
            }
            self.report(
                Notice::Fault,
                &format!("{name} was not accepted: {why}; confirm it at the desk or with `pair`"),
            );
            return;
        }
        if self.log.exam().frames.iter().any(|still| still.id == id && lacks_picture(still)) {
            self.sound(Tone::Alarm);
            self.say("a still holds no picture: save it again", now);
            self.report(Notice::Fault, &format!("{name} holds no picture that can be shown; save it again"));
            return;
        }
        if let Some(stills) = &mut self.stills {
            let view = stills.arrived(at).unwrap_or_else(|| self.log.exam().context.place.clone());
            self.show(ScreenChange::StillOf(view));
        }
        self.report(Notice::Still, &name);
    }

    /// Tells of the views whose stills should have come by now.
    fn mind_stills(&mut self, now: Sample, mind: Mind) {
        let Some(stills) = &mut self.stills else { return };
        let lacking: Vec<Left> = match mind {
            Mind::Due => stills.lacking_at(now),
            Mind::All => stills.lacking(),
        };
        for left in
            lacking.into_iter().filter(|left| is_meant(self.log.progress(), &left.view)).collect::<Vec<_>>()
        {
            self.warn(&left.view, "has no still", "no still", now);
        }
    }

    /// Warns of a view: `what` is read, `short` is heard.
    fn warn(&mut self, view: &Place, what: &str, short: &str, now: Sample) {
        let name = view.view_in_words(self.log.protocols());
        self.sound(Tone::Alarm);
        self.say(&format!("{short}: {name}"), now);
        self.report(Notice::Forgotten, &format!("{name} {what}"));
        if let (Some(limb), Some(zone)) = (view.limb.clone(), view.zone.clone()) {
            self.named.insert((limb, zone));
        }
    }
}

/// Which views are looked at for a still that lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mind {
    /// Those whose still should have come by now.
    Due,
    /// All of them: nothing more will come.
    All,
}
