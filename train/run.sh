#!/usr/bin/env bash
# The whole training: parts, speech, features, head, ONNX, measures. Called by `make train`; see train/README.md.
# EAR_SEEDS are the seeds: for each of them all speech and its features are made, the first one also starts the head.
# EAR_FAST, EAR_KOKORO, EAR_TUNE and EAR_EACH make it smaller; EAR_SECONDS="SPEECH FEATURES HEAD" ends each step in time.
# What is drawn hangs on the number of workers, too: EAR_JOBS, else the number of cores.
# EAR_PYTHON is a Python that has what `requirements.txt` says, EAR_PARTS a folder of parts: with both no network is needed.
set -euo pipefail
cd "$(dirname "$0")/.."

work="${EAR_WORK:-.ear}"
model="${EAR_MODEL:-models/en}"
read -r -a seeds <<<"${EAR_SEEDS:-2 1}"
jobs="${EAR_JOBS:-$(nproc)}"
parts="${EAR_PARTS:-$work/parts}"
read -r speech_s features_s head_s <<<"${EAR_SECONDS:-1e9 1e9 1e9}"
for tool in flite espeak-ng festival; do
    command -v "$tool" >/dev/null || { echo "train: \`$tool\` is missing; install it, then try again" >&2; exit 2; }
done
python="${EAR_PYTHON:-$work/venv/bin/python}"
if [ -z "${EAR_PYTHON:-}" ] && [ ! -f "$work/venv/whole" ]; then
    python3 -m venv "$work/venv"
    "$work/venv/bin/pip" install -q --disable-pip-version-check hatchling hatch-vcs -r train/requirements.txt
    touch "$work/venv/whole"
fi
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 PYTHONWARNINGS=ignore PYTHONUNBUFFERED=1
step() { printf 'train: %s, %s s\n' "$1" "$SECONDS" >&2; }

if [ ! -f "$parts/whole" ]; then
    command -v npm >/dev/null || { echo "train: \`npm\` is missing; install it, then try again" >&2; exit 2; }
    PATH="$(cd "$(dirname "$python")" && pwd):$PATH" "$python" train/fetch.py "$parts"
    touch "$parts/whole"
fi
step "parts are here"
for seed in "${seeds[@]}"; do
    "$python" train/utterances.py --parts "$parts" --out "$work/speech-$seed" --seed "$seed" --jobs "$jobs" \
        --fast "${EAR_FAST:-30000}" --kokoro "${EAR_KOKORO:-4000}" --tune "${EAR_TUNE:-400}" --seconds "$speech_s"
    step "speech $seed is made"
    "$python" train/features.py --parts "$parts" --speech "$work/speech-$seed" --out "$work/features" --seed "$seed" \
        --jobs "$jobs" --times 3 --times-neural 10 --seconds "$features_s"
done
step "features are made"
OMP_NUM_THREADS=$(nproc) "$python" train/train.py --features "$work/features" --out "$work/head.npz" --seed "${seeds[0]}" \
    --steps "${EAR_STEPS:-12000}" --seconds "$head_s"
step "the head is trained"
mkdir -p "$model"
[ -f "$model/lexicon.dict" ] || cp models/en/lexicon.dict "$model"
"$python" train/export.py "$work/head.npz" --encoder "$parts/encoder_model.ort" --out "$model" --version "${EAR_VERSION:-3}"
[ -f "$work/test/truth.tsv" ] || "$python" train/testset.py --parts "$parts" --out "$work/test" --each "${EAR_EACH:-150}"
[ -f "$work/test-talk/truth.tsv" ] ||
    "$python" train/testset.py --voices - --talk "${EAR_EACH:-150}" --actors "${EAR_ACTORS:-700}" --parts "$parts" --out "$work/test-talk"
[ -f "$work/tune/streams.tsv" ] || "$python" train/tuneset.py --parts "$parts" --out "$work/tune" --cache "$work/said" \
    --each "${EAR_EACH:-60}" --actors "${EAR_ACTORS:-120}"
step "test and tuning sets are made"
"$python" train/measure.py --parts "$parts" --model "$model" --test "$work/test"
step "all done"
