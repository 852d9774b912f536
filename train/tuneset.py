"""Writes the recordings that the ear's trust is fitted on: calls and talk near them by the tuning voices, and talk of people.

Takes: `voices.toml`, `unseen.txt` (what vets say, by writers whose phrases are in no training and no count of usage),
`near.txt` (talk about what calls are about), `alike.txt` (words by themselves that sound like calls), the parts that
`fetch.py` lays down where a voice or people's talk needs them.
Gives: a folder as `streamset.py` does. Never: a test voice or test talk; reads a head. The same seed gives the same set.
"""
import argparse
import glob
import os
import random
import tomllib
import zlib

import noise
import people
import streamset
import synth

SEED = 4242
CONDITIONS = ["quiet", "pink10", "babble10", "stable10", "pink5"]
TALK_CONDITIONS = ["quiet", "pink10"]
MEETING_PIECES = 40  # 1 to 5 seconds each
# One announcement of so many, by language. The English ones are no talk: "saved", "two", "for a" are words of the language
# said as clearly as a call; with them among what is no call, clear single calls were asked about.
ANNOUNCEMENTS = {"fr": 8, "it": 8, "ru": 8}


def of_people(parts, actors):
    """Talk of people, who were in training or speak other languages or play in a game, as far as the parts are there."""
    rng, pieces = random.Random(SEED), []
    meetings = [noise.level(synth.read_wav(f)) for f in sorted(glob.glob(f"{parts}/talk/train/*.wav"))]
    for _ in range(MEETING_PIECES if meetings else 0):
        x, n = rng.choice(meetings), int(rng.uniform(1, 5) * synth.RATE)
        at = rng.randrange(max(1, len(x) - n))
        pieces.append(("meetings", x[at:at + n]))
    for language, every in ANNOUNCEMENTS.items():
        pieces += [("announcers", x) for x in people.announcements(f"{parts}/debian/{language}", every)]
    game = f"{parts}/debian/queen.1c"
    pieces += [("actors", x) for x in people.actors(game, True, actors, SEED)] if os.path.exists(game) else []
    return pieces


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--out", default=".ear/tune")
    ask.add_argument("--cache", default=".ear/said")
    ask.add_argument("--each", type=int, default=60, help="calls of each voice, as many pieces of talk and half as many words")
    ask.add_argument("--actors", type=int, default=120, help="lines of a game by its actors")
    ask = ask.parse_args()
    here = os.path.dirname(os.path.abspath(__file__))
    voices = tomllib.load(open(f"{here}/voices.toml", "rb"))["tune"]
    if not os.path.isdir(f"{ask.parts}/kokoro"):
        voices.pop("kokoro", None)
    calls, near, alike = (streamset.texts(f"{here}/{file}.txt") for file in ("unseen", "near", "alike"))
    kinds = [("gaps", calls, CONDITIONS), ("talk", near, TALK_CONDITIONS), ("alike", alike, TALK_CONDITIONS)]
    parts, index = {"folder": ask.parts}, []
    talk = streamset.crowd(parts, ask.cache)
    os.makedirs(ask.out, exist_ok=True)
    for maker, voice in [(maker, voice) for maker, names in voices.items() for voice in names]:
        name = voice.replace("-", "")
        for kind, texts, conditions in kinds:
            seed = zlib.crc32(f"{SEED} {name} {kind}".encode())
            script = streamset.Script(f"{maker}:{voice}", parts, ask.cache, seed)
            said = list(streamset.pieces(script, kind, None, ask.each // (1 + (kind == "alike")), "tune", texts))
            for condition in conditions:
                index.append(streamset.keep(ask.out, script, name, kind, condition, said, seed, talk))
    pieces = of_people(ask.parts, ask.actors)
    for name in sorted({who for who, _ in pieces}):
        said, script = [(x, "") for who, x in pieces if who == name], streamset.Script(None, parts, ask.cache, SEED)
        for condition in TALK_CONDITIONS:
            index.append(streamset.keep(ask.out, script, name, "talk", condition, said, SEED, talk))
    streamset.enter(ask.out, index)


if __name__ == "__main__":
    main()
