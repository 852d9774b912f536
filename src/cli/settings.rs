//! How `listen` is set, and what of it holds for `hear`, too: one commented file that `setup` writes; an option on the command line overrides it.
//!
//! Takes: `zonecall.toml`.
//! Gives: `Settings`, and the file's text.
//! Never: a setting that is not also an option.
//! Tested in: `tests/sound/setup.rs`, `tests/it/set_for_exam.rs`, and here.

use std::path::PathBuf;

use anyhow::Context as _;
use serde::Deserialize;

use super::options::{EarChoice, SwitchWay, WhichEar, written};
use super::settings_place::{missing, place, text};
use crate::exam::header::CONTEXT_S_MAX;
use crate::session::options::Subject;
use crate::terminal::{self, ShownText as _};

/// What the file can say; what it does not say has its default.
#[derive(Debug, Clone, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Settings {
    pub(super) device: Option<String>,
    pub(super) ear: Option<EarChoice>,
    pub(super) tones: Option<bool>,
    pub(super) voice: Option<bool>,
    pub(super) voice_speed: Option<u16>,
    pub(super) voice_volume: Option<u8>,
    pub(super) earpiece: Option<bool>,
    pub(super) lines: Option<bool>,
    pub(super) screen: Option<bool>,
    pub(super) screen_port: Option<u16>,
    pub(super) screen_at: Option<String>,
    pub(super) screen_cert: Option<PathBuf>,
    pub(super) screen_key: Option<PathBuf>,
    pub(super) watch: Option<PathBuf>,
    pub(super) export_delay_s: Option<f64>,
    pub(super) sides: Option<String>,
    pub(super) call_word: Option<String>,
    pub(super) switch: Option<String>,
    pub(super) switch_device: Option<PathBuf>,
    pub(super) switch_way: Option<SwitchWay>,
    pub(super) person: Option<String>,
    pub(super) score_scale: Option<String>,
    pub(super) context_s: Option<f64>,
    pub(super) save_first: Option<bool>,
    pub(super) encrypt_for: Option<Vec<String>>,
    pub(super) time_stamp: Option<String>,
    pub(super) time_stamp_ca: Option<PathBuf>,
}

/// Says that the file which `ZONECALL_SETTINGS` names is not there: without a word, what it was to set would be missed too late.
pub(super) fn tell_missing() {
    if let Some(path) = missing() {
        terminal::warn(format!(
            "zonecall: ZONECALL_SETTINGS names `{}`, which does not exist, so no settings are used; write them with \
             `zonecall \
             setup`, or name the file that holds them",
            path.shown()
        ));
    }
}

impl Settings {
    /// Reads the file; where there is none, nothing is set.
    ///
    /// # Errors
    /// When it cannot be read or holds something unknown: the error names file, line and word.
    pub(super) fn read() -> anyhow::Result<Self> {
        match place() {
            Some(path) if path.exists() => {
                let text =
                    text(&path).with_context(|| format!("cannot read the settings `{}`", path.shown()))?;
                Self::of(&text).with_context(|| {
                    format!(
                        "`{}` holds no valid settings; correct it, or delete it and write a new one with `zonecall setup`",
                        path.shown()
                    )
                })
            }
            _ => Ok(Self::default()),
        }
    }

    /// The ear that listens: the one that was asked for, else the one that is set.
    pub(super) fn ear_or(&self, asked: &WhichEar) -> WhichEar {
        WhichEar { ear: asked.ear.or(self.ear), ..asked.clone() }
    }

    /// The subject as it is set for every exam, where nothing else was said of this one.
    pub(super) fn added_to(&self, subject: Subject) -> Subject {
        let person = subject.person.clone().or_else(|| self.person.clone());
        let save_first = subject.save_first.or(self.save_first);
        Subject { person, save_first, context_s: subject.context_s.or(self.context_s), ..subject }
    }

