//! What a second screen shows: the same as the terminal's, as data that others can fetch.
//!
//! Takes: a `ScreenView` whenever something has changed.
//! Gives: `SecondScreenState`, and a number that grows with each change.
//! Never: I/O, the level of the sound, or anything that the terminal does not show.
//! Tested in: `tests/it/second_screen.rs`.

use std::sync::{Arc, Mutex, PoisonError};

use serde::Serialize;

use crate::code::{PlaneCode, ZoneCode};
use crate::knowledge::cautions::CAUTIONS;
use crate::session::screen_view::{News, ScreenView, ViewState};

/// Of what happened, so many lines are shown.
const LINES: usize = 6;

/// What is shown.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct SecondScreenState {
    /// What is typed on the scanner: codes of limb, zone and plane; empty before the first.
    pub label: String,
    /// The current place in words.
    pub place: String,
    /// What was set and goes on.
    pub settings: String,
    /// What has just happened, in one word.
    pub news: Option<News>,
    /// The question that waits, with its answers.
    pub question: Option<String>,
    /// What must be corrected.
    pub alarm: Option<String>,
    /// What was understood last.
    pub last: String,
    /// Nothing is acted on: the switch to talk by is off.
    pub switch_off: bool,
    /// The views of the current limb.
    pub views: Vec<SecondScreenView>,
    /// Saves that were called.
    pub saves: usize,
    /// Stills that came from the scanner; none where its folder is not followed.
    pub stills: Option<usize>,
    /// What happened, the last at the end.
    pub lines: Vec<String>,
    /// The exam is over, or none has begun yet.
    pub is_over: bool,
    /// What goes with it.
    pub cautions: String,
}

/// A view of the current limb.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SecondScreenView {
    /// Zone code.
    pub zone: ZoneCode,
    /// Plane code.
    pub plane: PlaneCode,
    /// How far it is.
    pub state: ViewState,
}

impl SecondScreenState {
    /// The same as this view shows.
    #[must_use]
    pub fn of(view: &ScreenView) -> SecondScreenState {
        let seen = view.views.iter().map(|seen| SecondScreenView {
            zone: seen.zone.clone(),
            plane: seen.plane.clone(),
            state: seen.state,
        });
        SecondScreenState {
            label: view.place.clone(),
            place: view.place_in_words.clone(),
            settings: view.settings.clone(),
            news: view.news(),
            question: view.question.clone(),
            alarm: view.alarm.clone(),
            last: view.last.clone(),
            switch_off: view.switch.as_ref().is_some_and(|switch| !switch.is_on),
            views: seen.collect(),
            saves: view.saves,
            stills: view.stills,
            lines: view.lines.iter().skip(view.lines.len().saturating_sub(LINES)).cloned().collect(),
            is_over: false,
            cautions: CAUTIONS.to_owned(),
        }
    }
}

/// The state that a second screen fetches; whoever has a copy of this sees the same.
#[derive(Debug, Clone)]
pub struct SecondScreen {
    /// Where it is served.
    address: String,
    shared: Arc<Mutex<(u64, SecondScreenState)>>,
}

impl SecondScreen {
    /// One that is served at this address; no exam has begun.
    #[must_use]
    pub fn at(address: String) -> SecondScreen {
        let state = SecondScreenState {
            is_over: true,
            cautions: CAUTIONS.to_owned(),
            ..SecondScreenState::default()
        };
        SecondScreen { address, shared: Arc::new(Mutex::new((0, state))) }
    }

    /// The address to open on the second screen.
    #[must_use]
    pub fn address(&self) -> &str {
        &self.address
    }

    /// Shows this from now on.
    pub fn put(&self, state: SecondScreenState) {
        let mut shared = self.shared.lock().unwrap_or_else(PoisonError::into_inner);
        if shared.1 != state {
            *shared = (shared.0 + 1, state);
        }
    }

    /// The exam has ended.
    pub fn end(&self) {
        let state = self.now().1;
        self.put(SecondScreenState { is_over: true, ..state });
    }

    /// The state as it is now, and how often it has changed.
    #[must_use]
    pub fn now(&self) -> (u64, SecondScreenState) {
        self.shared.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}
