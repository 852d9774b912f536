//! The loop at the horse: sound in, journal lines and answers out.
//!
//! Takes: a session that was begun and an open microphone.
//! Gives: what the dialogue decides, carried out at once.
//! Never: lets the sound wait for an answer; what is spoken or shown is handed on.
//! Tested in: `tests/sound/listen.rs`.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use chrono::Utc;

use crate::clock::{Anchor, Pace, SAMPLE_RATE_HZ, Sample, Span};
use crate::exam::closed_sets::Presence;
use crate::exam::event::{CloseReason, Event};
use crate::frames::elsewhere::Elsewhere;
use crate::frames::watch::{Arrived, Watch, WatchError};
use crate::knowledge::cautions::CAUTIONS;
use crate::session::dialogue::{DialogueOptions, Listener, Output, Speech};
use crate::session::ear::Ear;
use crate::session::effect::{Arrival, Effect, Floor, Input};
use crate::session::error::{SessionError, in_one_line};
use crate::session::exam_session::Session;
use crate::session::feedback::Feedback;
use crate::session::microphone::{Given, Microphone, PAUSE};
use crate::session::notice::{Device, Notice, ScreenChange};
use crate::session::options::ListenOptions;
use crate::session::remembered::RememberedScanner;
use crate::session::screen::{Key, Screen};
use crate::session::sound_log::{ProgramSoundAt, ns_after};
use crate::session::sound_source::SoundSource;
use crate::session::talk_gate::Gate;
use crate::session::talk_switch::TalkSwitch;
use crate::session::tone::Tone;
use crate::speech::capture::AudioBlock;
use crate::speech::stream::piece_len;
use crate::speech::utterance::UtteranceAudio;
use crate::terminal::{self, ShownText as _};

/// Words are shown while they are spoken, anew after this long; less often on a slow machine.
const GROWS_EVERY: Duration = Duration::from_millis(200);
/// A look at growing words may take this part of the time.
const GROWS_SHARE: u32 = 4;

/// An exam that is heard live.
pub struct ListenLoop {
    session: Session,
    microphone: Microphone,
    feedback: Feedback,
    screen: Screen,
    watch: Option<Watch>,
    pace: Pace,
    switch: Option<TalkSwitch>,
    gate: Gate,
    /// Where sound was lost last.
    gap_at: Option<Sample>,
    /// The system lost sound before the block that comes next.
    overrun: bool,
    /// What began before this sample was said before listening was announced.
    listens_from: Sample,
    output: Output,
    /// When growing words are looked at next.
    grows_at: Instant,
    source: SoundSource,
    stop: Arc<AtomicBool>,
}

/// What an exam is heard and answered with; after it comes the next one.
pub struct Tools {
    /// What is listened with.
    pub microphone: Microphone,
    /// What is sounded and said.
    pub feedback: Feedback,
    /// None where everything said is acted on.
    pub switch: Option<TalkSwitch>,
}

/// An exam that was closed, and what it was heard with.
pub struct Closed {
    /// What a person is shown at the end.
    pub summary: String,
    /// It went on in another folder than it began in.
    pub has_moved: bool,
    /// The fault that ended the listening, if one did.
    pub heard: Result<(), SessionError>,
    /// The ear, for the next exam.
    pub ear: Ear,
    /// The tools, for the next exam.
    pub tools: Tools,
}

