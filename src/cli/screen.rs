//! What the person at the horse sees: one screen, or plain lines where there is no terminal.
//!
//! Takes: what happened, the exam as it stands, the level of the sound.
//! Gives: lines or a picture, and the keys that were pressed.
//! Never: waits; needs a key.
//! Tested in: `tests/sound/listen.rs` (lines), `tests/it/screen_view.rs` (the picture).

use std::io::{IsTerminal as _, Write as _};
use std::time::{Duration, Instant};

use chrono::Utc;
use ratatui::DefaultTerminal;
use ratatui::crossterm::event::{self, KeyCode, KeyEventKind, KeyModifiers};

use crate::exam::fold::Exam;
use crate::knowledge::place::Place;
use crate::protocol::Protocols;
use crate::session::screen_view::{ScreenView, Switched};
use crate::speech::capture::AudioBlock;
use crate::speech::endpoint::level_dbfs;

/// The picture is drawn at most this often.
const DRAW_EVERY: Duration = Duration::from_millis(100);
/// That the sound was clipped stays to be seen for this long.
const CLIPPED_SHOWN: Duration = Duration::from_secs(3);
/// Samples at this height are at full scale.
const FULL: u16 = 32_767;

/// Something to be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Notice {
    Heard,
    NotUnderstood,
    Asked,
    Settled,
    Talk,
    Note,
    Ignored,
    Answer,
    Still,
    NoStill,
    Forgotten,
    Switch,
    /// About the listening itself.
    Notice,
    /// About the listening itself, and bad.
    Fault,
}

impl Notice {
    fn label(self) -> &'static str {
        match self {
            Notice::Heard => "heard",
            Notice::NotUnderstood => "not understood",
            Notice::Asked => "ASKED",
            Notice::Settled => "settled",
            Notice::Talk => "talk",
            Notice::Note => "note",
            Notice::Ignored => "ignored",
            Notice::Answer => "answer",
            Notice::Still => "still",
            Notice::NoStill => "no still",
            Notice::Forgotten => "FORGOTTEN?",
            Notice::Switch => "switch",
            Notice::Notice => "",
            Notice::Fault => "FAULT",
        }
    }
}

/// A key that means something here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Key {
    Answer(&'static str),
    /// The switch to talk by is turned over.
    Switch,
    End,
}

/// How it is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Display {
    /// One screen, where the output is a terminal; else lines.
    Screen,
    /// A line for whatever happens.
    Lines,
    /// Lines about the listening itself: what was said stands in the exam's journal only, not in a log of the system.
    Log,
}

impl Display {
    /// True where keys can be pressed.
    pub(super) fn has_keys(self) -> bool {
        self == Display::Screen && std::io::stdout().is_terminal()
    }
}

pub(super) enum Screen {
    Log,
    Lines,
    Screen(Box<Terminal>),
}

pub(super) struct Terminal {
    terminal: DefaultTerminal,
    board: ScreenView,
    drawn_at: Instant,
    clipped_at: Option<Instant>,
    is_old: bool,
    /// The key that turns the switch to talk by.
    switch: Option<KeyCode>,
}

impl Screen {
    /// The screen where the output is a terminal, unless lines are wanted.
    pub(super) fn open(show: Display, title: String, watches: bool) -> Self {
        if show == Display::Log {
            return Screen::Log;
        }
        if !show.has_keys() {
            return Screen::Lines;
        }
        match ratatui::try_init() {
            Ok(terminal) => Screen::Screen(Box::new(Terminal {
                terminal,
                board: ScreenView {
                    title,
                    stills: watches.then_some(0),
                    level_dbfs: f64::MIN,
                    ..ScreenView::default()
                },
                drawn_at: Instant::now(),
                clipped_at: None,
                is_old: true,
                switch: None,
            })),
            Err(_) => Screen::Lines,
        }
    }

    pub(super) fn tell(&mut self, what: Notice, text: &str) -> anyhow::Result<()> {
        let at = Utc::now().with_timezone(&chrono::Local).format("%H:%M:%S");
        let line = match what.label() {
            "" => format!("{at}  {text}"),
            label => format!("{at}  {label:<15} {text}"),
        };
        if matches!(self, Screen::Log) && !matches!(what, Notice::Notice | Notice::Fault) {
            return Ok(());
        }
        let Screen::Screen(screen) = self else {
            writeln!(std::io::stdout(), "{line}")?;
            return Ok(());
        };
        let board = &mut screen.board;
        match what {
            Notice::Heard | Notice::Settled | Notice::Answer => {
                text.clone_into(&mut board.last);
                board.alarm = None;
            }
            Notice::Forgotten | Notice::Fault => board.alarm = Some(text.to_owned()),
            Notice::Still => board.stills = board.stills.map(|stills| stills + 1),
            _ => {}
        }
        board.add(line);
        screen.is_old = true;
        Ok(())
    }

