//! The loop at the horse: sound in, journal lines and answers out.
//!
//! Takes: a session that was begun and an open microphone.
//! Gives: what became of each breath, told at once.
//! Never: lets the sound wait for an answer; what is spoken or shown is handed on.
//! Tested in: `tests/listen.rs`.

use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use chrono::Utc;

use super::dialogue::{Dialogue, Manner, Stills};
use super::face::{Face, Key, What};
use super::listen::{PAUSE, Ways};
use super::session::Session;
use crate::clock::{Anchor, Pace, SAMPLE_RATE_HZ};
use crate::exam::event::Event;
use crate::frames::watch::{Arrived, Watch};
use crate::hear::capture::{AudioBlock, Capture, CaptureError};
use crate::hear::utterance::Segment;
use crate::live::mouth::Mouth;
use crate::live::tone::Tone;
use crate::live::voice::Voice;

/// Words are shown while they are spoken, anew after this long; less often on a slow machine.
const GROWS_EVERY: Duration = Duration::from_millis(200);
/// A look at growing words may take this part of the time.
const GROWS_SHARE: u32 = 4;
/// Samples that are listened to at once: a tenth of a second, in which no breath ends and another begins.
const PIECE: usize = SAMPLE_RATE_HZ as usize / 10;
/// A lost microphone is looked for this often.
const LOOK_EVERY: Duration = Duration::from_secs(1);

pub(super) struct Live {
    session: Session,
    capture: Option<Capture>,
    device: Option<String>,
    device_name: String,
    dialogue: Dialogue,
    watch: Option<Watch>,
    pace: Pace,
    clock: Instant,
    /// Where sound was lost last.
    gap_at: Option<u64>,
    /// When the microphone was lost.
    lost_at: Option<Instant>,
    looked_at: Instant,
    /// When growing words are looked at next.
    grows_at: Instant,
    stop: Arc<AtomicBool>,
}

impl Live {
    pub(super) fn new(
        mut session: Session,
        capture: Capture,
        ways: &Ways,
        stop: Arc<AtomicBool>,
    ) -> anyhow::Result<Self> {
        session.answer_early()?;
        let exam = session.exam()?;
        let known = exam.frames.iter().map(|frame| frame.id.clone()).collect();
        let watch = |folder: &PathBuf| Watch::open(folder, &session.folder, exam.header.utc_offset_s, known);
        let watch = ways.watch.as_ref().map(watch).transpose()?;
        let stills = watch.as_ref().map(|_| Stills::new(ways.export_delay_s, session.next_sample()));
        let title = format!("zonecall  {}  {}", session.folder.display(), capture.describe());
        // Before the screen: what the mouth lacks is told on the terminal.
        let manner = manner(ways);
        let mut face = Face::open(ways.lines, title, watch.is_some());
        face.take(&exam, &session.ear.protocols);
        let dialogue = Dialogue::new(face, manner, exam, stills);
        let pace = Pace::new(session.next_sample());
        let now = Instant::now();
        Ok(Self {
            device_name: capture.describe(),
            dialogue,
            watch,
            session,
            capture: Some(capture),
            device: ways.device.clone(),
            pace,
            clock: now,
            gap_at: None,
            lost_at: None,
            looked_at: now,
            grows_at: now,
            stop,
        })
    }