impl ListenLoop {
    /// Begins to listen; `stop` ends it.
    ///
    /// Where the scanner's folder cannot be followed, the exam goes on without it: it is reported, and a save is what counts.
    ///
    /// # Errors
    /// When the journal cannot be written.
    pub fn new(
        mut session: Session,
        tools: Tools,
        options: &ListenOptions,
        stop: Arc<AtomicBool>,
    ) -> Result<Self, SessionError> {
        let Tools { microphone, feedback, switch } = tools;
        let speech = if feedback.has_voice() { Speech::Aloud } else { Speech::Silent };
        let (watch, lacking) = followed(&session, options);
        let export_delay = watch.as_ref().map(|_| samples(options.export_delay_s));
        session.answer_with(DialogueOptions {
            listener: Listener::Person,
            speech,
            output: options.output,
            sides: options.sides,
            export_delay,
        })?;
        session.name_from(options.day_list.clone(), options.known_horses.clone());
        let folder = session.folder().path();
        if let Some(scanner) = &options.watch {
            let scanner = RememberedScanner {
                watch: scanner.clone(),
                export_delay_s: options.export_delay_s,
                received: options.received,
            };
            let kept = scanner.keep(folder);
            kept.unwrap_or_else(|error| {
                terminal::warn(format!("zonecall: `resume` will need --watch again: {error}"))
            });
        }
        // What was printed before is behind the picture.
        let second = options
            .second_screen
            .as_ref()
            .map(|second_screen| format!("  second screen {}", second_screen.address()));
        let second = second.unwrap_or_default();
        let title = format!("zonecall  {}  {}{second}", folder.shown(), microphone.name());
        let mut screen = Screen::open(options.display, title, options.second_screen.clone());
        if watch.is_some() {
            screen = screen.counting_stills();
        }
        if screen.has_lines() {
            screen.report(Notice::Listening, CAUTIONS)?;
        }
        if let Some(error) = lacking {
            screen.report(
                Notice::Fault,
                &format!("the scanner's folder is not watched in this exam: {error}"),
            )?;
            feedback.sound(Tone::Alarm);
        }
        let dialogue = session.dialogue();
        screen.take(dialogue.exam(), dialogue.progress(), &session.ear().protocols);
        screen.stills_of(&dialogue.views_with_stills());
        if let Some(switch) = &switch {
            screen.has_switch(switch.terminal_key());
        }
        let pace = Pace::new(session.next_sample());
        Ok(Self {
            microphone,
            feedback,
            screen,
            watch,
            session,
            pace,
            switch,
            gate: Gate::default(),
            gap_at: None,
            overrun: false,
            listens_from: Sample::FIRST,
            output: options.output,
            grows_at: Instant::now(),
            source: SoundSource::watch(),
            stop,
        })
    }

    /// Says audibly that listening begins; what was said before that, while `behind` and `first` were recorded, does not
    /// count.
    pub fn announce(&mut self, first: &[i16], behind: u64) {
        self.listens_from = self.session.next_sample() + first.len() as u64 + behind;
        self.feedback.sound(Tone::Understood);
    }

    /// Listens until it is stopped, by voice or by a signal.
    ///
    /// `first` is sound that has come already, and `behind` how much waits behind it.
    ///
    /// # Errors
    /// When the exam cannot go on.
    pub fn listen(&mut self, first: &[i16], behind: u64) -> Result<(), SessionError> {
        let name = self.microphone.name();
        let line = format!("listening to {name}; say `end of exam` or press Ctrl-C to stop");
        self.screen.report(Notice::Listening, &line)?;
        self.block(&AudioBlock { samples: first.to_vec(), lost_before: 0, behind })?;
        while !self.stop.load(Ordering::Relaxed) && !self.session.dialogue().has_ended() {
            match self.next_block()? {
                Some(block) => self.block(&block)?,
                None => std::thread::sleep(PAUSE),
            }
            self.keys()?;
            self.screen.draw()?;
        }
        Ok(())
    }

    fn keys(&mut self) -> Result<(), SessionError> {
        for key in self.screen.keys()? {
            match key {
                Key::End => self.stop.store(true, Ordering::Relaxed),
                Key::Switch => self.switch.iter_mut().for_each(TalkSwitch::press),
                Key::Answer(given) => self.step(Input::Key(given))?,
            }
        }
        Ok(())
    }

    /// An utterance that was cut out of the sound before the exam began: the one that opened it.
    ///
    /// # Errors
    /// When the exam cannot go on.
    pub fn opened_by(&mut self, segment: &UtteranceAudio) -> Result<(), SessionError> {
        let segment = self.session.take_utterance(segment)?;
        // It has counted already, whatever became of the switch since.
        self.attend(&segment, Arrival::Whole)
    }

