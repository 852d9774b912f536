//! Links PocketSphinx, which `make setup` builds into `.deps/` (or the folder in `ZONECALL_DEPS`).

use std::path::PathBuf;

fn main() {
    println!("cargo::rerun-if-env-changed=ZONECALL_DEPS");
    let root = PathBuf::from(std::env::var_os("CARGO_MANIFEST_DIR").unwrap_or_default());
    let deps = std::env::var_os("ZONECALL_DEPS").map_or_else(|| root.join(".deps"), PathBuf::from);
    let home = deps.join("pocketsphinx");
    println!("cargo::rerun-if-changed={}", home.join("lib").display());
    if !home.join("lib/libpocketsphinx.a").is_file() {
        println!(
            "cargo::error=PocketSphinx is not built yet; run `make setup` once (it builds it into .deps/)"
        );
        return;
    }
    println!("cargo::rustc-link-search=native={}", home.join("lib").display());
    println!("cargo::rustc-link-lib=static=pocketsphinx");
    println!("cargo::rustc-link-lib=m");
    println!("cargo::rustc-env=ZONECALL_BUILT_MODEL={}", home.join("model").display());
    // The neural ear is loaded when it listens, so its parts need not be there yet.
    println!("cargo::rustc-env=ZONECALL_BUILT_EAR={}", deps.join("ear").display());
    println!("cargo::rustc-env=ZONECALL_BUILT_VOSK={}", deps.join("vosk").display());
    println!("cargo::rustc-env=ZONECALL_BUILT_HEAD={}", root.join("models").display());
}
