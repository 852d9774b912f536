//! DICOM files that others made.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::path::{Path, PathBuf};
use std::process::Command;

/// The folder of sample files in the Python package pydicom 3.0.2, which set-up installs into `.deps/venv`.
pub fn samples() -> PathBuf {
    let deps = std::env::var_os("ZONECALL_DEPS")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join(".deps"), PathBuf::from);
    let python = deps.join("venv/bin/python3");
    let script = "import pydicom, pathlib; print(pathlib.Path(pydicom.__file__).parent / 'data/test_files')";
    let told = Command::new(&python).args(["-c", script]).output();
    let told = told.unwrap_or_else(|error| panic!("`{}`: {error}; run `make setup`", python.display()));
    assert!(told.status.success(), "pydicom is missing; run `make setup`");
    PathBuf::from(String::from_utf8(told.stdout).unwrap().trim())
}

/// One of them.
pub fn sample(name: &str) -> PathBuf {
    samples().join(name)
}
