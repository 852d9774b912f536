//! Links the speech engine that `make setup` has built.
//!
//! Takes: `.deps/pocketsphinx` in this checkout, or in the folder named by `ZONECALL_DEPS`.
//! Gives: the static library to the linker, and `ZONECALL_BUILD_MODEL`, the model's folder, to the program.
//! Never: fetches or builds anything itself.
//! Tested in: every build.

use std::path::PathBuf;
use std::process::ExitCode;

fn main() -> ExitCode {
    println!("cargo::rerun-if-env-changed=ZONECALL_DEPS");
    let here = std::env::var_os("CARGO_MANIFEST_DIR").map(PathBuf::from).unwrap_or_default();
    let deps = std::env::var_os("ZONECALL_DEPS").map_or_else(|| here.join(".deps"), PathBuf::from);
    let engine = deps.join("pocketsphinx");
    let library = engine.join("lib/libpocketsphinx.a");
    println!("cargo::rerun-if-changed={}", library.display());
    if !library.is_file() {
        println!("cargo::error=the speech engine is not at `{}`; run `make setup` first", library.display());
        return ExitCode::FAILURE;
    }
    println!("cargo::rustc-link-search=native={}", engine.join("lib").display());
    println!("cargo::rustc-link-lib=static=pocketsphinx");
    println!("cargo::rustc-link-lib=dylib=m");
    println!("cargo::rustc-env=ZONECALL_BUILD_MODEL={}", engine.join("model/en-us").display());
    ExitCode::SUCCESS
}
