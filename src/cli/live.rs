//! The loop at the horse: sound in, journal lines and answers out.
//!
//! Takes: a session that was begun and an open microphone.
//! Gives: what became of each utterance, told at once.
//! Never: lets the sound wait for an answer; what is spoken or shown is handed on.
//! Tested in: `tests/sound/listen.rs`.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use chrono::Utc;

use super::dialogue::{Arrival, Dialogue, Feedback, MICROPHONE, SWITCH, Stills};
use super::listen::ListenOptions;
use super::microphone::{Given, Microphone, PAUSE};
use super::screen::{Key, Notice, Screen};
use super::session::{Ear, Session};
use super::switch::TalkSwitch;
use super::told;
use crate::clock::{Anchor, Pace, SAMPLE_RATE_HZ};
use crate::exam::event::{Event, FAULT};
use crate::frames::watch::{Arrived, Watch};
use crate::session::gate::Gate;
use crate::session::speech_output::SpeechOutput;
use crate::session::voice::Voice;
use crate::speech::capture::AudioBlock;
use crate::speech::utterance::UtteranceAudio;

/// Words are shown while they are spoken, anew after this long; less often on a slow machine.
const GROWS_EVERY: Duration = Duration::from_millis(200);
/// A look at growing words may take this part of the time.
const GROWS_SHARE: u32 = 4;
/// Samples that are listened to at once: a tenth of a second, in which no utterance ends and another begins.
const PIECE: usize = SAMPLE_RATE_HZ as usize / 10;

pub(super) struct Live {
    session: Session,
    microphone: Microphone,
    dialogue: Dialogue,
    watch: Option<Watch>,
    pace: Pace,
    clock: Instant,
    switch: Option<TalkSwitch>,
    gate: Gate,
    /// Where sound was lost last.
    gap_at: Option<u64>,
    /// When growing words are looked at next.
    grows_at: Instant,
    stop: Arc<AtomicBool>,
}

/// What an exam is heard and answered with; after it comes the next one.
pub(super) struct Tools {
    pub(super) microphone: Microphone,
    pub(super) manner: Feedback,
    /// None where everything counts that is said.
    pub(super) switch: Option<TalkSwitch>,
}

/// An exam that was closed, and what it was heard with.
pub(super) struct Closed {
    pub(super) summary: String,
    /// The fault that ended the listening, if one did.
    pub(super) heard: anyhow::Result<()>,
    pub(super) ear: Ear,
    pub(super) tools: Tools,
}

impl Live {
    pub(super) fn new(
        mut session: Session,
        tools: Tools,
        ways: &ListenOptions,
        stop: Arc<AtomicBool>,
    ) -> anyhow::Result<Self> {
        let Tools { microphone, manner, switch } = tools;
        session.answer_early()?;
        let exam = session.exam()?;
        let known = exam.frames.iter().map(|frame| frame.id.clone()).collect();
        let watch = |folder: &PathBuf| Watch::open(folder, &session.folder, exam.header.utc_offset_s, known);
        let watch = ways.watch.as_ref().map(watch).transpose()?;
        let stills = watch.as_ref().map(|_| Stills::new(ways.export_delay_s, session.next_sample()));
        let title = format!("zonecall  {}  {}", session.folder.display(), microphone.name());
        let mut face = Screen::open(ways.show, title, watch.is_some());
        face.take(&exam, &session.ear.protocols);
        if let Some(switch) = &switch {
            face.has_switch(switch.terminal_key());
        }
        let dialogue = Dialogue::new(face, manner, exam, stills);
        let pace = Pace::new(session.next_sample());
        Ok(Self {
            microphone,
            dialogue,
            watch,
            session,
            pace,
            clock: Instant::now(),
            switch,
            gate: Gate::default(),
            gap_at: None,
            grows_at: Instant::now(),
            stop,
        })
    }

    /// Listens until it is told to stop, by voice or by a signal.
    ///
    /// `first` is sound that has come already, and `behind` how much waits behind it.
    pub(super) fn listen(&mut self, first: &[i16], behind: u64) -> anyhow::Result<()> {
        self.tell(&format!(
            "listening to {}; say `end of exam` or press Ctrl-C to stop",
            self.microphone.name()
        ))?;
        self.block(&AudioBlock { samples: first.to_vec(), lost_before: 0, behind })?;
        while !self.stop.load(Ordering::Relaxed) && !self.session.attention.ended() {
            match self.next_block()? {
                Some(block) => self.block(&block)?,
                None => std::thread::sleep(PAUSE),
            }
            self.keys()?;
            self.dialogue.face.draw()?;
        }
        Ok(())
    }

