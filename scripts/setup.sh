#!/bin/sh
# Prepares this checkout: tools, the speech engine and its model. Safe to run again; does nothing twice.
#
# ZONECALL_DEPS names another place for the built engine, so that several checkouts may share one.
set -eu

cd "$(dirname "$0")/.."
deps=${ZONECALL_DEPS:-$PWD/.deps}
rust_min_minor=88
engine=pocketsphinx
engine_version=5.1.1
engine_sha256=675778b309a22dfc9b7d37f7621976bba491d2a5f8c59696bd77fd6d07271355
stamp="$deps/$engine/$engine-$engine_version.done"

say() { echo "setup: $*"; }
fail() { echo "setup: $*" >&2; exit 2; }

check_rust() {
    command -v rustc >/dev/null 2>&1 && command -v cargo >/dev/null 2>&1 ||
        fail "rustc and cargo not found; install Rust 1.$rust_min_minor or newer with rustup, then run make setup again"
    minor=$(rustc --version | sed -n 's/^rustc 1\.\([0-9]*\)\..*/\1/p')
    [ -n "$minor" ] && [ "$minor" -ge "$rust_min_minor" ] ||
        fail "found $(rustc --version), wanted 1.$rust_min_minor or newer; run: rustup update stable"
}

# Prints the Debian packages whose commands are missing.
missing_packages() {
    command -v cmake >/dev/null 2>&1 || printf ' cmake'
    command -v make >/dev/null 2>&1 || printf ' make'
    command -v cc >/dev/null 2>&1 || printf ' gcc libc6-dev'
    command -v python3 >/dev/null 2>&1 || printf ' python3'
    python3 -c 'import ensurepip, venv' >/dev/null 2>&1 || printf ' python3-venv'
    command -v flite >/dev/null 2>&1 || printf ' flite'              # speaks in the tests
    command -v espeak-ng >/dev/null 2>&1 || printf ' espeak-ng'      # speaks in the tests
    command -v dciodvfy >/dev/null 2>&1 || printf ' dicom3tools'     # judges our DICOM in the tests
}

install_packages() {
    packages=$(missing_packages)
    [ -z "$packages" ] && return 0
    if command -v apt-get >/dev/null 2>&1; then
        as_root=none
        if [ "$(id -u)" = 0 ]; then as_root=
        elif command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then as_root='sudo -n'
        fi
        if [ "$as_root" != none ]; then
            say "installing$packages"
            $as_root apt-get update -qq
            # shellcheck disable=SC2086 # a list of words on purpose
            $as_root apt-get install -y --no-install-recommends $packages
            return 0
        fi
        fail "missing packages; run this, then make setup again: sudo apt-get install$packages"
    fi
    fail "missing; install these with your system's package manager, then run make setup again:$packages"
}

build_engine() {
    [ -f "$stamp" ] && return 0
    work="$deps/build"
    mkdir -p "$work"
    archive="$work/$engine-$engine_version.tar.gz"
    if ! echo "$engine_sha256  $archive" | sha256sum -c --status 2>/dev/null; then
        say "fetching $engine $engine_version (34 MB)"
        rm -f "$archive"
        [ -x "$work/venv/bin/pip" ] || python3 -m venv "$work/venv"
        "$work/venv/bin/pip" download --quiet --disable-pip-version-check --no-deps --no-binary "$engine" \
            "$engine==$engine_version" --dest "$work"
        echo "$engine_sha256  $archive" | sha256sum -c --status ||
            fail "$archive is not the file this program was tested with (wanted SHA-256 $engine_sha256); delete it and try again"
    fi
    say "building $engine $engine_version"
    rm -rf "$work/src" "$work/out"
    mkdir -p "$work/src" "$work/out"
    tar -xf "$archive" -C "$work/src" --strip-components 1
    cmake -S "$work/src" -B "$work/out" -DCMAKE_BUILD_TYPE=Release -DBUILD_SHARED_LIBS=OFF \
        -DCMAKE_POSITION_INDEPENDENT_CODE=ON >"$work/cmake.txt" 2>&1 ||
        fail "cmake failed; see $work/cmake.txt"
    cmake --build "$work/out" --parallel 2 --target pocketsphinx >"$work/make.txt" 2>&1 ||
        fail "the engine did not build; see $work/make.txt"
    mkdir -p "$deps/$engine/lib" "$deps/$engine/include" "$deps/$engine/model"
    cp "$work/out/libpocketsphinx.a" "$deps/$engine/lib/"
    cp -R "$work/src/include/." "$work/out/include/." "$deps/$engine/include/"
    rm -rf "$deps/$engine/model/en-us"
    cp -R "$work/src/model/en-us" "$deps/$engine/model/"
    rm -f "$deps/$engine/model/en-us/en-us.lm.bin" # a large language model that commands do not use
    cp "$work/src/LICENSE" "$deps/$engine/LICENSE"
    rm -rf "$work/src" "$work/out"
    : >"$stamp"
}

check_rust
install_packages
build_engine
say "ready"
