#!/usr/bin/env python3
"""Word error rate of the drafts that the program writes of free notes.

Each note is spoken by synthetic voices (espeak-ng and flite, which set-up installs) between "note" and "end note", heard with
a scripted ear that knows these words alone, and written down by `zonecall notes`. The rate is that of `jiwer` (insertions,
deletions and substitutions over the words said), with case, punctuation and figures' hyphens left out. Needs `pip install
jiwer==4.0.0` in an environment of your own:

    cargo build --release && python benches/notes.py target/release/zonecall
"""

import json
import pathlib
import random
import struct
import subprocess
import sys
import tempfile
import wave

import jiwer

RATE_HZ = 16_000
VOICES = [("espeak-ng", "en-gb"), ("espeak-ng", "en-us"), ("flite", "rms"), ("flite", "slt"), ("flite", "awb")]
FRAME = ("flite", "rms")
NOTES = [
    "there is a little swelling on the inside of the leg and the horse was lame last week",
    "the owner says that he was rested for six weeks and has been walking in hand since then",
    "this picture is not very good because he moved and I would like to see it again",
    "compared with the last scan the tendon looks better and the fibres run more evenly",
    "I recommend another four weeks of walking exercise and a new scan before any trotting",
    "core lesion in the superficial digital flexor tendon with mild enlargement and a loss of fibre pattern",
]
PLAIN = jiwer.Compose(
    [
        jiwer.ToLowerCase(),
        jiwer.SubstituteRegexes({r"[^a-z0-9' ]": " "}),
        jiwer.RemoveMultipleSpaces(),
        jiwer.Strip(),
        jiwer.ReduceToListOfListOfWords(),
    ]
)


def spoken(voice, text, folder):
    """The samples of a text, at the program's rate."""
    engine, name = voice
    path = folder / "spoken.wav"
    if engine == "flite":
        subprocess.run(["flite", "-voice", name, "-t", text, "-o", path], check=True)
    else:
        subprocess.run(["espeak-ng", "-v", name, "-w", path, text], check=True)
    with wave.open(str(path)) as file:
        rate, data = file.getframerate(), file.readframes(file.getnframes())
    samples = struct.unpack(f"<{len(data) // 2}h", data)
    step = rate / RATE_HZ
    at = [idx * step for idx in range(int(len(samples) / step))]
    return [between(samples, place) for place in at]


def between(samples, place):
    """The sample at a place between two."""
    left = int(place)
    right = min(left + 1, len(samples) - 1)
    return round(samples[left] + (samples[right] - samples[left]) * (place - left))


def room(seconds, rng):
    """A quiet room."""
    return [rng.randint(-8, 8) for _ in range(int(seconds * RATE_HZ))]


def heard(program, voice, text):
    """What the program writes down of a note, and how sure it is."""
    rng = random.Random(7)
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        sound, script = room(1, rng), []
        for words, said in [(["note"], "note"), ([], text), (["end", "note"], "end note")]:
            start = len(sound)
            # One voice frames all notes: what is judged is what stands between.
            sound += spoken(FRAME if words else voice, said, folder)
            step = (len(sound) - start) // max(1, len(words))
            script.append(
                {
                    "span": {"from": start, "to": len(sound)},
                    "words": [
                        {"text": word, "span": {"from": start + idx * step, "to": start + (idx + 1) * step}, "confidence": 0.97}
                        for idx, word in enumerate(words)
                    ],
                    "confidence": 0.97,
                    "score": 0.0,
                    "rejected": False,
                    "level_dbfs": -25.0,
                    "clipped": 0.0,
                }
            )
            sound += room(0.5, rng)
        with wave.open(str(folder / "sound.wav"), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(RATE_HZ)
            file.writeframes(struct.pack(f"<{len(sound)}h", *sound))
        (folder / "script.jsonl").write_text("".join(json.dumps(line) + "\n" for line in script))
        exam, record = folder / "exam", folder / "record.json"
        ear = ["--ear", "scripted", "--script", folder / "script.jsonl"]
        quiet = {"stdout": subprocess.DEVNULL, "check": True}
        subprocess.run([program, "hear", folder / "sound.wav", "--into", exam, "--started-at", "2026-05-04T10:00:00Z", *ear], **quiet)
        subprocess.run([program, "notes", exam], stdout=subprocess.DEVNULL, check=False)
        subprocess.run([program, "export", exam, "--as", "json", "--out", record], **quiet)
        words = json.loads(record.read_text())["notes"][0]["words"]
        return words["text"], words["confidence"], words.get("unsure", [])


def rate(said, drafts):
    """Word error rate over all of them."""
    return jiwer.wer(said, drafts, reference_transform=PLAIN, hypothesis_transform=PLAIN)


def main():
    """Prints each draft, and the rate of each voice and of all."""
    program = pathlib.Path(sys.argv[1]).resolve()
    all_said, all_drafts = [], []
    for voice in VOICES:
        drafts = [heard(program, voice, text) for text in NOTES]
        texts = [draft[0] for draft in drafts]
        for text, confidence, unsure in drafts:
            print(f"{' '.join(voice)}: {text} ({confidence:.2f}; not sure of {unsure})")
        print(f"{' '.join(voice)}: {100 * rate(NOTES, texts):.1f} % of {sum(len(note.split()) for note in NOTES)} words\n")
        all_said += NOTES
        all_drafts += texts
    print(f"all: {100 * rate(all_said, all_drafts):.1f} % of {sum(len(note.split()) for note in all_said)} words")


if __name__ == "__main__":
    main()