    fn keys(&mut self) -> anyhow::Result<()> {
        for key in self.dialogue.face.keys()? {
            match key {
                Key::End => self.stop.store(true, Ordering::Relaxed),
                Key::Switch => self.switch.iter_mut().for_each(TalkSwitch::press),
                Key::Answer(given) => self.dialogue.key(&mut self.session, given)?,
            }
        }
        Ok(())
    }

    /// An utterance that was cut out of the sound before the exam began: the one that opened it.
    pub(super) fn opened_by(&mut self, segment: &UtteranceAudio) -> anyhow::Result<()> {
        let segment = self.session.take_utterance(segment)?;
        // It has counted already, whatever became of the switch since.
        self.dialogue.utterance(&mut self.session, &segment, Arrival::Whole)
    }

    /// Closes audio and journal; a fault that ended the listening is the reason that they give.
    pub(super) fn close(mut self, heard: anyhow::Result<()>) -> anyhow::Result<Closed> {
        // The first fault is the reason; none of them keeps the journal open.
        let last = self.session.close_audio();
        let heard = heard.and_then(|()| match last? {
            Some(segment) => self.utterance(&segment),
            None => Ok(()),
        });
        let heard = heard.and_then(|()| self.last_stills());
        let reason = match (&heard, self.session.attention.ended()) {
            (Err(error), _) => format!("{FAULT}{}", told(error)),
            (Ok(()), true) => "end of exam".to_owned(),
            (Ok(()), false) => "stopped".to_owned(),
        };
        let (summary, ear) = self.session.close(&reason)?;
        // The screen is given back first: what is written now stays on the terminal.
        let manner = self.dialogue.into_manner();
        let tools = Tools { microphone: self.microphone, manner, switch: self.switch };
        Ok(Closed { summary, heard, ear, tools })
    }

    /// The stills of the last views may still be on their way: waited for once, before the journal is closed.
    fn last_stills(&mut self) -> anyhow::Result<()> {
        if let Some(wait) = self.dialogue.still_waits() {
            std::thread::sleep(wait);
            self.stills()?;
        }
        self.dialogue.mind_stills(&self.session, true)
    }

    /// The next block, from a microphone that may go and come back.
    fn next_block(&mut self) -> anyhow::Result<Option<AudioBlock>> {
        let given = self.microphone.next()?;
        if self.microphone.overrun() {
            // How much the system lost it does not say; the next anchor tells where time stands.
            let sample = self.session.next_sample();
            self.session.note(sample, &Event::AudioLost { samples: 0 })?;
            self.pace = Pace::new(sample);
        }
        match given {
            Given::Sound(block) => return Ok(Some(block)),
            Given::Nothing => {}
            Given::Lost => self.lose_microphone()?,
            Given::Back(after) => self.microphone_is_back(after)?,
        }
        Ok(None)
    }

    fn lose_microphone(&mut self) -> anyhow::Result<()> {
        self.break_off()?;
        self.note_microphone("lost")?;
        self.dialogue.device(MICROPHONE, true)
    }

    fn microphone_is_back(&mut self, after: Duration) -> anyhow::Result<()> {
        let samples = u64::try_from(after.as_millis()).unwrap_or(0) * u64::from(SAMPLE_RATE_HZ) / 1000;
        self.note_microphone("back")?;
        self.gap(samples, self.reading(self.session.next_sample()))?;
        self.dialogue.device(MICROPHONE, false)
    }

    fn note_microphone(&mut self, state: &str) -> anyhow::Result<()> {
        let device = self.microphone.name().to_owned();
        let event = Event::Microphone { state: state.to_owned(), device };
        self.session.note(self.session.next_sample(), &event)?;
        Ok(())
    }

    /// Sound is lost here: the utterance that was going on ends, and what follows is another one.
    fn break_off(&mut self) -> anyhow::Result<()> {
        self.gap_at = Some(self.session.next_sample());
        match self.session.cut()? {
            Some(segment) => self.utterance(&segment),
            None => Ok(()),
        }
    }

    /// Sound was lost here: written down, and time is tied to the clocks anew.
    fn gap(&mut self, samples: u64, read: Anchor) -> anyhow::Result<()> {
        let sample = self.session.next_sample();
        self.session.note(sample, &Event::AudioLost { samples })?;
        self.session.anchor(read)?;
        self.pace = Pace::new(sample);
        Ok(())
    }

    /// The clocks just now, while `sample` was recorded.
    fn reading(&self, sample: u64) -> Anchor {
        let monotonic_ns = u64::try_from(self.clock.elapsed().as_nanos()).unwrap_or(u64::MAX);
        Anchor { wall: Utc::now(), monotonic_ns, sample }
    }

