#!/usr/bin/env bash
# The program for a small box: built without desk, archive, PDF, PocketSphinx and Vosk, and tried on the demo.
# `--timed` builds from nothing, in a folder of its own, and tells how long that took.
# Backquotes are quotes of the messages.
# shellcheck disable=SC2016
set -euo pipefail
cd "$(dirname "$0")/.."
export CARGO_TARGET_DIR="${CARGO_TARGET_DIR:-target}"
[ "${1:-}" != --timed ] || { CARGO_TARGET_DIR=$(mktemp -d) && trap 'rm -rf "$CARGO_TARGET_DIR"' EXIT; }
deps="${ZONECALL_DEPS:-$PWD/.deps}"
out=out/box

say() { printf 'box: %s\n' "$*" >&2; }
stop() { printf 'box: %s\n' "$*" >&2; exit 1; }

# Builds with the features "$1" and puts the program into out/box; no C library is lying about.
build() {
    local began=$SECONDS
    mkdir -p "$deps/none" "$out"
    ln -sfn "$deps/ear" "$deps/none/ear"
    ZONECALL_DEPS="$deps/none" cargo build --release --locked --quiet --no-default-features --features "$1" --bin zonecall
    cp "$CARGO_TARGET_DIR/release/zonecall" "$out/zonecall"
    strip "$out/zonecall"
    say "with the features \`$1\`: $(stat -c %s "$out/zonecall") bytes stripped, built in $((SECONDS - began)) s"
}

# The libraries that the program needs from the system, apart from those of every program, are "$1".
needs_only() {
    local found
    found=$(readelf -d "$out/zonecall" | sed -n 's/.*(NEEDED).*\[\(.*\)\]/\1/p' |
        grep -v -E '^(libc|libm|libgcc_s|libdl|libpthread|ld-linux.*)\.so' | paste -sd' ' || true)
    [ "$found" = "$1" ] || stop "it needs the libraries \`$found\`, wanted \`$1\`"
}

# The command "$@" of the program ends with 2, and says "$1".
refuses() {
    local wanted=$1 said
    shift
    if said=$("$out/zonecall" "$@" 2>&1); then stop "\`$*\` did its work, although it was left out"; fi
    grep -q -F -- "$wanted" <<<"$said" || stop "\`$*\` said: $said; wanted: $wanted"
}

rm -rf "$out"
build ""
needs_only ""
refuses "built without sound" listen --into "$out/live" --ear neural
build sound
needs_only libasound.so.2

say "hearing the demo"
"$out/zonecall" hear demo-audio/hind-limb.flac --into "$out/exam" --started-at 2026-05-04T10:00:00+02:00
"$out/zonecall" journal "$out/exam" --verify
wanted=$(wc -l <demo-audio/hind-limb.truth.jsonl)
found=$(grep -c '"kind":"call"' "$out/exam/exam.jsonl")
[ "$found" -eq "$wanted" ] || stop "heard $found calls, wanted $wanted"
"$out/zonecall" report "$out/exam" >/dev/null
"$out/zonecall" export "$out/exam" --as json --out "$out/record.json"
grep -q '"cautions"\|"coverage"' "$out/record.json" || stop "the record is empty"

say "what is left out says so"
refuses 'built without `review`' review "$out/exam"
refuses 'built without `file`' file "$out/exam" --archive "$out/archive.db"
refuses 'built without `history`' history juniper
refuses 'built without `find`' find --structure SDFT
refuses 'built without `encrypt`' encrypt "$out/exam" --encrypt-for age1example
refuses 'without reports as PDF' report "$out/exam" --format pdf
for ear in sphinx vosk; do
    refuses "built without the ear \`$ear\`" hear demo-audio/hind-limb.flac --into "$out/$ear" --ear "$ear"
done
say "the box does its work"
