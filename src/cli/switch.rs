//! The switch to talk by, as it was asked for: a key of an input device, or of the terminal.
//!
//! Takes: the options and the settings.
//! Gives: whether the switch is on.
//! Never: is on before it was pressed.
//! Tested in: `tests/sound/switch.rs`, `tests/sound/listen.rs`.

use std::path::PathBuf;

use anyhow::{Context as _, ensure};
use ratatui::crossterm::event::KeyCode;
use serde::Deserialize;

use super::listen::ListenOptions;
use super::screen::Display;
use super::settings::Settings;
use crate::speech::switch::{DeviceSwitch, SwitchKey, Turning};

#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct SwitchArgs {
    /// Only what is said while this key is on counts; all sound is kept. Its Linux name, such as KEY_SPACE or BTN_EAST,
    /// or its number.
    #[arg(long, value_name = "KEY")]
    pub(crate) switch: Option<SwitchKey>,
    /// The input device that has the key, such as a pedal under /dev/input/by-id/; without it the key is one of the
    /// terminal, where each press turns the switch over.
    #[arg(long, value_name = "DEVICE")]
    pub(crate) switch_device: Option<PathBuf>,
    /// How the key of a device turns the switch; else hold.
    #[arg(long, value_enum)]
    pub(crate) switch_way: Option<Way>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Way {
    /// On while it is held.
    Hold,
    /// Pressed once it is on, pressed again off.
    Toggle,
}

/// The switch that is wanted.
#[derive(Debug, Clone)]
pub(super) struct SwitchChoice {
    pub(super) key: SwitchKey,
    pub(super) device: Option<PathBuf>,
    turning: Turning,
}

impl SwitchArgs {
    /// What is wanted by the options, or else by the settings; none where no switch is.
    pub(super) fn with(&self, settings: &Settings) -> anyhow::Result<Option<SwitchChoice>> {
        let device = self.switch_device.clone().or_else(|| settings.switch_device.clone());
        let set = settings.switch.as_deref().map(str::parse).transpose();
        let set: Option<SwitchKey> = set.map_err(anyhow::Error::msg).context("the setting `switch`")?;
        let Some(key) = self.switch.or(set) else {
            ensure!(device.is_none(), "a device of a switch was named, but no key; name it with --switch");
            return Ok(None);
        };
        let turning = match self.switch_way.or(settings.switch_way) {
            Some(Way::Toggle) => Turning::Toggle,
            _ => Turning::Hold,
        };
        Ok(Some(SwitchChoice { key, device, turning }))
    }
}

/// A switch that can be asked.
pub(super) enum TalkSwitch {
    Device { switch: DeviceSwitch, was_gone: bool },
    Terminal { key: KeyCode, name: String, is_on: bool },
}

impl TalkSwitch {
    /// The switch that is wanted, if one is.
    pub(super) fn of(ways: &ListenOptions) -> anyhow::Result<Option<Self>> {
        ways.switch.as_ref().map(|wanted| Self::open(wanted, ways.show)).transpose()
    }

    /// Opens the switch; one of the terminal needs the screen, for lines have no keys.
    fn open(wanted: &SwitchChoice, show: Display) -> anyhow::Result<Self> {
        if let Some(device) = &wanted.device {
            let switch = DeviceSwitch::open(device, wanted.key, wanted.turning)?;
            return Ok(TalkSwitch::Device { switch, was_gone: false });
        }
        ensure!(
            show.has_keys(),
            "where there is no screen the switch {} needs a device; name it with --switch-device",
            wanted.key
        );
        let name = wanted.key.to_string();
        let key = of_terminal(&name).with_context(|| {
            format!("a terminal cannot tell of {name}, or uses it itself; name the device of the key with --switch-device")
        })?;
        Ok(TalkSwitch::Terminal { key, name, is_on: false })
    }

    pub(super) fn is_on(&self) -> bool {
        match self {
            TalkSwitch::Device { switch, .. } => switch.is_on(),
            TalkSwitch::Terminal { is_on, .. } => *is_on,
        }
    }

    /// The key of the terminal that turns it, and its name.
    pub(super) fn terminal_key(&self) -> Option<(KeyCode, &str)> {
        match self {
            TalkSwitch::Device { .. } => None,
            TalkSwitch::Terminal { key, name, .. } => Some((*key, name)),
        }
    }

    /// The key of the terminal was pressed.
    pub(super) fn press(&mut self) {
        if let TalkSwitch::Terminal { is_on, .. } = self {
            *is_on = !*is_on;
        }
    }

    /// What is to be told of the device, once each time: true that it is gone, false that it is back.
    pub(super) fn news(&mut self) -> Option<bool> {
        let TalkSwitch::Device { switch, was_gone } = self else { return None };
        let is_gone = switch.is_gone();
        (std::mem::replace(was_gone, is_gone) != is_gone).then_some(is_gone)
    }
}

/// A key by its Linux name, as a terminal tells of it; not those that answer, or end the listening.
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

    #[test]
    fn a_device_without_a_key_is_refused_and_an_option_counts_before_a_setting() {
        let settings = Settings { switch: Some("KEY_B".to_owned()), ..Settings::default() };
        let given = SwitchArgs { switch: Some("KEY_F5".parse().unwrap()), ..SwitchArgs::default() };
        assert_eq!(given.with(&settings).unwrap().unwrap().key.to_string(), "KEY_F5");
        assert_eq!(SwitchArgs::default().with(&settings).unwrap().unwrap().key.to_string(), "KEY_B");
        assert!(SwitchArgs::default().with(&Settings::default()).unwrap().is_none());
        let lone =
            Settings { switch_device: Some(PathBuf::from("/dev/input/event0")), ..Settings::default() };
        assert!(SwitchArgs::default().with(&lone).unwrap_err().to_string().contains("--switch"));
        let wrong = Settings { switch: Some("pedal".to_owned()), ..Settings::default() };
        assert!(
            format!("{:#}", SwitchArgs::default().with(&wrong).unwrap_err()).contains("`pedal` is no key")
        );
    }
}
