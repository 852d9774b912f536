#!/usr/bin/env bash
# The Debian package: everything that a box without a network needs, in one file.
# Grammars, protocols, references and fonts are inside the program itself; what an ear reads comes beside it.
set -euo pipefail
cd "$(dirname "$0")/.."

CARGO_DEB=3.6.2
# The release of the library in the neural ear, and its wheel for 64-bit Intel, whose notices are those of all machines.
RUNTIME=1.23.2
RUNTIME_SHA256=0f9b4ae77f8e3c9bee50c27bc1beede83f786fe1d52e99ac85aa8d65a01e9b77
deps="${ZONECALL_DEPS:-$PWD/.deps}"
bin="${CARGO_TARGET_DIR:-target}/release"
parts=out/deb

say() { printf 'deb: %s\n' "$*" >&2; }

need_cargo_deb() {
    [ -f "$deps/cargo-deb/built-$CARGO_DEB" ] && return 0
    say "building cargo-deb $CARGO_DEB, once"
    cargo install cargo-deb --quiet --locked --version "=$CARGO_DEB" --root "$deps/cargo-deb"
    touch "$deps/cargo-deb/built-$CARGO_DEB"
}

need_ear() {
    [ -f "$deps/ear/libonnxruntime.so" ] && return 0
    say "the neural ear has no parts for this kind of machine, so there is no package for it"
    exit 2
}

# ONNX Runtime contains work of others; the package of its own release carries their notices.
need_notices() {
    [ -f "$deps/onnxruntime/ThirdPartyNotices-$RUNTIME.txt" ] && return 0
    local work="$deps/build-notices"
    rm -rf "$work"
    mkdir -p "$work" "$deps/onnxruntime"
    say "fetching the third-party notices of ONNX Runtime $RUNTIME (17 MB)"
    "$deps/venv/bin/pip" download -q --disable-pip-version-check --no-deps --only-binary ":all:" --python-version 3.12 \
        --platform manylinux_2_28_x86_64 -d "$work" "onnxruntime==$RUNTIME"
    printf '%s  %s\n' "$RUNTIME_SHA256" "$(echo "$work"/*.whl)" | sha256sum --check --quiet || {
        say "the package onnxruntime is not the one that was pinned; nothing was unpacked"
        exit 2
    }
    "$deps/venv/bin/python" -m zipfile -e "$work"/*.whl "$work/wheel"
    cp "$work/wheel/onnxruntime/ThirdPartyNotices.txt" "$deps/onnxruntime/ThirdPartyNotices-$RUNTIME.txt"
    rm -rf "$work"
}

# Cargo.toml says where each of these goes.
gather() {
    rm -rf "$parts"
    mkdir -p "$parts/man" "$parts/complete" "$parts/ear" "$parts/lib"
    "$bin/zonecall" manual --into "$parts/man"
    gzip --best --no-name "$parts"/man/*
    "$bin/zonecall" completions bash >"$parts/complete/zonecall"
    "$bin/zonecall" completions zsh >"$parts/complete/_zonecall"
    "$bin/zonecall" completions fish >"$parts/complete/zonecall.fish"
    cp "$deps/ear/encoder_model.ort" "$deps/ear/libonnxruntime.so" "$parts/ear/"
    cp "$deps/vosk/libvosk.so" "$parts/lib/"
    cp -r "$deps/pocketsphinx/model" "$parts/model"
    cp "$deps/ear/LICENSE" "$parts/LICENSE.ear"
    cp "$deps/pocketsphinx/LICENSE" "$parts/LICENSE.pocketsphinx"
    gzip --best --no-name --stdout "$deps/onnxruntime/ThirdPartyNotices-$RUNTIME.txt" >"$parts/onnxruntime-notices.txt.gz"
    python3 scripts/crate_licences.py | gzip --best --no-name >"$parts/crates.txt.gz"
}

need_ear
need_notices
need_cargo_deb
say "building the program"
# With an example, as the tests are: without one cargo would build the typesetter once more, with fewer features.
cargo build --release --locked --quiet --bin zonecall --example fit_ear
gather
say "packing"
"$deps/cargo-deb/bin/cargo-deb" deb --no-build --strip --locked --quiet --output "$parts/" >/dev/null
ls -l "$parts"/*.deb
