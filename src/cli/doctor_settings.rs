//! What `doctor` says of the settings: whether they can be read, and whether each names what there is.
//!
//! Takes: the settings, and the options that come before them.
//! Gives: a line for each setting that listening would stumble over, and one for the file.
//! Never: changes the file.
//! Tested in: `tests/sound/doctor.rs`.

use super::doctor_line::{DoctorLine, PartState};
use super::encrypt;
use super::listen::sides;
use super::output::one_line;
use super::screen_args::ScreenArgs;
use super::set_for_exam::SetForExam;
use super::settings::Settings;
use super::settings_place::{missing, place};
use super::switch::SwitchArgs;
use crate::frames::watch::is_there;
use crate::protocol::Protocols;
use crate::session::options::Subject;
use crate::speech::switch::look;
use crate::terminal::ShownText as _;

const CORRECT: &str = "correct the settings";

/// The settings that count, none where the file cannot be read; and the line that tells of the file, where there is one.
pub(super) fn read() -> (Settings, Option<DoctorLine>) {
    if let Some(path) = missing() {
        let found = format!("ZONECALL_SETTINGS names `{}`, which does not exist", path.shown());
        let remedy = "write it with `zonecall setup`, or name the file that holds the settings";
        return (Settings::default(), Some(DoctorLine::lacks("settings", PartState::Needed, found, remedy)));
    }
    let path = place().filter(|path| path.exists());
    match Settings::read() {
        Ok(settings) => {
            let line = path.map(|path| DoctorLine::there("settings", format!("`{}`", path.shown())));
            (settings, line)
        }
        Err(error) => {
            let causes: Vec<String> = error.chain().skip(1).map(ToString::to_string).collect();
            let why = causes.join(": ").trim_end().to_owned();
            let found = match (path, why.is_empty()) {
                (Some(path), false) => format!("`{}`: {why}", path.shown()),
                _ => one_line(&error),
            };
            let remedy = "correct that line, or delete the file and write a new one with `zonecall setup`";
            (Settings::default(), Some(DoctorLine::wrong("settings", &found, remedy)))
        }
    }
}

/// What is set and would not work.
pub(super) fn wrong(settings: &Settings, protocols: &Protocols) -> Vec<DoctorLine> {
    let scale = settings.score_scale.as_deref();
    let found = [
        ("sides", sides(settings.sides.as_ref(), protocols).err()),
        ("encryption", encrypt::usable(settings.encrypt_for.as_deref().unwrap_or_default()).err()),
        ("score scale", SetForExam::default().added_to(Subject::default(), protocols, scale).err()),
    ];
    let line = |(name, error): (&'static str, Option<anyhow::Error>)| {
        Some(DoctorLine::wrong(name, &one_line(&error?), CORRECT))
    };
    found.into_iter().filter_map(line).collect()
}

/// The folder that the scanner exports into, where one is set.
pub(super) fn watched(settings: &Settings) -> Option<DoctorLine> {
    let folder = settings.watch.as_deref()?;
    Some(match is_there(folder) {
        Ok(()) => DoctorLine::there("stills", format!("`{}` is followed", folder.shown())),
        Err(error) => DoctorLine::wrong("stills", &error.to_string(), CORRECT),
    })
}

/// The second screen, where one is set: it is served for a moment.
pub(super) fn screen(settings: &Settings) -> Option<DoctorLine> {
    let tried = ScreenArgs::default().with(settings).and_then(|wanted| {
        let Some(choice) = wanted else { return Ok(None) };
        choice.try_out().map(|()| Some(choice.in_words()))
    });
    match tried {
        Ok(found) => Some(DoctorLine::there("second screen", found?)),
        Err(error) => Some(DoctorLine::wrong("second screen", &one_line(&error), CORRECT)),
    }
}

/// The switch to talk by that the options or the settings want; no line where none is wanted.
pub(super) fn switch(args: &SwitchArgs, settings: &Settings) -> Option<DoctorLine> {
    let wanted = match args.with(settings) {
        Ok(wanted) => wanted?,
        Err(error) => {
            return Some(DoctorLine::wrong(
                "switch",
                &one_line(&error),
                "correct the option or the settings",
            ));
        }
    };
    let Some(device) = &wanted.device else {
        return Some(DoctorLine::there("switch", format!("{}, a key of the terminal", wanted.key)));
    };
    Some(match look(device, wanted.key) {
        Ok(name) => DoctorLine::there("switch", format!("{} of `{name}`", wanted.key)),
        Err(error) => DoctorLine::wrong("switch", &error.to_string(), "name another with --switch-device"),
    })
}
