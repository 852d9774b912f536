#!/usr/bin/env bash
# The main job on real audio, step by step: a spoken exam of both fore limbs is heard, paired and checked.
set -euo pipefail
cd "$(dirname "$0")/.."
START=2026-05-04T10:00:00+02:00
out=out/demo

step() { printf '\n== %s\n' "$*"; }

step "building what the demo needs (the first time takes minutes)"
cargo build --release --locked --quiet --no-default-features --features tools --bin zonecall --bin demo_stills
bin="${CARGO_TARGET_DIR:-target}/release"
rm -rf "$out"
mkdir -p "$out"

step "making the demo's stills: 23 DICOM pictures on a scanner whose clock is 197 s behind"
"$bin/demo_stills" demo-audio/fore-limbs.stills.csv "$out/scanner" "$START"

step "hearing demo-audio/fore-limbs.flac (3 min 59 s of synthetic speech)"
"$bin/zonecall" hear demo-audio/fore-limbs.flac --into "$out/exam" --horse Juniper --started-at "$START"

step "pairing the stills with what was said"
"$bin/zonecall" pair "$out/exam" --frames "$out/scanner" || [ $? = 1 ]

step "checking the exam: what is missing, what needs a look"
"$bin/zonecall" check "$out/exam" || [ $? = 1 ]

step "what the numbers say"
"$bin/zonecall" measure "$out/exam" || [ $? = 1 ]

step "writing the record and the report"
"$bin/zonecall" report "$out/exam"
"$bin/zonecall" export "$out/exam" --as json --out "$out/exam/out/record.json"
printf 'journal: %s\naudio:   %s\nrecord:  %s\n' "$out/exam/exam.jsonl" "$out/exam/audio/0001.wav" "$out/exam/out/record.json"
