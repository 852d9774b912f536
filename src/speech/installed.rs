//! Where the parts of the program lie, and how to get one back.
//!
//! Takes: the name of a part.
//! Gives: its folder under `share/zonecall/` next to the program's own folder, `/usr/share/zonecall/` for `/usr/bin/`;
//! where the program is not installed, the folder that set-up filled.
//! Never: knows what a part holds.
//! Tested in: `tests/sound/doctor.rs`, `make try-deb`.

use std::path::{Path, PathBuf};

/// What a package brings; where none of it is next to the program, that was only built. Others may use the folder, too.
const BROUGHT: [&str; 3] = ["ear", "model", "models"];

/// `share/zonecall/` next to the program's folder; none where it was only built.
fn share() -> Option<PathBuf> {
    let program = std::env::current_exe().ok()?;
    let share = program.parent()?.parent()?.join("share/zonecall");
    BROUGHT.iter().any(|part| share.join(part).is_dir()).then_some(share)
}

/// The folder of `part`, there or not; `built` is where set-up put it on the machine that built the program.
///
/// An installed program never looks there: that machine is another one.
pub(super) fn folder(part: &str, built: &str) -> PathBuf {
    share().map_or_else(|| Path::new(built).to_path_buf(), |share| share.join(part))
}

/// Whether a package brought the program.
#[must_use]
pub fn is_installed() -> bool {
    share().is_some()
}

/// What brings a missing part back.
#[must_use]
pub fn remedy() -> &'static str {
    if is_installed() { "install the package again" } else { "run `make setup`" }
}
