//! Where the settings are kept, and what the practice keeps beside them.
//!
//! Takes: the environment.
//! Gives: the path of the settings, there or not; the text of a file beside them.
//! Never: reads the settings, or knows what is in the others.
//! Tested in: `tests/sound/setup.rs`, `tests/it/own_words.rs`.

use std::path::{Path, PathBuf};

use anyhow::Context as _;

use crate::plain_file;
use crate::settings_file::SETTINGS;
use crate::terminal::ShownText as _;

/// Where the file is looked for.
pub(super) use crate::settings_file::settings_file as place;

/// The file that `ZONECALL_SETTINGS` names, where it is not there.
pub(super) fn missing() -> Option<PathBuf> {
    std::env::var_os(SETTINGS).map(PathBuf::from).filter(|path| !path.exists())
}

/// The text of a file of settings; `/dev/null` says that nothing is set, and a pipe is not waited for.
///
/// # Errors
/// When it is no file or cannot be read.
pub(super) fn text(path: &Path) -> std::io::Result<String> {
    if path == Path::new("/dev/null") { Ok(String::new()) } else { plain_file::read_to_string(path) }
}

/// A file of the practice's that is kept beside the settings: where, and what is in it.
pub(super) struct FileBeside {
    pub(super) path: PathBuf,
    pub(super) text: String,
}

/// Reads the file that the variable `named_by` names, else the one called `name` beside the settings; none where there is none.
/// `what` it holds is for the error.
///
/// # Errors
/// When it cannot be read.
pub(super) fn beside(named_by: &str, name: &str, what: &str) -> anyhow::Result<Option<FileBeside>> {
    let named = std::env::var_os(named_by).map(PathBuf::from);
    let path = named.or_else(|| Some(place()?.with_file_name(name)));
    let Some(path) = path.filter(|path| path.exists()) else { return Ok(None) };
    let text = text(&path).with_context(|| format!("cannot read the {what} `{}`", path.shown()))?;
    Ok(Some(FileBeside { path, text }))
}
