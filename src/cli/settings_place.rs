//! Where the settings are kept.
//!
//! Takes: the environment.
//! Gives: the file's path, there or not.
//! Never: reads it.
//! Tested in: `tests/sound/setup.rs`, `tests/it/own_words.rs`.

use std::path::{Path, PathBuf};

/// Where the file is looked for: `ZONECALL_SETTINGS`, else the user's folder of settings.
pub(super) fn place() -> Option<PathBuf> {
    let named = std::env::var_os("ZONECALL_SETTINGS").map(PathBuf::from);
    named.or_else(|| {
        let home = || std::env::var_os("HOME").map(|home| Path::new(&home).join(".config"));
        let folder = std::env::var_os("XDG_CONFIG_HOME").map(PathBuf::from).or_else(home)?;
        Some(folder.join("zonecall/zonecall.toml"))
    })
}

/// The file that `ZONECALL_SETTINGS` names, where it is not there.
pub(super) fn missing() -> Option<PathBuf> {
    std::env::var_os("ZONECALL_SETTINGS").map(PathBuf::from).filter(|path| !path.exists())
}
