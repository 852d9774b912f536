#!/usr/bin/env bash
# Whole recordings for `make bench-ear`, from synthesisers that apt installs, or with `tune` those for `make fit-ear`.
# Called by make; see train/README.md. STREAM_EACH is how many calls a recording holds, STREAM_VOICES which voices speak
# (NAME=MAKER:VOICE, with commas); those that tune are in `voices.toml`.
set -euo pipefail
cd "$(dirname "$0")/.."

out="${1:-.ear/stream}"
voices="${STREAM_VOICES:-awb=flite:awb,slt=flite:slt,scot=espeak:en-gb-scotland,slt-hts=festival:cmu_us_slt_arctic_hts}"
for tool in flite espeak-ng; do
    command -v "$tool" >/dev/null || { echo "streamset: \`$tool\` is missing; install it, then try again" >&2; exit 2; }
done
python="${EAR_PYTHON:-.ear/stream-venv/bin/python}"
if [ -z "${EAR_PYTHON:-}" ] && [ ! -f .ear/stream-venv/whole ]; then
    python3 -m venv .ear/stream-venv
    .ear/stream-venv/bin/pip install -q --disable-pip-version-check numpy==2.4.6 scipy==1.17.1
    touch .ear/stream-venv/whole
fi
rm -rf "$out"
export OMP_NUM_THREADS=1 PYTHONPATH=train
if [ "${2:-}" = tune ]; then
    "$python" train/tuneset.py --out "$out" --each "${STREAM_EACH:-60}"
else
    "$python" train/streamset.py --out "$out" --voices "$voices" --each "${STREAM_EACH:-25}"
fi