    fn of(text: &str) -> anyhow::Result<Self> {
        let settings: Self = toml::from_str(text)?;
        if let Some(delay) = settings.export_delay_s {
            anyhow::ensure!(
                (0.0..=600.0).contains(&delay),
                "export_delay_s is {delay}; give 0 to 600 seconds"
            );
        }
        if let Some(context) = settings.context_s {
            anyhow::ensure!(
                (0.0..=CONTEXT_S_MAX).contains(&context),
                "context_s is {context}; give 0 to {CONTEXT_S_MAX} seconds"
            );
        }
        if let Some(words) = settings.voice_speed {
            anyhow::ensure!(
                (80..=400).contains(&words),
                "voice_speed is {words}; give 80 to 400 words a minute"
            );
        }
        if let Some(percent) = settings.voice_volume {
            anyhow::ensure!((1..=200).contains(&percent), "voice_volume is {percent}; give 1 to 200 percent");
        }
        Ok(settings)
    }

    /// The file's text: every setting with what it does; those that are not set are comments.
    pub(super) fn text(&self) -> String {
        let mut text = "# Settings of zonecall. An option on the command line overrides them.\n".to_owned();
        for (what, key, value, example) in self.rows() {
            let line =
                value.map_or_else(|| format!("# {key} = {example}"), |value| format!("{key} = {value}"));
            text = format!("{text}\n# {what}\n{line}\n");
        }
        text
    }

    /// What each setting is, its key, its value where it is set, and an example.
    #[allow(clippy::too_many_lines)] // a table, a row for each setting
    fn rows(&self) -> [(&'static str, &'static str, Option<String>, &'static str); 27] {
        let quoted = |text: &str| toml::Value::from(text).to_string();
        let path = |path: &PathBuf| quoted(&path.to_string_lossy());
        [
            (
                "The microphone, or part of its name; without it, the default one.",
                "device",
                self.device.as_deref().map(quoted),
                "\"headset\"",
            ),
            (
                "Which ear listens: neural, vosk or sphinx; without it, neural, or vosk where neural is not installed.",
                "ear",
                self.ear.map(|ear| quoted(&written(&ear))),
                "\"neural\"",
            ),
            (
                "Tones that say whether each phrase was understood.",
                "tones",
                self.tones.map(|on| on.to_string()),
                "true",
            ),
            (
                "A voice that asks, answers and warns; needs espeak-ng.",
                "voice",
                self.voice.map(|on| on.to_string()),
                "true",
            ),
            (
                "How fast the voice speaks, in words a minute, 80 to 400.",
                "voice_speed",
                self.voice_speed.map(|words| words.to_string()),
                "160",
            ),
            (
                "How loud the voice speaks, in percent of the usual, 1 to 200.",
                "voice_volume",
                self.voice_volume.map(|percent| percent.to_string()),
                "100",
            ),
            (
                "The voice comes out in an earpiece, which the microphone does not hear.",
                "earpiece",
                self.earpiece.map(|on| on.to_string()),
                "false",
            ),
            ("Plain lines instead of the screen.", "lines", self.lines.map(|on| on.to_string()), "false"),
            (
                "A second screen, as a page in a browser of this machine.",
                "screen",
                self.screen.map(|on| on.to_string()),
                "true",
            ),
            (
                "Port of the second screen; without it, any free one.",
                "screen_port",
                self.screen_port.map(|port| port.to_string()),
                "7401",
            ),
            (
                "Serve the second screen to the practice's network at this name or address of this machine.",
                "screen_at",
                self.screen_at.as_deref().map(quoted),
                "\"scan.practice.example\"",
            ),
            (
                "The certificate for that name, as a PEM file.",
                "screen_cert",
                self.screen_cert.as_ref().map(path),
                "\"/etc/zonecall/scan.pem\"",
            ),
            (
                "The key of that certificate, as a PEM file.",
                "screen_key",
                self.screen_key.as_ref().map(path),
                "\"/etc/zonecall/scan-key.pem\"",
            ),
            (
                "The folder into which the scanner exports its stills.",
                "watch",
                self.watch.as_ref().map(path),
                "\"/media/scanner\"",
            ),
            (
                "Seconds from pressing the scanner's button to the file in that folder.",
                "export_delay_s",
                self.export_delay_s.map(|s| s.to_string()),
                "2.0",
            ),
            (
                "The words you use for the sides: one of the pair, or any; other words are read back.",
                "sides",
                self.sides.as_deref().map(quoted),
                "\"left\"",
            ),
            (
                "Act only on phrases that begin with this word.",
                "call_word",
                self.call_word.as_deref().map(quoted),
                "\"exam\"",
            ),
            (
                "Act only on what is said while this key is on.",
                "switch",
                self.switch.as_deref().map(quoted),
                "\"KEY_F5\"",
            ),
            (
                "The input device that has the key; without it, a key of the terminal.",
                "switch_device",
                self.switch_device.as_ref().map(path),
                "\"/dev/input/by-id/usb-pedal-event-kbd\"",
            ),
            (
                "How the key works: hold to talk, or toggle.",
                "switch_way",
                self.switch_way.map(|way| quoted(&written(&way))),
                "\"hold\"",
            ),
            ("Who speaks.", "person", self.person.as_deref().map(quoted), "\"Ada\""),
            (
                "The scale of a score, if it is not that of the protocols.",
                "score_scale",
                self.score_scale.as_deref().map(quoted),
                "\"echo score=0-3\"",
            ),
            (
                "Seconds after the last call within which a still without a save gets the current place, 0 to 600.",
                "context_s",
                self.context_s.map(|s| s.to_string()),
                "60",
            ),
            (
                "You save first and say the place afterwards.",
                "save_first",
                self.save_first.map(|on| on.to_string()),
                "false",
            ),
            (
                "Public keys of age for which `listen --exams` encrypts closed exams, and removes their folders.",
                "encrypt_for",
                self.encrypt_for.as_ref().map(|keys| toml::Value::from(keys.clone()).to_string()),
                "[\"age1...\"]",
            ),
            (
                "A server that stamps signatures with the time (RFC 3161).",
                "time_stamp",
                self.time_stamp.as_deref().map(quoted),
                "\"http://stamp.example/tsa\"",
            ),
            (
                "The certificates of the authority that vouches for that server, as a PEM file.",
                "time_stamp_ca",
                self.time_stamp_ca.as_ref().map(path),
                "\"/etc/zonecall/stamp-ca.pem\"",
            ),
        ]
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)] // tests may panic

