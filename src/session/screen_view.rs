//! What the screen shows at the horse: everything at a glance, from two metres away.
//!
//! Takes: the exam as it is now, and what has just happened.
//! Gives: `ScreenView`, which draws itself into any size of terminal.
//! Never: I/O; meaning by colour alone: each mark has its own sign.
//! Tested in: `tests/it/screen_view.rs`.

use std::collections::{BTreeSet, VecDeque};

use ratatui::Frame;
use ratatui::layout::{Constraint, Layout, Rect};
use ratatui::style::{Modifier, Style};
use ratatui::text::{Line, Span};
use ratatui::widgets::{Block, Paragraph, Wrap};
use serde::Serialize;
use tui_big_text::{BigText, PixelSize};

use crate::code::{LimbCode, PlaneCode, ZoneCode};
use crate::exam::fold::Exam;
use crate::exam::place::{Place, WholeView};
use crate::knowledge::cautions::CAUTIONS;
use crate::knowledge::coverage::coverage_of;
use crate::knowledge::progress::Progress;
use crate::knowledge::record::CoverageRow;
use crate::protocol::Protocols;
use crate::session::exam_summary::counted;

/// Lines of what was heard that are kept.
const LINES_MAX: usize = 50;
/// The level meter begins at this loudness, in dB relative to full scale.
const METER_FROM_DBFS: f64 = -60.0;
/// What the large letters show where a zone or a save has no limb.
const NO_LIMB: &str = "NO LIMB";
/// Columns and rows of a terminal in which large letters of four rows have room.
const LARGE: (u16, u16) = (64, 22);
/// Rows of a terminal in which what has just happened is shown in large letters, too.
const LARGEST_FROM: u16 = 30;
/// Rows of a terminal from which all cautions are shown.
const CAUTIONS_FROM: u16 = 24;
/// Columns that lines broken between words lose at most.
const CAUTIONS_RAGGED: usize = 12;
/// Width of one large letter.
const LETTER: u16 = 4;

/// A view of the current limb.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ViewSeen {
    /// Zone code.
    pub zone: ZoneCode,
    /// Plane code.
    pub plane: PlaneCode,
    /// How far it is.
    pub state: ViewState,
}

/// How far a view is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ViewState {
    /// A save was called in it, or a still of it has come from the scanner.
    Saved,
    /// It was called.
    Called,
    /// It was said that it is not scanned.
    LeftOut,
    /// Still to come.
    Open,
}

impl ViewState {
    fn sign(self) -> &'static str {
        match self {
            ViewState::Saved => "●",
            ViewState::Called => "◐",
            ViewState::LeftOut => "–",
            ViewState::Open => "○",
        }
    }
}

/// What has just happened, so short that it can be read as far away as the label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum News {
    /// A question waits.
    Question,
    /// Something must be corrected.
    Alarm,
    /// The last call was a save.
    Saved,
}

impl News {
    fn word(self) -> &'static str {
        match self {
            News::Question => "YES OR NO?",
            News::Alarm => "LOOK HERE",
            News::Saved => "SAVED",
        }
    }
}

/// A switch to talk by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Switched {
    /// What is said now is acted on.
    pub is_on: bool,
    /// The key of this terminal that turns it, if one does.
    pub key: Option<String>,
}

/// What is shown.
#[derive(Debug, Clone, Default)]
pub struct ScreenView {
    /// Codes of the current limb, zone and plane, for the large letters: what is typed on the scanner.
    pub place: String,
    /// The same in words.
    pub place_in_words: String,
    /// What was set and goes on, such as `stance lifted`: it belongs to all that is said from now on.
    pub settings: String,
    /// The views of the current limb.
    pub views: Vec<ViewSeen>,
    /// The last call was a save.
    pub saved: bool,
    /// Saves that were called.
    pub saves: usize,
    /// Stills that came from the scanner; none where its folder is not followed.
    pub stills: Option<usize>,
    /// What was understood last.
    pub last: String,
    /// What is being said just now, as far as it is heard; it changes nothing yet.
    pub growing: Option<String>,
    /// The question that waits, with its answers.
    pub question: Option<String>,
    /// What must be corrected; it stays until the next call.
    pub alarm: Option<String>,
    /// The switch to talk by; none where everything is acted on.
    pub switch: Option<Switched>,
    /// Loudness of the last moment, in dB relative to full scale.
    pub level_dbfs: f64,
    /// The last moments were clipped.
    pub is_clipped: bool,
    /// What happened, the last at the end.
    pub lines: VecDeque<String>,
    /// Which microphone, and how the exam is called.
    pub title: String,
    /// Views of which a still has come: limb, zone and plane.
    pub arrived: BTreeSet<WholeView>,
    /// The current limb.
    pub limb: Option<LimbCode>,
}