    /// Closes audio and journal; a fault that ended the listening is the reason that they give.
    ///
    /// # Errors
    /// When the journal cannot be closed.
    pub fn close(mut self, heard: Result<(), SessionError>) -> Result<Closed, SessionError> {
        // The first fault is the reason; none of them keeps the journal open.
        let last = self.session.close_audio();
        let read = self.session.clocks_at(self.session.next_sample());
        let heard = heard.and_then(|()| self.mind_own_sounds(&read));
        let heard = heard.and_then(|()| last?.iter().try_for_each(|segment| self.utterance(segment)));
        let heard = heard.and_then(|()| self.last_stills());
        let reason = match (&heard, self.session.dialogue().has_ended()) {
            (Err(error), _) => CloseReason::Fault(in_one_line(error)),
            (Ok(()), true) => CloseReason::EndOfExam,
            (Ok(()), false) => CloseReason::Stopped,
        };
        let effects = self.session.mind_folder()?;
        self.carry_out(effects)?;
        let has_moved = self.session.has_moved();
        let (summary, ear) = self.session.close(reason)?;
        // The screen is given back first: what is written now stays on the terminal.
        drop(self.screen);
        let tools = Tools { microphone: self.microphone, feedback: self.feedback, switch: self.switch };
        Ok(Closed { summary, has_moved, heard, ear, tools })
    }

    /// The stills of the last views may still be on their way: waited for once, before the journal is closed.
    fn last_stills(&mut self) -> Result<(), SessionError> {
        if let Some(wait) = self.session.dialogue().stills_wait() {
            std::thread::sleep(wait);
            self.stills()?;
        }
        self.step(Input::LastStills)
    }

    /// The next block, from a microphone that may go and come back.
    fn next_block(&mut self) -> Result<Option<AudioBlock>, SessionError> {
        let given = self.microphone.listen()?;
        // How much the system lost it does not say: the clock shows when the next sound comes.
        self.overrun |= self.microphone.overrun();
        match given {
            Given::Sound(block) => return Ok(Some(block)),
            Given::Nothing => {}
            Given::Lost => {
                self.break_off()?;
                self.device(Device::Microphone, Presence::Lost)?;
            }
            Given::Back(after) => {
                self.device(Device::Microphone, Presence::Back)?;
                let read = self.session.clocks_at(self.session.next_sample());
                self.gap(samples(after.as_secs_f64()), read)?;
            }
        }
        Ok(None)
    }

    fn device(&mut self, device: Device, presence: Presence) -> Result<(), SessionError> {
        let name = self.microphone.name().to_owned();
        self.step(Input::Device { device, presence, name })
    }

    /// Sound is lost here: the utterance that was going on ends, and what follows is another one.
    fn break_off(&mut self) -> Result<(), SessionError> {
        self.gap_at = Some(self.session.next_sample());
        self.session.cut()?.iter().try_for_each(|segment| self.utterance(segment))
    }

    /// Sound was lost here, at least `counted` samples: written down as the clock has it, and time is tied to the clocks
    /// anew.
    fn gap(&mut self, counted: u64, read: Anchor) -> Result<(), SessionError> {
        let samples = self.pace.lacking(&read).map_or(counted, |lacking| lacking.max(counted));
        self.step(Input::Line(Box::new(Event::AudioLost { samples })))?;
        self.step(Input::Anchor(read))?;
        self.pace = Pace::new(self.session.next_sample());
        Ok(())
    }

