//! Finds what set-up put into `.deps/` (or the folder in `ZONECALL_DEPS`): PocketSphinx, which the feature `sphinx` links,
//! and the library of the Vosk ear, which the feature `vosk` links where it is there.

use std::path::{Path, PathBuf};

fn main() {
    println!("cargo::rerun-if-env-changed=ZONECALL_DEPS");
    println!("cargo::rustc-check-cfg=cfg(vosk_library)");
    let root = PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let deps = std::env::var_os("ZONECALL_DEPS").map_or_else(|| root.join(".deps"), PathBuf::from);
    let built = |name: &str, folder: PathBuf| {
        println!("cargo::rustc-env=ZONECALL_BUILT_{name}={}", folder.display());
    };
    built("MODEL", deps.join("pocketsphinx/model"));
    // What the neural ear reads is opened when it listens, so it need not be there yet.
    built("EAR", deps.join("ear"));
    built("VOSK", deps.join("vosk"));
    built("HEAD", root.join("models"));
    if std::env::var_os("CARGO_FEATURE_SPHINX").is_some() {
        link_sphinx(&deps.join("pocketsphinx/lib"));
    }
    if std::env::var_os("CARGO_FEATURE_VOSK").is_some() {
        link_vosk(&deps.join("vosk/libvosk.so"));
    }
}

fn link_sphinx(folder: &Path) {
    println!("cargo::rerun-if-changed={}", folder.display());
    if !folder.join("libpocketsphinx.a").is_file() {
        println!(
            "cargo::error=PocketSphinx is not built yet; run `make setup` once (it builds it into .deps/), \
             or build without the feature `sphinx`"
        );
        return;
    }
    println!("cargo::rustc-link-search=native={}", folder.display());
    println!("cargo::rustc-link-lib=static=pocketsphinx");
    println!("cargo::rustc-link-lib=m");
}

/// Links the library, and tells the program where to look for it: where a package puts it, else where it was built.
fn link_vosk(library: &Path) {
    println!("cargo::rerun-if-changed={}", library.display());
    let out = PathBuf::from(std::env::var_os("OUT_DIR").unwrap_or_default());
    let beside = out.join("libvosk.so");
    let _ = std::fs::remove_file(&beside);
    if !library.is_file() {
        return;
    }
    if let Err(error) = put(library, &beside) {
        println!("cargo::error=cannot put `{}` beside the program: {error}", library.display());
        return;
    }
    println!("cargo::rustc-cfg=vosk_library");
    println!("cargo::rustc-link-search=native={}", out.display());
    let step = out.parent().and_then(Path::file_name).unwrap_or_default().to_string_lossy().into_owned();
    // The program, and its tests, examples and benches one folder further down.
    let places = ["../lib/zonecall".to_owned(), format!("build/{step}/out"), format!("../build/{step}/out")];
    for place in places {
        println!("cargo::rustc-link-arg=-Wl,-rpath,$ORIGIN/{place}");
    }
}

#[cfg(unix)]
fn put(from: &Path, to: &Path) -> std::io::Result<()> {
    std::os::unix::fs::symlink(from.canonicalize()?, to)
}

#[cfg(not(unix))]
fn put(from: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::copy(from, to).map(|_| ())
}