impl ScreenView {
    /// Takes over the exam as it is now.
    pub fn take(&mut self, exam: &Exam, progress: &Progress, protocols: &Protocols) {
        let place = exam.context.place.clone();
        let view = Place { structure: None, ..place.clone() };
        let hangs = progress.saves() > 0 || place.zone.is_some();
        self.place = if place.limb.is_none() && hangs { NO_LIMB.to_owned() } else { view.codes() };
        self.saved = progress.saves() > self.saves;
        self.place_in_words = place.in_words(protocols);
        let settings = exam.context.settings.values().map(ToString::to_string);
        self.settings = settings.collect::<Vec<_>>().join(", ");
        self.limb.clone_from(&exam.context.place.limb);
        let rows = coverage_of(progress, &exam.header.schemes, &[], protocols);
        let has_still = |row: &CoverageRow| self.arrived.contains(&row.view());
        self.views = rows
            .into_iter()
            .filter(|row| Some(row.limb.as_str()) == self.limb.as_deref())
            .map(|row| ViewSeen {
                state: match (row.saves > 0 || has_still(&row), row.not_done, row.called) {
                    (true, ..) => ViewState::Saved,
                    (_, true, _) => ViewState::LeftOut,
                    (_, _, true) => ViewState::Called,
                    _ => ViewState::Open,
                },
                zone: row.zone,
                plane: row.plane,
            })
            .collect();
        self.saves = progress.saves();
    }

    /// A still of this view has come from the scanner.
    pub fn still_of(&mut self, view: &Place) {
        let Some(view) = view.whole_view() else { return };
        for seen in &mut self.views {
            if self.limb.as_ref() == Some(&view.limb)
                && (&seen.zone, &seen.plane) == (&view.zone, &view.plane)
            {
                seen.state = ViewState::Saved;
            }
        }
        self.arrived.insert(view);
    }

    /// Adds a line of what happened.
    pub fn add(&mut self, line: String) {
        self.lines.push_back(line);
        if self.lines.len() > LINES_MAX {
            self.lines.pop_front();
        }
    }

    /// Draws it.
    pub fn draw(&self, frame: &mut Frame<'_>) {
        let area = frame.area();
        let large = area.width >= LARGE.0 && area.height >= LARGE.1;
        let (letters, state) = match large {
            true if area.height >= LARGEST_FROM => (5, 5),
            true => (5, 0),
            false => (1, 0),
        };
        let grid = self.grid();
        let [title, place, news, words, last, notice, level, views, lines, cautions, keys] =
            Layout::vertical([
                Constraint::Length(1),
                Constraint::Length(letters),
                Constraint::Length(state),
                Constraint::Length(1),
                Constraint::Length(2),
                Constraint::Length(2),
                Constraint::Length(1),
                Constraint::Length(u16::try_from(grid.len()).unwrap_or(u16::MAX)),
                Constraint::Min(0),
                Constraint::Length(cautions_rows(area)),
                Constraint::Length(1),
            ])
            .areas(area);
        let dim = Style::new().add_modifier(Modifier::DIM);
        frame.render_widget(Line::styled(self.title.as_str(), dim), title);
        let size = |text: &str| {
            let fits = text.chars().count() * usize::from(LETTER) <= usize::from(area.width);
            if large && fits { TextSize::Large } else { TextSize::Small }
        };
        let label = if self.place.is_empty() { "-" } else { &self.place };
        draw_text(frame, place, label, size(label));
        if let Some(news_text) = self.news().filter(|_| state > 0).map(News::word) {
            draw_text(frame, news, news_text, size(news_text));
        }
        let mut in_force = Line::from(self.place_in_words.as_str());
        if !self.settings.is_empty() {
            in_force.push_span(Span::styled(format!("   {}", self.settings), dim));
        }
        frame.render_widget(in_force, words);
        let said = match &self.growing {
            Some(words) => Paragraph::new(format!("… {words} …")).style(dim),
            None => Paragraph::new(self.last.as_str()).style(Style::new().add_modifier(Modifier::BOLD)),
        };
        frame.render_widget(said.wrap(Wrap { trim: true }), last);
        self.draw_notice(frame, notice);
        frame.render_widget(self.meter(level.width), level);
        frame.render_widget(Paragraph::new(grid), views);
        let room = usize::from(lines.height);
        let shown = self.lines.iter().skip(self.lines.len().saturating_sub(room));
        let shown_lines: Vec<Line<'_>> = shown.map(|line| Line::styled(line.as_str(), dim)).collect();
        frame.render_widget(Paragraph::new(shown_lines).block(Block::new()), lines);
        frame.render_widget(Paragraph::new(CAUTIONS).style(dim).wrap(Wrap { trim: true }), cautions);
        let key = self.switch.as_ref().and_then(|switch| switch.key.as_deref());
        let key = key.map_or_else(String::new, |key| format!("   {key} switch"));
        let help = format!("y yes   n no   1 first   2 second{key}   q end listening");
        frame.render_widget(Line::styled(help, dim), keys);
    }