    use super::*;

    #[test]
    fn what_is_written_is_read_back_and_what_is_not_set_stands_as_a_comment() {
        let all = Settings {
            device: Some("a \"b\"\\c".to_owned()),
            ear: Some(EarChoice::Sphinx),
            tones: Some(false),
            voice: Some(true),
            voice_speed: Some(200),
            voice_volume: Some(80),
            earpiece: Some(true),
            lines: Some(true),
            screen: Some(true),
            screen_port: Some(7401),
            screen_at: Some("scan.practice.example".to_owned()),
            screen_cert: Some(PathBuf::from("scan.pem")),
            screen_key: Some(PathBuf::from("scan-key.pem")),
            watch: Some(PathBuf::from("/media/scanner")),
            export_delay_s: Some(3.5),
            sides: Some("near".to_owned()),
            call_word: Some("computer".to_owned()),
            switch: Some("BTN_EAST".to_owned()),
            switch_device: Some(PathBuf::from("/dev/input/event3")),
            switch_way: Some(SwitchWay::Toggle),
            person: Some("Ada".to_owned()),
            score_scale: Some("echo score=0-3".to_owned()),
            context_s: Some(90.0),
            save_first: Some(true),
            encrypt_for: Some(vec!["age1example".to_owned(), "age1other".to_owned()]),
            time_stamp: Some("http://stamp.example/tsa".to_owned()),
            time_stamp_ca: Some(PathBuf::from("stamp-ca.pem")),
        };
        assert_eq!(Settings::of(&all.text()).unwrap(), all);
        let none = Settings::default().text();
        assert_eq!(Settings::of(&none).unwrap(), Settings::default());
        // The examples are right, too.
        let examples: String = none
            .lines()
            .filter(|line| line.contains(" = "))
            .map(|line| format!("{}\n", line.trim_start_matches("# ")))
            .collect();
        assert_eq!(Settings::of(&examples).unwrap().export_delay_s, Some(2.0));
    }

    #[test]
    fn what_is_unknown_or_out_of_bounds_is_an_error() {
        let error = |text: &str| Settings::of(text).unwrap_err().to_string();
        assert!(error("devise = \"x\"").contains("devise"), "{}", error("devise = \"x\""));
        assert!(error("export_delay_s = -1.0").contains("0 to 600"));
        assert!(error("context_s = 601").contains("0 to 600"));
    }
}
