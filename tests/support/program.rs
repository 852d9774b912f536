//! The built program and the demo's files, as the tests use them from outside.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// When the demo's recordings are said to begin.
pub const START: &str = "2026-05-04T10:00:00+02:00";

/// Runs the program to its end.
pub fn zonecall(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_zonecall")).args(args).output().expect("the program starts")
}

/// A file of the demo.
pub fn demo(file: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-audio").join(file)
}

/// The maker of the demo's stills.
pub fn demo_stills() -> Command {
    Command::new(env!("CARGO_BIN_EXE_demo_stills"))
}