    /// One block: kept, then what ended in it is understood and answered.
    fn block(&mut self, block: &AudioBlock) -> Result<(), SessionError> {
        self.screen.level(block);
        let effects = self.session.mind_folder()?;
        self.carry_out(effects)?;
        let recorded = |session: &Session| session.next_sample() + block.samples.len() as u64 + block.behind;
        let read = self.session.clocks_at(recorded(&self.session));
        if std::mem::take(&mut self.overrun) || block.lost_before > 0 {
            self.break_off()?;
            self.gap(block.lost_before, read.clone())?;
        }
        self.mind_own_sounds(&read)?;
        self.mind_switch(recorded(&self.session))?;
        if let Some(best) = self.pace.see(read) {
            self.step(Input::Anchor(best))?;
        }
        // After a delay a block is long; what ends in it changes what can be said in the rest.
        for piece in block.samples.chunks(piece_len(block.behind)) {
            // Its own pauses end no utterance.
            let ended = match self.is_person() {
                true => self.session.take_early(piece)?,
                false => self.session.take(piece)?,
            };
            for segment in ended {
                self.utterance(&segment)?;
            }
        }
        // In an earpiece only a person can be heard: the program falls silent at once.
        if self.output == Output::Earpiece && self.feedback.speaks() && self.session.is_spoken_to() {
            self.feedback.fall_silent();
        }
        if self.output == Output::Room && self.feedback.speaks() && block.behind == 0 {
            self.mind_interruption()?;
        }
        // Its own words are not shown.
        let is_person = self.is_person();
        let floor = if is_person && self.session.is_spoken_to() { Floor::Taken } else { Floor::Free };
        self.step(Input::Floor(floor))?;
        if block.behind == 0 {
            self.grow(is_person)?;
        }
        self.mind_source()?;
        self.stills()
    }

    /// Where the program itself could be heard, by the clocks: a thread that was late to look does not change that.
    fn mind_own_sounds(&mut self, read: &Anchor) -> Result<(), SessionError> {
        let now = Instant::now();
        for ProgramSoundAt { sound, from, to } in self.feedback.own_sounds(now) {
            let sample = |at| self.pace.recorded_at(i128::from(read.monotonic_ns) + ns_after(now, at), read);
            let span = Span { from: sample(from), to: sample(to) };
            self.step(Input::OwnSound(sound, span))?;
        }
        Ok(())
    }

    /// The program itself is not heard in what comes next.
    fn is_person(&self) -> bool {
        !self.session.dialogue().hears_itself(self.session.next_sample())
    }

    /// A person who says a call while the program speaks comes first: it falls silent at once.
    fn mind_interruption(&mut self) -> Result<(), SessionError> {
        let now = Instant::now();
        if now < self.grows_at {
            return Ok(());
        }
        if let Some((utterance, parsed)) = self.session.said_meanwhile()?
            && self.session.dialogue().is_interrupted_by(&utterance, &parsed)
        {
            self.feedback.fall_silent();
        }
        self.grows_at = now + GROWS_EVERY.max(now.elapsed() * GROWS_SHARE);
        Ok(())
    }

    /// Shows the words that are being spoken, if a person speaks.
    fn grow(&mut self, is_person: bool) -> Result<(), SessionError> {
        let now = Instant::now();
        if self.screen.shows_growing() && now >= self.grows_at {
            let words = if is_person { self.session.growing()? } else { None };
            self.screen.growing(words);
            self.grows_at = now + GROWS_EVERY.max(now.elapsed() * GROWS_SHARE);
        }
        Ok(())
    }

    /// The switch may have been turned while `recorded` is being recorded: what was said before and after it are two
    /// utterances.
    fn mind_switch(&mut self, recorded: Sample) -> Result<(), SessionError> {
        let Some(switch) = &mut self.switch else { return Ok(()) };
        let (news, is_on) = (switch.news(), switch.is_on());
        if let Some(presence) = news {
            self.device(Device::Switch, presence)?;
        }
        if self.gate.is_due(is_on, self.session.next_sample(), recorded) {
            for segment in self.session.cut()? {
                self.utterance(&segment)?;
            }
            self.gate.turn();
            self.screen.switched(self.gate.is_open())?;
        }
        Ok(())
    }

    /// The sound server may record from another source: another microphone, or none that a person speaks into.
    fn mind_source(&mut self) -> Result<(), SessionError> {
        if self.source.has_moved() {
            self.device(Device::Microphone, Presence::Moved)?;
        }
        Ok(())
    }