    /// What has just happened; a question comes first, for it can be answered now.
    #[must_use]
    pub fn news(&self) -> Option<News> {
        match (&self.question, &self.alarm, self.saved) {
            (Some(_), _, _) => Some(News::Question),
            (None, Some(_), _) => Some(News::Alarm),
            (None, None, true) => Some(News::Saved),
            (None, None, false) => None,
        }
    }

    /// A question comes before an alarm: it can be answered now.
    fn draw_notice(&self, frame: &mut Frame<'_>, area: Rect) {
        let loud = Style::new().add_modifier(Modifier::REVERSED | Modifier::BOLD);
        let text = match (&self.question, &self.alarm) {
            (Some(question), _) => format!(" ? {question} "),
            (None, Some(alarm)) => format!(" ! {alarm} "),
            // It is no fault, so it is not loud.
            (None, None) if self.switch.as_ref().is_some_and(|switch| !switch.is_on) => {
                frame.render_widget(Line::from(" ◌ the switch is off: nothing is acted on"), area);
                return;
            }
            (None, None) => return,
        };
        frame.render_widget(Paragraph::new(Span::styled(text, loud)).wrap(Wrap { trim: true }), area);
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // a share of a width of at most 65,535
    fn meter(&self, width: u16) -> Line<'_> {
        let stills =
            self.stills.map_or_else(String::new, |stills| format!(", {} seen", counted(stills, "still")));
        let counts = format!("  {} called{stills}", counted(self.saves, "save"));
        let room = usize::from(width).saturating_sub(counts.chars().count() + 14).min(40);
        let share = ((self.level_dbfs - METER_FROM_DBFS) / -METER_FROM_DBFS).clamp(0.0, 1.0);
        let full = (share * room as f64) as usize;
        let state = if self.is_clipped { " CLIPPED" } else { "        " };
        Line::from(format!("level {}{}{state}{counts}", "█".repeat(full), "░".repeat(room - full)))
    }

    /// A row for each plane, a column for each zone.
    fn grid(&self) -> Vec<Line<'_>> {
        let mut zones: Vec<&str> = Vec::new();
        let mut planes: Vec<&str> = Vec::new();
        for seen in &self.views {
            for (list, code) in [(&mut zones, seen.zone.as_str()), (&mut planes, seen.plane.as_str())] {
                if !list.contains(&code) {
                    list.push(code);
                }
            }
        }
        if zones.is_empty() {
            return vec![Line::from("no limb has been called yet")];
        }
        let head = zones.iter().map(|zone| format!("{zone:>4}")).collect::<String>();
        let mut rows = vec![Line::from(format!("   {head}"))];
        for plane in planes {
            let sign = |zone: &&str| {
                let seen = self.views.iter().find(|seen| seen.zone == **zone && seen.plane == plane);
                format!("{:>4}", seen.map_or(" ", |seen| seen.state.sign()))
            };
            rows.push(Line::from(format!("{plane:<3}{}", zones.iter().map(sign).collect::<String>())));
        }
        rows
    }
}

/// How large letters are drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum TextSize {
    /// Half a cell each way, four rows high, to be read from three metres.
    Large,
    /// Those of the terminal, where there is no room for others.
    Small,
}

fn draw_text(frame: &mut Frame<'_>, area: Rect, text: &str, size: TextSize) {
    if size == TextSize::Large {
        let text = BigText::builder().pixel_size(PixelSize::Quadrant).lines([Line::from(text)]).build();
        frame.render_widget(text, area);
    } else {
        frame.render_widget(Line::styled(text, Style::new().add_modifier(Modifier::BOLD)), area);
    }
}

/// Rows for the cautions: as many as they fill, but on a small terminal only that for the first of them.
fn cautions_rows(area: Rect) -> u16 {
    let width = usize::from(area.width).saturating_sub(CAUTIONS_RAGGED).max(1);
    let rows = u16::try_from(CAUTIONS.len().div_ceil(width)).unwrap_or(1);
    if area.height >= CAUTIONS_FROM { rows } else { 1 }
}