    /// The question that waits, or none.
    pub(super) fn question(&mut self, question: Option<String>) {
        if let Screen::Screen(screen) = self {
            screen.board.question = question;
            screen.is_old = true;
        }
    }

    /// There is a switch to talk by, and perhaps a key that turns it here.
    pub(super) fn has_switch(&mut self, key: Option<(KeyCode, &str)>) {
        if let Screen::Screen(screen) = self {
            screen.switch = key.map(|(code, _)| code);
            screen.board.switch = Some(Switched { is_on: false, key: key.map(|(_, name)| name.to_owned()) });
        }
    }

    /// The switch was turned.
    pub(super) fn switched(&mut self, is_on: bool) -> anyhow::Result<()> {
        if let Screen::Screen(screen) = self
            && let Some(switch) = &mut screen.board.switch
        {
            switch.is_on = is_on;
        }
        self.tell(Notice::Switch, if is_on { "on" } else { "off: what is said does not count" })
    }

    /// The exam has changed.
    pub(super) fn take(&mut self, exam: &Exam, protocols: &Protocols) {
        if let Screen::Screen(screen) = self {
            screen.board.take(exam, protocols);
            screen.is_old = true;
        }
    }

    /// A still of this view has arrived.
    pub(super) fn still_of(&mut self, view: &Place) {
        if let Screen::Screen(screen) = self {
            screen.board.still_of(view);
        }
    }

    /// True where words are shown while they are spoken.
    pub(super) fn shows_growing(&self) -> bool {
        matches!(self, Screen::Screen(_))
    }

    /// What is being said just now, or nothing any more.
    pub(super) fn growing(&mut self, words: Option<String>) {
        if let Screen::Screen(screen) = self {
            screen.is_old |= screen.board.growing != words;
            screen.board.growing = words;
        }
    }

    /// The sound of this moment.
    pub(super) fn level(&mut self, block: &AudioBlock) {
        let Screen::Screen(screen) = self else { return };
        if block.samples.is_empty() {
            return;
        }
        screen.board.level_dbfs = level_dbfs(&block.samples);
        if block.samples.iter().any(|sample| sample.unsigned_abs() >= FULL) {
            screen.clipped_at = Some(Instant::now());
        }
        screen.board.is_clipped = screen.clipped_at.is_some_and(|at| at.elapsed() < CLIPPED_SHOWN);
        screen.is_old = true;
    }

    /// Draws what has changed.
    pub(super) fn draw(&mut self) -> anyhow::Result<()> {
        if let Screen::Screen(screen) = self
            && screen.is_old
            && screen.drawn_at.elapsed() >= DRAW_EVERY
        {
            let Terminal { terminal, board, .. } = &mut **screen;
            terminal.draw(|frame| board.draw(frame))?;
            (screen.drawn_at, screen.is_old) = (Instant::now(), false);
        }
        Ok(())
    }

    /// The keys that were pressed since the last time.
    pub(super) fn keys(&mut self) -> anyhow::Result<Vec<Key>> {
        let mut keys = Vec::new();
        let Screen::Screen(screen) = self else { return Ok(keys) };
        // A terminal that was closed is none any more; to ask it for keys would never end.
        if !std::io::stdin().is_terminal() {
            return Ok(vec![Key::End]);
        }
        while event::poll(Duration::ZERO)? {
            match event::read()? {
                event::Event::Key(key) if key.kind == KeyEventKind::Press => {
                    keys.extend(if screen.switch == Some(key.code) {
                        Some(Key::Switch)
                    } else {
                        meaning(key)
                    });
                }
                event::Event::Resize(..) => screen.is_old = true,
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
        KeyCode::Char('y') => Some(Key::Answer("yes")),
        KeyCode::Char('n') => Some(Key::Answer("no")),
        KeyCode::Char('1') => Some(Key::Answer("first")),
        KeyCode::Char('2') => Some(Key::Answer("second")),
        _ => None,
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        // The terminal is given back as it was found, whatever ended the listening.
        ratatui::restore();
    }
}
