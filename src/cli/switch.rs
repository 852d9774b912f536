//! The options that choose a switch to talk by.
//!
//! Takes: the options and the settings.
//! Gives: the switch that was chosen, if one was.
//! Never: opens it.
//! Tested in: `tests/sound/switch.rs`, `tests/sound/listen.rs`.

use std::path::PathBuf;

use anyhow::{Context as _, ensure};

use super::options::SwitchWay;
use super::settings::Settings;
use crate::session::talk_switch::SwitchChoice;
use crate::speech::switch::{SwitchKey, Turning};

#[derive(Debug, Clone, Default, clap::Args)]
pub(crate) struct SwitchArgs {
    /// Act only on what is said while this key is on; all sound is kept. Its Linux name, such as KEY_SPACE or BTN_EAST,
    /// or its number.
    #[arg(long, value_name = "KEY")]
    pub(crate) switch: Option<SwitchKey>,
    /// The input device that has the key, such as a pedal under /dev/input/by-id/; without it, the key is one of the
    /// terminal's, and each press turns it on or off.
    #[arg(long, value_name = "DEVICE")]
    pub(crate) switch_device: Option<PathBuf>,
    /// How a device's key works; hold by default.
    #[arg(long, value_enum)]
    pub(crate) switch_way: Option<SwitchWay>,
}

impl SwitchArgs {
    /// What is wanted by the options, or else by the settings; none where no switch is.
    pub(super) fn with(&self, settings: &Settings) -> anyhow::Result<Option<SwitchChoice>> {
        let device = self.switch_device.clone().or_else(|| settings.switch_device.clone());
        let set = settings.switch.as_deref().map(str::parse).transpose();
        let set: Option<SwitchKey> = set.map_err(anyhow::Error::msg).context("the setting `switch`")?;
        let Some(key) = self.switch.or(set) else {
            ensure!(
                device.is_none(),
                "--switch-device names a device, but no key is given; name the key with --switch"
            );
            return Ok(None);
        };
        let turning = match self.switch_way.or(settings.switch_way) {
            Some(SwitchWay::Toggle) => Turning::Toggle,
            _ => Turning::Hold,
        };
        Ok(Some(SwitchChoice { key, device, turning }))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

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
            format!("{:#}", SwitchArgs::default().with(&wrong).unwrap_err()).contains("`pedal` is not a key")
        );
    }
}
