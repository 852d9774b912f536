//! DICOM files that others made.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::path::{Path, PathBuf};
use std::process::Command;

/// The folder of sample files in the Python package pydicom 3.0.2, which set-up installs into `.deps/venv`.
pub fn samples() -> PathBuf {
    PathBuf::from(
        python("import pydicom, pathlib; print(pathlib.Path(pydicom.__file__).parent / 'data/test_files')")
            .trim(),
    )
}

/// What a script prints that may use pydicom.
pub fn python(script: &str) -> String {
    python_with(script, &[])
}

/// The same, with arguments.
pub fn python_with(script: &str, args: &[&str]) -> String {
    let deps = std::env::var_os("ZONECALL_DEPS")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join(".deps"), PathBuf::from);
    let python = deps.join("venv/bin/python3");
    let told = Command::new(&python).args(["-c", script]).args(args).output();
    let told = told.unwrap_or_else(|error| panic!("`{}`: {error}; run `make setup`", python.display()));
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    String::from_utf8(told.stdout).unwrap()
}

/// One of them.
pub fn sample(name: &str) -> PathBuf {
    samples().join(name)
}
