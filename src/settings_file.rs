//! Where a practice's settings are kept on this machine: all of them in one folder.
//!
//! Takes: the environment.
//! Gives: the path of the settings, there or not, and the folder of what is kept with them: people, keys, voices, peers.
//! Never: reads any of it.
//! Tested in: `tests/it/people.rs`, `tests/it/own_words.rs`.

use std::path::{Path, PathBuf};

/// Names the file of settings where it is not in the user's own folder.
pub const SETTINGS: &str = "ZONECALL_SETTINGS";

fn own(name: &str) -> Option<PathBuf> {
    std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from)
}

/// The file that `ZONECALL_SETTINGS` names, else that in the user's folder of settings.
#[must_use]
pub fn settings_file() -> Option<PathBuf> {
    own(SETTINGS).or_else(|| Some(users_folder()?.join("zonecall.toml")))
}

/// The folder of what is kept with the settings; the user's own where the settings are named as something that is no file.
#[must_use]
pub fn settings_folder() -> Option<PathBuf> {
    let named = own(SETTINGS).filter(|path| path.is_file() || !path.exists());
    let beside = named.and_then(|path| path.parent().map(Path::to_owned));
    let here = |folder: PathBuf| if folder.as_os_str().is_empty() { PathBuf::from(".") } else { folder };
    beside.map(here).or_else(users_folder)
}

fn users_folder() -> Option<PathBuf> {
    let folder = own("XDG_CONFIG_HOME").or_else(|| own("HOME").map(|home| home.join(".config")));
    folder.map(|folder| folder.join("zonecall"))
}