    /// One block: kept, then what ended in it is understood and answered.
    fn block(&mut self, block: &AudioBlock) -> anyhow::Result<()> {
        self.dialogue.face.level(block);
        let read = self.reading(self.session.next_sample() + block.samples.len() as u64 + block.behind);
        if block.lost_before > 0 {
            self.break_off()?;
            self.gap(block.lost_before, read.clone())?;
        }
        self.dialogue.mind_own_voice(self.session.next_sample() + block.samples.len() as u64 + block.behind);
        // Its own pauses end no utterance, and its own words are not shown.
        let early = !self.dialogue.hears_itself(self.session.next_sample());
        self.mind_switch(block)?;
        if let Some(best) = self.pace.see(read) {
            self.session.anchor(best)?;
        }
        // After a delay a block is long; what ends in it changes what can be said in the rest.
        for piece in block.samples.chunks(PIECE) {
            let ended = if early { self.session.take_early(piece)? } else { self.session.take(piece)? };
            for segment in ended {
                self.utterance(&segment)?;
            }
        }
        if block.behind == 0 {
            self.grow(early)?;
        }
        self.stills()
    }

    /// Shows the words that are being spoken, if a person speaks.
    fn grow(&mut self, is_person: bool) -> anyhow::Result<()> {
        let now = Instant::now();
        if self.dialogue.face.shows_growing() && now >= self.grows_at {
            let words = if is_person { self.session.growing()? } else { None };
            self.dialogue.face.growing(words);
            self.grows_at = now + GROWS_EVERY.max(now.elapsed() * GROWS_SHARE);
        }
        Ok(())
    }

    /// The switch may have been turned: what was said before and after it are two utterances.
    fn mind_switch(&mut self, block: &AudioBlock) -> anyhow::Result<()> {
        let Some(switch) = &mut self.switch else { return Ok(()) };
        let (news, is_on) = (switch.news(), switch.is_on());
        if let Some(is_gone) = news {
            self.dialogue.device(SWITCH, is_gone)?;
        }
        let next = self.session.next_sample();
        if self.gate.is_due(is_on, next, next + block.samples.len() as u64 + block.behind) {
            if let Some(segment) = self.session.cut()? {
                self.utterance(&segment)?;
            }
            self.gate.turn();
            self.dialogue.face.switched(self.gate.is_open())?;
        }
        Ok(())
    }

    /// Stills that have arrived are written down; views that lack theirs are told.
    fn stills(&mut self) -> anyhow::Result<()> {
        for arrived in self.watch.iter().flat_map(Watch::arrived).collect::<Vec<_>>() {
            match arrived {
                Arrived::Still { frame, at } => {
                    let late = (Utc::now() - at).num_milliseconds().max(0).unsigned_abs();
                    let now = self.session.next_sample();
                    let at = now.saturating_sub(late * u64::from(SAMPLE_RATE_HZ) / 1000);
                    let name = file_name(&frame.file);
                    self.session.note(now, &Event::Frame(frame))?;
                    self.dialogue.still(&name, at)?;
                }
                Arrived::Other { file, problem } => {
                    let text = format!("{}: {}", file.display(), problem.message);
                    self.dialogue.face.tell(Notice::NoStill, &text)?;
                }
            }
        }
        self.dialogue.mind_stills(&self.session, false)
    }

    fn utterance(&mut self, segment: &UtteranceAudio) -> anyhow::Result<()> {
        let broken = self.gap_at.is_some_and(|gap| segment.span.from <= gap);
        let came = match broken {
            _ if self.switch.is_some() && !self.gate.is_open() => Arrival::SwitchedOff,
            true => Arrival::Broken,
            false => Arrival::Whole,
        };
        self.dialogue.utterance(&mut self.session, segment, came)
    }

    fn tell(&mut self, text: &str) -> anyhow::Result<()> {
        self.dialogue.face.tell(Notice::Notice, text)
    }
}

/// The last part of a path, for the eye.
fn file_name(path: &str) -> String {
    Path::new(path).file_name().map_or_else(|| path.to_owned(), |name| name.to_string_lossy().into_owned())
}

/// The mouth, or a word about why there is none: listening goes on without it.
pub(super) fn manner(ways: &ListenOptions) -> Feedback {
    if !ways.tones && !ways.voice {
        return Feedback::default();
    }
    let voice = ways
        .voice
        .then(|| Voice::find(&ways.language))
        .and_then(|found| found.map_err(|error| eprintln!("zonecall: no voice: {error}")).ok());
    let mouth =
        SpeechOutput::open(voice).map_err(|error| eprintln!("zonecall: nothing is sounded or said: {error}"));
    Feedback { mouth: mouth.ok(), tones: ways.tones }
}
