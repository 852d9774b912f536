//! What the person at the horse sees: one screen, or plain lines where there is no terminal.
//!
//! Takes: what happened, the exam as it is now, the level of the sound.
//! Gives: lines or a picture, and the keys that were pressed.
//! Never: waits; needs a key.
//! Tested in: `tests/sound/listen.rs` (lines), `tests/it/screen_view.rs` (the picture).

use std::io::{self, IsTerminal as _, Write as _};
use std::time::{Duration, Instant};

use chrono::Utc;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, KeyCode, KeyEventKind, KeyModifiers};

use crate::exam::fold::Exam;
use crate::exam::place::Place;
use crate::knowledge::progress::Progress;
use crate::language::closed_sets::AnswerWord;
use crate::protocol::Protocols;
use crate::session::notice::Notice;
use crate::session::screen_view::{ScreenView, Switched};
use crate::session::second_screen::{SecondScreen, SecondScreenState};
use crate::speech::capture::AudioBlock;
use crate::speech::endpoint::level_dbfs;
use crate::terminal::{self, ShownText as _};

/// The picture is drawn at most this often.
const DRAW_EVERY: Duration = Duration::from_millis(100);
/// That the sound was clipped stays to be seen for this long.
const CLIPPED_SHOWN: Duration = Duration::from_secs(3);
/// Samples at this height are at full scale.
const FULL: u16 = 32_767;

/// A key that means something here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Key {
    /// It answers a question: `yes`, `no`, `first` or `second`.
    Answer(AnswerWord),
    /// The switch to talk by is turned over.
    Switch,
    /// Listening is to end.
    End,
}

/// How it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Display {
    /// One screen, where the output is a terminal; else lines.
    Screen,
    /// A line for whatever happens.
    Lines,
    /// Lines about the listening itself: what was said is in the exam's journal only, not in a log of the system.
    Log,
}

impl Display {
    /// True where keys can be pressed.
    #[must_use]
    pub fn has_keys(self) -> bool {
        self == Display::Screen && std::io::stdout().is_terminal()
    }
}

/// What shows it: the terminal, and a second screen where there is one.
pub struct Screen {
    shown: Shown,
    view: ScreenView,
    second_screen: Option<SecondScreen>,
    clipped_at: Option<Instant>,
    is_old: bool,
}

enum Shown {
    /// Lines about the listening itself.
    Log,
    /// Lines.
    Lines,
    /// A picture on the whole terminal.
    Picture(Box<ScreenPicture>),
}

/// A terminal that is drawn on.
struct ScreenPicture {
    terminal: DefaultTerminal,
    drawn_at: Instant,
    /// The key that turns the switch to talk by.
    switch: Option<KeyCode>,
}

impl Screen {
    /// The screen where the output is a terminal, unless lines are wanted.
    #[must_use]
    pub fn open(show: Display, title: String, second_screen: Option<SecondScreen>) -> Self {
        let picture = || {
            let terminal = ratatui::try_init().ok()?;
            Some(Shown::Picture(Box::new(ScreenPicture { terminal, drawn_at: Instant::now(), switch: None })))
        };
        let shown = match show {
            Display::Log => Shown::Log,
            _ if !show.has_keys() => Shown::Lines,
            _ => picture().unwrap_or(Shown::Lines),
        };
        let view = ScreenView { title, level_dbfs: f64::MIN, ..ScreenView::default() };
        Screen { shown, view, second_screen, clipped_at: None, is_old: true }
    }

    /// Stills that are saved are counted.
    #[must_use]
    pub fn counting_stills(mut self) -> Self {
        self.view.stills = Some(0);
        self
    }

    /// Lines about the listening itself, between exams.
    #[must_use]
    pub fn log() -> Self {
        Self::open(Display::Log, String::new(), None)
    }

    /// Whatever happens is a line on the terminal.
    #[must_use]
    pub fn has_lines(&self) -> bool {
        matches!(self.shown, Shown::Lines)
    }

    fn is_picture(&self) -> bool {
        matches!(self.shown, Shown::Picture(_))
    }

    /// Shows a line of what happened.
    ///
    /// # Errors
    /// When the terminal cannot be written.
    pub fn report(&mut self, notice: Notice, text: &str) -> io::Result<()> {
        let at = Utc::now().with_timezone(&chrono::Local).format("%H:%M:%S");
        let line = match notice.label() {
            "" => format!("{at}  {text}"),
            label => format!("{at}  {label:<15} {text}"),
        }
        .shown();
        let is_told = match self.shown {
            Shown::Log => matches!(notice, Notice::Listening | Notice::Summary | Notice::Fault),
            Shown::Lines => true,
            Shown::Picture(_) => false,
        };
        if is_told {
            writeln!(terminal::out(), "{line}")?;
        }
        let view = &mut self.view;
        match notice {
            Notice::Heard | Notice::Settled | Notice::Answer => {
                text.clone_into(&mut view.last);
                view.alarm = None;
            }
            Notice::Forgotten | Notice::Incomplete | Notice::Fault => view.alarm = Some(text.to_owned()),
            Notice::Still => view.stills = view.stills.map(|stills| stills + 1),
            _ => {}
        }
        view.add(line);
        self.is_old = true;
        Ok(())
    }