    /// Stills that have arrived are written down; views that lack theirs are reported.
    fn stills(&mut self) -> Result<(), SessionError> {
        for arrived in self.watch.iter().flat_map(Watch::arrived).collect::<Vec<_>>() {
            match arrived {
                Arrived::Still { frame, at } => {
                    let late_s = (Utc::now() - at).as_seconds_f64().max(0.0);
                    let at = self.session.next_sample().back(samples(late_s));
                    self.step(Input::Still { frame, at })?;
                }
                Arrived::Other { file, problem } => self.step(Input::NoStill { file, problem })?,
                Arrived::FolderGone { error } => {
                    self.feedback.sound(Tone::Alarm);
                    self.screen.report(Notice::Fault, &format!("stills no longer arrive: {error}"))?;
                }
                Arrived::FolderBack => {
                    self.screen.report(Notice::Listening, "the scanner's folder is back")?;
                }
            }
        }
        self.step(Input::Time)
    }

    fn utterance(&mut self, segment: &UtteranceAudio) -> Result<(), SessionError> {
        let broken = self.gap_at.is_some_and(|gap| segment.span.from <= gap);
        let arrival = match broken {
            _ if self.switch.is_some() && !self.gate.is_open() => Arrival::SwitchedOff,
            true => Arrival::Broken,
            false => Arrival::Whole,
        };
        self.attend(segment, arrival)
    }

    fn attend(&mut self, segment: &UtteranceAudio, arrival: Arrival) -> Result<(), SessionError> {
        let (utterance, parsed) = self.session.recognise(segment)?;
        let begins = utterance.words.first().map_or(utterance.span.to, |word| word.span.from);
        let arrival = if begins < self.listens_from { Arrival::TooEarly } else { arrival };
        let effects = self.session.attend(utterance, parsed, arrival)?;
        self.carry_out(effects)
    }

    fn step(&mut self, input: Input) -> Result<(), SessionError> {
        let effects = self.session.step(input)?;
        self.carry_out(effects)
    }

    /// What the dialogue needs done besides writing.
    fn carry_out(&mut self, effects: Vec<Effect>) -> Result<(), SessionError> {
        for effect in effects {
            match effect {
                Effect::Sound(tone) => self.feedback.sound(tone),
                Effect::Say(text) => self.feedback.say(&text),
                Effect::Show(ScreenChange::Line(notice, text)) => self.screen.report(notice, &text)?,
                Effect::Show(ScreenChange::Question(question)) => self.screen.question(question),
                Effect::Show(ScreenChange::StillOf(view)) => self.screen.still_of(&view),
                Effect::Show(ScreenChange::StillsOf(views)) => self.screen.stills_of(&views),
                Effect::Show(ScreenChange::Exam) => {
                    let dialogue = self.session.dialogue();
                    self.screen.take(dialogue.exam(), dialogue.progress(), &self.session.ear().protocols);
                }
                Effect::Write(_) | Effect::Expect(_) => unreachable!("the session carries these out itself"),
            }
        }
        Ok(())
    }
}

/// The scanner's folder, if one is to be followed; and why it is not, where it cannot be.
fn followed(session: &Session, options: &ListenOptions) -> (Option<Watch>, Option<WatchError>) {
    let Some(scanner) = &options.watch else { return (None, None) };
    let (exam, folder) = (session.exam(), session.folder().path());
    let known = exam.frames.iter().map(|frame| (frame.id.clone(), frame.file.clone())).collect();
    let (own, started_at) = (folder.to_owned(), exam.header.started_at);
    let elsewhere = move || Elsewhere::read(&own, started_at);
    match Watch::open(scanner, folder, exam.header.utc_offset_s, known, elsewhere, options.picture_fault) {
        Ok(watch) => (Some(watch), None),
        Err(error) => (None, Some(error)),
    }
}

/// So many seconds as samples; less than none is none.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // the command line bounds it; a cast saturates
fn samples(seconds: f64) -> u64 {
    (seconds * f64::from(SAMPLE_RATE_HZ)) as u64
}
