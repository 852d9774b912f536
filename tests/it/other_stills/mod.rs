//! Stills as other scanners, media and computers have them.
mod copies;
mod files;
mod kinds;
mod media;
mod names;
mod pixels;

use std::path::{Path, PathBuf};
use std::process::Command;

/// Makes something with pydicom and gives what it prints; see `make.py`.
pub(crate) fn make(args: &[&str]) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let deps = std::env::var_os("ZONECALL_DEPS").map_or_else(|| root.join(".deps"), PathBuf::from);
    let made = Command::new(deps.join("venv/bin/python3"))
        .arg(root.join("tests/it/other_stills/make.py"))
        .args(args)
        .output()
        .unwrap_or_else(|error| panic!("{error}; run `make setup`"));
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    String::from_utf8(made.stdout).unwrap()
}