    /// The question that waits, or none.
    pub fn question(&mut self, question: Option<String>) {
        self.view.question = question;
        self.is_old = true;
    }

    /// There is a switch to talk by, and perhaps a key that turns it here.
    pub fn has_switch(&mut self, key: Option<(KeyCode, &str)>) {
        if let Shown::Picture(picture) = &mut self.shown {
            picture.switch = key.map(|(code, _)| code);
        }
        self.view.switch = Some(Switched { is_on: false, key: key.map(|(_, name)| name.to_owned()) });
    }

    /// The switch was turned.
    ///
    /// # Errors
    /// When the terminal cannot be used.
    pub fn switched(&mut self, is_on: bool) -> io::Result<()> {
        if let Some(switch) = &mut self.view.switch {
            switch.is_on = is_on;
        }
        self.report(Notice::Switch, if is_on { "on" } else { "off: nothing is acted on" })
    }

    /// The exam has changed.
    pub fn take(&mut self, exam: &Exam, progress: &Progress, protocols: &Protocols) {
        if self.is_picture() || self.second_screen.is_some() {
            self.view.take(exam, progress, protocols);
            self.is_old = true;
        }
    }

    /// A still of this view has arrived.
    pub fn still_of(&mut self, view: &Place) {
        self.view.still_of(view);
        self.is_old = true;
    }

    /// These are all the views of which a still has arrived.
    pub fn stills_of(&mut self, views: &[Place]) {
        self.view.arrived.clear();
        views.iter().for_each(|view| self.view.still_of(view));
        self.is_old = true;
    }

    /// True where words are shown while they are spoken.
    #[must_use]
    pub fn shows_growing(&self) -> bool {
        self.is_picture()
    }

    /// What is being said just now, or nothing any more.
    pub fn growing(&mut self, words: Option<String>) {
        self.is_old |= self.view.growing != words;
        self.view.growing = words;
    }

    /// The sound of this moment.
    pub fn level(&mut self, block: &AudioBlock) {
        if !self.is_picture() || block.samples.is_empty() {
            return;
        }
        self.view.level_dbfs = level_dbfs(&block.samples);
        if block.samples.iter().any(|sample| sample.unsigned_abs() >= FULL) {
            self.clipped_at = Some(Instant::now());
        }
        self.view.is_clipped = self.clipped_at.is_some_and(|at| at.elapsed() < CLIPPED_SHOWN);
        self.is_old = true;
    }

    /// Draws what has changed.
    ///
    /// # Errors
    /// When the terminal cannot be used.
    pub fn draw(&mut self) -> io::Result<()> {
        if !self.is_old {
            return Ok(());
        }
        if let Some(second_screen) = &self.second_screen {
            second_screen.put(SecondScreenState::of(&self.view));
        }
        if let Shown::Picture(picture) = &mut self.shown {
            if picture.drawn_at.elapsed() < DRAW_EVERY {
                return Ok(());
            }
            picture.terminal.draw(|frame| self.view.draw(frame))?;
            picture.drawn_at = Instant::now();
        }
        self.is_old = false;
        Ok(())
    }

    /// The keys that were pressed since the last time.
    ///
    /// # Errors
    /// When the terminal cannot be used.
    pub fn keys(&mut self) -> io::Result<Vec<Key>> {
        let mut keys = Vec::new();
        let Shown::Picture(picture) = &mut self.shown else { return Ok(keys) };
        // A terminal that was closed is none any more; to ask it for keys would never end.
        if !std::io::stdin().is_terminal() {
            return Ok(vec![Key::End]);
        }
        while event::poll(Duration::ZERO)? {
            match event::read()? {
                event::Event::Key(key) if key.kind == KeyEventKind::Press => {
                    keys.extend(if picture.switch == Some(key.code) {
                        Some(Key::Switch)
                    } else {
                        meaning(key)
                    });
                }
                event::Event::Resize(..) => self.is_old = true,
                _ => {}
            }
        }
        Ok(keys)
    }
}

fn meaning(key: event::KeyEvent) -> Option<Key> {
    match key.code {
        KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => Some(Key::End),
        KeyCode::Char('q') => Some(Key::End),
        KeyCode::Char('y') => Some(Key::Answer(AnswerWord::Yes)),
        KeyCode::Char('n') => Some(Key::Answer(AnswerWord::No)),
        KeyCode::Char('1') => Some(Key::Answer(AnswerWord::First)),
        KeyCode::Char('2') => Some(Key::Answer(AnswerWord::Second)),
        _ => None,
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        if let Some(second_screen) = &self.second_screen {
            second_screen.put(SecondScreenState::of(&self.view));
            second_screen.end();
        }
    }
}

impl Drop for ScreenPicture {
    fn drop(&mut self) {
        // The terminal is given back as it was found, whatever ended the listening.
        ratatui::restore();
    }
}
