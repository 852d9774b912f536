#!/usr/bin/env bash
# The whole training: parts, speech, features, head, ONNX, measures. Called by `make train`; see train/README.md.
# Sizes are the ones of the committed head; EAR_FAST, EAR_KOKORO and EAR_SECONDS make it smaller.
set -euo pipefail
cd "$(dirname "$0")/.."

work="${EAR_WORK:-.ear}"
seed="${EAR_SEED:-1}"
for tool in flite espeak-ng festival npm; do
    command -v "$tool" >/dev/null || { echo "train: \`$tool\` is missing; install it, then try again" >&2; exit 2; }
done
if [ ! -x "$work/venv/bin/python" ]; then
    python3 -m venv "$work/venv"
    "$work/venv/bin/pip" install -q --disable-pip-version-check hatchling hatch-vcs -r train/requirements.txt
fi
python="$work/venv/bin/python"
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 PYTHONWARNINGS=ignore

PATH="$PWD/$work/venv/bin:$PATH" "$python" train/fetch.py "$work/parts"
"$python" train/utterances.py --parts "$work/parts" --out "$work/speech" --seed "$seed" \
    --fast "${EAR_FAST:-30000}" --kokoro "${EAR_KOKORO:-1400}" --tune 400
"$python" train/features.py --parts "$work/parts" --speech "$work/speech" --out "$work/features" --seed "$seed" \
    --times 3 --times-neural 12
OMP_NUM_THREADS=$(nproc) "$python" train/train.py --features "$work/features" --out "$work/head.npz" --seed "$seed" \
    --steps 15500 --seconds "${EAR_SECONDS:-1e9}"
"$python" train/export.py "$work/head.npz" --encoder "$work/parts/encoder_model.ort"
[ -f "$work/test/truth.tsv" ] || "$python" train/testset.py --parts "$work/parts" --out "$work/test"
[ -f "$work/test-talk/truth.tsv" ] || "$python" train/testset.py --voices - --talk 150 --parts "$work/parts" --out "$work/test-talk"
[ -f "$work/tune/truth.tsv" ] || "$python" train/testset.py --purpose tune --each 60 --talk 120 --parts "$work/parts" --out "$work/tune"
"$python" train/measure.py --parts "$work/parts" --test "$work/test"