    /// Listens until it is told to stop, by voice or by a signal.
    pub(super) fn listen(&mut self, first: AudioBlock) -> anyhow::Result<()> {
        self.tell(&format!("listening to {}; say `end of exam` or press Ctrl-C to stop", self.device_name))?;
        self.block(&first)?;
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
                Key::Answer(given) => self.dialogue.key(&mut self.session, given)?,
            }
        }
        Ok(())
    }

    /// Closes audio and journal; a fault that ended the listening is the reason that they give.
    pub(super) fn close(mut self, heard: anyhow::Result<()>) -> anyhow::Result<ExitCode> {
        // The first fault is the reason; none of them keeps the journal open.
        let last = self.session.close_audio();
        let heard = heard.and_then(|()| match last? {
            Some(segment) => self.breath(&segment),
            None => Ok(()),
        });
        let heard = heard.and_then(|()| self.last_stills());
        let reason = match (&heard, self.session.attention.ended()) {
            (Err(error), _) => format!("fault: {error:#}"),
            (Ok(()), true) => "end of exam".to_owned(),
            (Ok(()), false) => "stopped".to_owned(),
        };
        let summary = self.session.close(&reason)?;
        // The screen is given back first: what is written now stays on the terminal.
        drop(self.dialogue);
        writeln!(std::io::stdout(), "{summary}")?;
        heard.map(|()| ExitCode::SUCCESS)
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
        let Some(capture) = &mut self.capture else { return self.look_for_microphone() };
        match capture.next_block() {
            Ok(block) => {
                if capture.overrun() {
                    // How much the system lost it does not say; the next anchor tells where time stands.
                    let sample = self.session.next_sample();
                    self.session.note(sample, &Event::AudioLost { samples: 0 })?;
                    self.pace = Pace::new(sample);
                }
                Ok(block)
            }
            Err(CaptureError::Gone { .. }) => {
                self.lose_microphone()?;
                Ok(None)
            }
            Err(error) => Err(error.into()),
        }
    }

    fn lose_microphone(&mut self) -> anyhow::Result<()> {
        if let Some(dead) = self.capture.take() {
            // The system may wait for a dead device when it is closed; listening does not wait for that.
            std::thread::spawn(move || drop(dead));
        }
        self.lost_at = Some(Instant::now());
        self.break_off()?;
        let lost = Event::Microphone { state: "lost".to_owned(), device: self.device_name.clone() };
        self.session.note(self.session.next_sample(), &lost)?;
        self.dialogue.sound(Tone::Alarm);
        self.dialogue.face.tell(What::Fault, "the microphone is gone: nothing is heard until it is back")
    }

    fn look_for_microphone(&mut self) -> anyhow::Result<Option<AudioBlock>> {
        if self.looked_at.elapsed() < LOOK_EVERY {
            return Ok(None);
        }
        self.looked_at = Instant::now();
        let Ok(capture) = Capture::open(self.device.as_deref()) else { return Ok(None) };
        let lost = self.lost_at.take().map_or(Duration::ZERO, |at| at.elapsed());
        let samples = u64::try_from(lost.as_millis()).unwrap_or(0) * u64::from(SAMPLE_RATE_HZ) / 1000;
        self.device_name = capture.describe();
        self.capture = Some(capture);
        let sample = self.session.next_sample();
        let back = Event::Microphone { state: "back".to_owned(), device: self.device_name.clone() };
        self.session.note(sample, &back)?;
        self.gap(samples, self.reading(sample))?;
        self.tell("the microphone is back")?;
        Ok(None)
    }

    /// Sound is lost here: the breath that was going on ends, and what follows is another one.
    fn break_off(&mut self) -> anyhow::Result<()> {
        self.gap_at = Some(self.session.next_sample());
        match self.session.cut()? {
            Some(segment) => self.breath(&segment),
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
        if let Some(best) = self.pace.see(read) {
            self.session.anchor(best)?;
        }
        // After a delay a block is long; what ends in it changes what can be said in the rest.
        for piece in block.samples.chunks(PIECE) {
            for segment in self.session.take(piece)? {
                self.breath(&segment)?;
            }
        }
        if block.behind == 0 {
            self.grow()?;
        }
        self.stills()
    }

    /// Shows the words that are being spoken.
    fn grow(&mut self) -> anyhow::Result<()> {
        let now = Instant::now();
        if self.dialogue.face.shows_growing() && now >= self.grows_at {
            let words = self.session.growing()?;
            self.dialogue.face.growing(words);
            self.grows_at = now + GROWS_EVERY.max(now.elapsed() * GROWS_SHARE);
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
                    self.dialogue.face.tell(What::NoStill, &text)?;
                }
            }
        }
        self.dialogue.mind_stills(&self.session, false)
    }

    fn breath(&mut self, segment: &Segment) -> anyhow::Result<()> {
        let broken = self.gap_at.is_some_and(|gap| segment.span.from <= gap);
        self.dialogue.breath(&mut self.session, segment, broken)
    }

    fn tell(&mut self, text: &str) -> anyhow::Result<()> {
        self.dialogue.face.tell(What::Notice, text)
    }
}

/// The last part of a path, for the eye.
fn file_name(path: &str) -> String {
    Path::new(path).file_name().map_or_else(|| path.to_owned(), |name| name.to_string_lossy().into_owned())
}

/// The mouth, or a word about why there is none: listening goes on without it.
fn manner(ways: &Ways) -> Manner {
    if !ways.tones && !ways.voice {
        return Manner::default();
    }
    let voice = ways
        .voice
        .then(|| Voice::find(&ways.language))
        .and_then(|found| found.map_err(|error| eprintln!("zonecall: no voice: {error}")).ok());
    let mouth =
        Mouth::open(voice).map_err(|error| eprintln!("zonecall: nothing is sounded or said: {error}"));
    Manner { mouth: mouth.ok(), tones: ways.tones }
}
