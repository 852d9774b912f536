"""Gnuspeech: speech out of a model of the vocal tract, each time another throat.

Takes: text, a random source. Gives: samples as the synthesisers of `synth.py` do.
Needs: node, and the package that `fetch.py` unpacks into `gnuspeech/`.
"""
import json
import os

import synth
from running import Running

# Kind of voice: length of the tract in cm, pitch in semitones as the package counts it.
VOICES = {"male": (17.5, -12), "female": (15.0, 0), "large_child": (12.5, 2.5)}


class Gnuspeech(Running):
    """One process of node."""

    def __init__(self, parts):
        script = os.path.join(os.path.dirname(__file__), "articulatory.mjs")
        super().__init__(["node", script, f"{parts}/gnuspeech/package"], "done\n")

    def say(self, text, rng):
        voice = rng.choices(list(VOICES), [5, 4, 1])[0]
        length, pitch = VOICES[voice]
        path = synth.temporary()
        want = {"text": text, "path": path, "voice": voice, "tract_cm": round(length * rng.uniform(.9, 1.1), 2),
            "pitch": round(pitch + rng.uniform(-5, 5), 2), "breath": round(10 ** rng.uniform(-.5, .8), 2),
            "tempo": round(rng.uniform(.8, 1.25), 2), "tp": round(rng.uniform(30, 48), 1), "tn": round(rng.uniform(16, 40), 1),
            "radius": [round(rng.uniform(.88, 1.12), 3) for _ in range(8)], "drift": round(rng.uniform(.3, 1.5), 2)}
        self.ask(json.dumps(want) + "\n")
        return synth.taken(path)
