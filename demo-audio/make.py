#!/usr/bin/env python3
"""Makes the demo exams from their scenarios: NAME.txt -> NAME.flac, NAME.stills.csv, NAME.truth.jsonl, NAME.spoken.tsv.

Speech is synthetic. Needs flite, espeak-ng and sox. Equal scenarios give equal audio samples.
A scenario line is `gap|voice|words|mark`: seconds of silence before it, `vet` or `other`, what is said, and
`still LABEL AREA LESION` if a still is saved with it (square centimetres of the tendon and of the dark part in it,
both may be left out), `silent-still` if one is saved that nobody calls (its words are empty). `talk` marks words
that are no call.

`make.py` alone makes the demo; `make.py VOICE FOLDER` makes the same exams there with another flite voice for
the vet. The line `# horse: NAME, BREED, SEX, NEUTERED` says whose stills they are (DICOM's words).
"""
import array
import json
import pathlib
import random
import subprocess
import sys
import tempfile
import wave

import truth

RATE = 16_000
VOICES = {"vet": ["flite", "-voice", "rms"], "other": ["espeak-ng", "-v", "en-gb", "-s", "160"]}
NOISE = 9.0      # room noise, standard deviation in 16-bit steps before smoothing
SPEECH = 9_000   # peak of speech, in 16-bit steps
DELAYS = [0.3, 0.8, 0.5, 1.1, 0.4, 0.7, 0.9, 0.6]  # seconds from the word to the button


def speak(voice, words, folder):
    raw, ready = folder / "raw.wav", folder / "ready.wav"
    if voice == "vet":
        subprocess.run([*VOICES[voice], "-t", words, "-o", raw], check=True)
    else:
        subprocess.run([*VOICES[voice], "-w", raw, words], check=True)
    subprocess.run(["sox", "-D", raw, "-r", str(RATE), "-c", "1", "-b", "16", ready, "gain", "-n", "-3"], check=True)
    with wave.open(str(ready)) as file:
        samples = array.array("h", file.readframes(file.getnframes()))
    peak = max(map(abs, samples)) or 1
    level = SPEECH if voice == "vet" else SPEECH * 0.6
    return [sample * level / peak for sample in samples]


def edges(samples):
    """Seconds at which speech begins and ends: above a hundredth of its peak."""
    loudest = max(map(abs, samples))
    loud = [i for i, sample in enumerate(samples) if abs(sample) > loudest / 100]
    return loud[0] / RATE, (loud[-1] + 1) / RATE


def make(scenario, into):
    chance = random.Random(scenario.stem)
    sound, stills, spoken, horse = [], [], ["from_s\tto_s\twords"], ""
    with tempfile.TemporaryDirectory() as folder:
        for line in scenario.read_text().splitlines():
            if line.startswith("# horse:"):
                horse = ",".join(part.strip() for part in line.removeprefix("# horse:").split(","))
            if not line.strip() or line.startswith("#"):
                continue
            gap, voice, words, mark = (part.strip() for part in line.split("|"))
            sound += [0.0] * int(float(gap) * RATE)
            begin = len(sound) / RATE
            if words:
                speech = speak(voice, words, pathlib.Path(folder))
                first, last = edges(speech)
                said = words if voice == "vet" and mark != "talk" else ""
                spoken.append(f"{begin + first:.3f}\t{begin + last:.3f}\t{said}")
                sound += speech
            if mark.startswith(("still", "silent-still")):
                parts = mark.split()[1:] + [""] * 5
                label, sizes = " ".join(parts[:3]).strip(), parts[3:5]
                stills.append((round(begin + DELAYS[len(stills) % len(DELAYS)], 3), label, *sizes))
    sound += [0.0] * RATE
    low, out = 0.0, array.array("h")
    for sample in sound:
        low = 0.9 * low + chance.gauss(0, NOISE)
        out.append(int(max(-32_768, min(32_767, sample + low))))
    target = into / f"{scenario.stem}.flac"
    with tempfile.TemporaryDirectory() as folder:
        plain = pathlib.Path(folder) / "plain.wav"
        with wave.open(str(plain), "wb") as file:
            file.setparams((1, 2, RATE, 0, "NONE", ""))
            file.writeframes(out.tobytes())
        subprocess.run(["sox", "-D", plain, target], check=True)
    rows = ["exam_s,label,area_cm2,lesion_cm2,horse,breed,sex,neutered"]
    rows += [",".join(map(str, [*still, horse])) for still in stills]
    target.with_suffix(".stills.csv").write_text("\n".join(rows) + "\n")
    target.with_suffix(".spoken.tsv").write_text("\n".join(spoken) + "\n")
    calls = truth.calls(scenario.read_text())
    target.with_suffix(".truth.jsonl").write_text("".join(json.dumps(call) + "\n" for call in calls))
    print(f"{target.name}: {len(out) / RATE:.0f} s, {len(stills)} stills")


here = pathlib.Path(__file__).parent
into = here
if len(sys.argv) == 3:
    VOICES["vet"] = ["flite", "-voice", sys.argv[1]]
    into = pathlib.Path(sys.argv[2])
    into.mkdir(parents=True, exist_ok=True)
elif len(sys.argv) != 1:
    sys.exit("usage: make.py [VOICE FOLDER]")
for scenario in sorted(here.glob("*.txt")):
    make(scenario, into)
