//! Where the parts of an installed program lie.
//!
//! Takes: the name of a part.
//! Gives: its folder under `share/zonecall/` beside the program's own folder: `/usr/share/zonecall/` for `/usr/bin/`.
//! Never: knows what a part holds.
//! Tested in: `make deb`.

use std::path::PathBuf;

/// The folder of `part`; none where the program is not installed with it, as when it was only built.
#[must_use]
pub(super) fn installed(part: &str) -> Option<PathBuf> {
    let program = std::env::current_exe().ok()?;
    let folder = program.parent()?.parent()?.join("share/zonecall").join(part);
    folder.is_dir().then_some(folder)
}
