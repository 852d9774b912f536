"""Writes recordings of people's talk, none of which trained or tuned the ear: what it makes of them shows its false calls.

Takes: the parts that `fetch.py` lays down. Gives: a folder as `streamset.py` does. Never: reads a head. The same seed gives the
same set.
"""
import argparse
import glob
import os
import random

import noise
import numpy as np
import people
import streamset
import synth

SEED = 776
CONDITIONS = ["quiet", "pink10"]
PIECE_S = (2, 6)


def meetings(folder, count):
    """Pieces of meetings and of readings, one after the other."""
    rng, at = random.Random(SEED), 0
    talk = np.concatenate([noise.level(synth.read_wav(file)) for file in sorted(glob.glob(f"{folder}/*.wav"))])
    for _ in range(count):
        n = int(rng.uniform(*PIECE_S) * synth.RATE)
        if at + n <= len(talk):
            yield talk[at:at + n]
        at += n


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--out", default=".ear/talk")
    ask.add_argument("--meetings", type=int, default=48, help="pieces of meetings and readings")
    ask.add_argument("--actors", type=int, default=700, help="lines of a game by its actors")
    ask = ask.parse_args()
    said = {"meetings": meetings(f"{ask.parts}/talk/test", ask.meetings),
        "actors": people.actors(f"{ask.parts}/debian/queen.1c", False, ask.actors, SEED)}
    os.makedirs(ask.out, exist_ok=True)
    index = []
    for name, talk in said.items():
        talk = [(x, "") for x in talk]
        script = streamset.Script(None, {}, None, SEED)
        index += [streamset.keep(ask.out, script, name, "talk", condition, talk, SEED, None) for condition in CONDITIONS]
    streamset.enter(ask.out, index)


if __name__ == "__main__":
    main()
