//! The switch to talk by, as it was asked for: a key of an input device, or of the terminal.
//!
//! Takes: what was chosen.
//! Gives: whether the switch is on.
//! Never: is on before it was pressed.
//! Tested in: `tests/sound/switch.rs`, `tests/sound/listen.rs`, and here.

use std::path::PathBuf;

use ratatui::crossterm::event::KeyCode;

use crate::exam::closed_sets::Presence;
use crate::session::error::SessionError;
use crate::session::screen::Display;
use crate::speech::switch::{DeviceSwitch, SwitchKey, Turning};

/// The switch that was chosen.
#[derive(Debug, Clone)]
pub struct SwitchChoice {
    /// The key.
    pub key: SwitchKey,
    /// The input device that has it; none where it is a key of the terminal.
    pub device: Option<PathBuf>,
    /// How the key of a device turns the switch.
    pub turning: Turning,
}

/// A switch that can be asked.
#[derive(Debug)]
pub enum TalkSwitch {
    /// A key of an input device.
    Device {
        /// The device.
        switch: DeviceSwitch,
        /// It was gone when it was last asked about.
        was_gone: bool,
    },
    /// A key of the terminal, where each press turns the switch over.
    Terminal {
        /// The key.
        key: KeyCode,
        /// Its name.
        name: String,
        /// It is on.
        is_on: bool,
    },
}

impl TalkSwitch {
    /// The switch that was chosen, if one was.
    ///
    /// # Errors
    /// When it cannot be used.
    pub fn of(choice: Option<&SwitchChoice>, display: Display) -> Result<Option<Self>, SessionError> {
        choice.map(|choice| Self::open(choice, display)).transpose()
    }

    /// Opens the switch; one of the terminal needs the screen, for lines have no keys.
    fn open(choice: &SwitchChoice, display: Display) -> Result<Self, SessionError> {
        let key = choice.key;
        if let Some(device) = &choice.device {
            let switch = DeviceSwitch::open(device, key, choice.turning)?;
            return Ok(TalkSwitch::Device { switch, was_gone: false });
        }
        if !display.has_keys() {
            return Err(SessionError::NoTerminal { key });
        }
        let name = key.to_string();
        let code = of_terminal(&name).ok_or(SessionError::NotOfTerminal { key })?;
        Ok(TalkSwitch::Terminal { key: code, name, is_on: false })
    }

    /// What is said now is acted on.
    #[must_use]
    pub fn is_on(&self) -> bool {
        match self {
            TalkSwitch::Device { switch, .. } => switch.is_on(),
            TalkSwitch::Terminal { is_on, .. } => *is_on,
        }
    }

    /// The key of the terminal that turns it, and its name.
    #[must_use]
    pub fn terminal_key(&self) -> Option<(KeyCode, &str)> {
        match self {
            TalkSwitch::Device { .. } => None,
            TalkSwitch::Terminal { key, name, .. } => Some((*key, name)),
        }
    }

    /// The key of the terminal was pressed.
    pub fn press(&mut self) {
        if let TalkSwitch::Terminal { is_on, .. } = self {
            *is_on = !*is_on;
        }
    }

    /// What became of the device since it was last asked about, if anything.
    pub fn news(&mut self) -> Option<Presence> {
        let TalkSwitch::Device { switch, was_gone } = self else { return None };
        let is_gone = switch.is_gone();
        let presence = if is_gone { Presence::Lost } else { Presence::Back };
        (std::mem::replace(was_gone, is_gone) != is_gone).then_some(presence)
    }
}

/// A key by its Linux name, as a terminal names it; not those that answer, or end the listening.
fn of_terminal(name: &str) -> Option<KeyCode> {
    let name = name.strip_prefix("KEY_")?;
    let mut letters = name.chars();
    match (name, letters.next(), letters.as_str()) {
        ("SPACE", ..) => Some(KeyCode::Char(' ')),
        ("ENTER", ..) => Some(KeyCode::Enter),
        ("TAB", ..) => Some(KeyCode::Tab),
        ("Q" | "Y" | "N", ..) => None,
        (_, Some(letter), "") if letter.is_ascii_uppercase() => {
            Some(KeyCode::Char(letter.to_ascii_lowercase()))
        }
        (_, Some('F'), number) => number.parse().ok().filter(|n| (1..=12).contains(n)).map(KeyCode::F),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn keys_that_a_terminal_knows_and_does_not_need_can_be_a_switch() {
        let key = |name: &str| of_terminal(&name.parse::<SwitchKey>().unwrap().to_string());
        assert_eq!(key("KEY_SPACE"), Some(KeyCode::Char(' ')));
        assert_eq!(key("key_b"), Some(KeyCode::Char('b')));
        assert_eq!(key("KEY_F9"), Some(KeyCode::F(9)));
        for none in ["KEY_Q", "KEY_F13", "KEY_LEFTSHIFT", "BTN_EAST", "KEY_1"] {
            assert_eq!(key(none), None, "{none}");
        }
    }
}
