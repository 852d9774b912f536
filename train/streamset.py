"""Writes whole recordings, as an exam is heard: calls with gaps between them, with pauses inside them, with hesitations,
in noise and in rooms, each with the table of what was said and when.

Takes: the grammar, voices, the parts that `fetch.py` lays down where a voice needs them. Gives: a folder with
`VOICE-KIND-CONDITION.wav`, beside each a `.tsv` (from_s, to_s, words; no words for talk), and `streams.tsv` (file, voice,
kind, condition). Never: reads a head. The same seed gives the same set.
"""
import argparse
import os
import random
import re
import zlib

import grammar
import noise
import numpy as np
import sentences
import spoken
import synth
import testset
from scipy.signal import fftconvolve

SEED = 20261128
RATE = synth.RATE
# Name, kind of noise, signal-to-noise ratio in dB, seconds of reverberation, gain in dB.
CONDITIONS = {"quiet": ("pink", 40, 0, 0), "pink10": ("pink", 10, 0, 0), "pink5": ("pink", 5, 0, 0),
    "babble10": ("babble", 10, 0, 0), "stable10": ("clippers", 10, .8, 0), "faint10": ("pink", 10, 0, -20)}
GAPS_S = {"gaps": (.4, 2.4), "pauses": (1.5, 2.4), "starts": (1.4, 2.4), "talk": (.8, 2.4),
    "alike": (.8, 2.4)}
PAUSES_S = [.2, .4, .6, .8, 1.0]
HESITATIONS = ["er", "um", "erm"]
# Said, and what is meant; a comma is where a speaker pauses.
STARTS = [("left, no, right fore", "right fore"), ("right, no, left fore", "left fore"),
    ("zone one, no, zone two bravo", "zone two bravo"), ("near, er, off fore", "off fore"),
    ("zone, zone three bravo", "zone three bravo"), ("area, er, area one point two", "area one point two"),
    ("super, superficial flexor normal", "superficial flexor normal"), ("gain, gain forty", "gain forty")]
# What would change how all that follows is heard: pauses, notes, the end; and zones that the usual schemes lack.
UNFIT = re.compile(r"listening|journal|record|\bnotes?\b|\bexam|scan\b|conclusion|comment|correction$|pastern|"
    r"four (alpha|bravo|charlie|[abc])\b")
CROWD = ["flite:kal", "flite:rms", "espeak:en-us+m3", "espeak:en-gb+f2", "espeak:en-us+f1", "espeak:en-gb-x-rp+m7"]


def say(who, text, parts, cache):
    """Samples of a voice `maker:voice`, kept by what was said."""
    maker, voice = who.split(":", 1)
    key = f"{cache}/{zlib.crc32(who.encode()):08x}-{zlib.crc32(text.encode()):08x}.npy"
    if not os.path.exists(key):
        os.makedirs(cache, exist_ok=True)
        np.save(key, testset.say(maker, voice, text, parts))
    return np.load(key)


def crowd(parts, cache):
    """Talk of six synthesisers one after the other: what babble is made of."""
    rng = random.Random(SEED)
    said = [say(who, text, parts, cache) for who in CROWD for text in rng.sample(spoken.TALK, 12)]
    rng.shuffle(said)
    return np.concatenate([noise.level(x) for x in said if len(x) > 1600])


def reverberant(x, seconds, chance):
    """A room heard from a metre away: the direct sound, then a tail as strong as it, after ISO 3382's decay of 60 dB."""
    n = int(seconds * RATE)
    tail = chance.standard_normal(n) * 10 ** (-3 * np.arange(n) / n)
    tail[: RATE // 200] = 0
    h = tail / np.sqrt(np.sum(tail ** 2))
    h[0] = 1
    return fftconvolve(x, h)[: len(x)].astype(np.float32)


def within(words, rng):
    """Two parts of one call, cut at a word that goes on."""
    at = rng.randrange(1, len(words))
    return words[:at], words[at:]


class Script:
    """What a voice says in one recording."""

    def __init__(self, who, parts, cache, seed):
        self.who, self.parts, self.cache = who, parts, cache
        self.rng = random.Random(seed)

    def voice(self, words):
        return self.text(spoken.spell(words, self.rng, pause=0, hesitate=0))

    def text(self, text):
        return noise.level(say(self.who, text, self.parts, self.cache))

    def pause(self, seconds):
        return np.zeros(int(seconds * RATE), np.float32)

    def gaps(self, words):
        return self.voice(words)

    def pauses(self, words):
        left, right = within(words, self.rng)
        return np.concatenate([self.voice(left), self.pause(self.rng.choice(PAUSES_S)), self.voice(right)])

    def hesitant(self, words):
        er, pause = self.text(self.rng.choice(HESITATIONS)), self.pause(self.rng.uniform(.1, .4))
        if len(words) < 2 or self.rng.random() < .5:
            return np.concatenate([er, pause, self.voice(words)])
        left, right = within(words, self.rng)
        return np.concatenate([self.voice(left), pause, er, pause, self.voice(right)])


def plain(words):
    return " ".join(word.removeprefix(grammar.LETTER) for word in words)


def texts(file):
    """The phrases of a file, one on a line, as words with letters marked."""
    named = lambda word: grammar.LETTER + word if len(word) == 1 and word in spoken.LETTERS else word
    with open(file, encoding="utf-8") as lines:
        return [[named(word) for word in line.split()] for line in lines if line.strip()]


def fit(draw):
    """The next words that `draw` gives and that can be heard in any exam."""
    while True:
        words = draw()
        if not UNFIT.search(plain(words)):
            return words


def pieces(script, kind, speaker, count, purpose, own):
    """Samples and truth of each thing said; `own` are phrases that are said in place of the grammar's."""
    draw = (lambda: script.rng.choice(own)) if own else (lambda: speaker.pick(1, purpose, testset.PARTS)[0][0])
    item = draw if own else speaker.item
    if kind == "gaps":
        for _ in range(count):
            words = fit(draw)
            yield script.gaps(words), plain(words)
    elif kind == "pauses":
        for _ in range(count):
            words = []
            while len(words) < 2 or plain(words) == "disregard that":
                words = fit(item)
            yield script.pauses(words), plain(words)
    elif kind == "starts":
        for n in range(count):
            if n % 2:
                said, meant = STARTS[n // 2 % len(STARTS)]
                yield np.concatenate([y for part in said.split(",")
                    for y in (script.text(part.strip()), script.pause(script.rng.uniform(.15, .4)))]), meant
            else:
                words = fit(draw)
                yield script.hesitant(words), plain(words)
    else:
        for _ in range(count):
            yield script.text(plain(script.rng.choice(own)) if own else script.rng.choice(spoken.TALK)), ""


def recording(script, kind, condition, said, chance, talk):
    """One recording, and its truth."""
    noise_kind, snr, room_s, gain_db = CONDITIONS[condition]
    sound, rows, at = [np.zeros(RATE, np.float32)], [], RATE
    for x, words in said:
        if len(x) < 1600:
            continue
        rows.append((at / RATE, (at + len(x)) / RATE, words))
        gap = script.pause(chance.uniform(*GAPS_S[kind]))
        sound += [x, gap]
        at += len(x) + len(gap)
    x = np.concatenate([*sound, np.zeros(RATE, np.float32)])
    if room_s:
        x = noise.level(reverberant(x, room_s, chance))
    n = {"pink": noise.pink, "clippers": noise.clippers}.get(noise_kind)
    around = n(len(x), chance) if n else noise.babble(len(x), chance, np.tile(talk, 1 + len(x) // len(talk) + 1), 6)
    return noise.mix(x, around, snr) * 10 ** (gain_db / 20), rows


def keep(out, script, name, kind, condition, said, seed, talk):
    """Writes one recording and its truth; its line for the table."""
    x, rows = recording(script, kind, condition, said, np.random.default_rng(seed), talk)
    file = f"{name}-{kind}-{condition}"
    synth.write_wav(f"{out}/{file}.wav", x)
    with open(f"{out}/{file}.tsv", "w", encoding="utf-8") as truth:
        truth.write("from_s\tto_s\twords\n")
        truth.writelines(f"{a:.3f}\t{b:.3f}\t{words}\n" for a, b, words in rows)
    return f"{file}.wav\t{name}\t{kind}\t{condition}\n"


def enter(out, lines):
    """Enters recordings into the folder's table."""
    with open(f"{out}/streams.tsv", "a" if os.path.exists(f"{out}/streams.tsv") else "w", encoding="utf-8") as table:
        if table.tell() == 0:
            table.write("file\tvoice\tkind\tcondition\n")
        table.writelines(lines)


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--out", default=".ear/stream")
    ask.add_argument("--cache", default=".ear/said")
    ask.add_argument("--grammar", default="grammars/en/exam.gram")
    ask.add_argument("--voices", required=True, help="name=maker:voice, with commas")
    ask.add_argument("--conditions", default="quiet,pink10,babble10,stable10,pink5")
    ask.add_argument("--kinds", default="gaps,pauses,starts,talk")
    ask.add_argument("--each", type=int, default=40, help="calls in a recording")
    ask.add_argument("--purpose", default="test")
    ask.add_argument("--texts", help="a file of phrases, said in place of the grammar's; of talk, with --kinds talk")
    ask = ask.parse_args()
    rules, parts = grammar.read(ask.grammar), {"folder": ask.parts}
    talk = crowd(parts, ask.cache)
    os.makedirs(ask.out, exist_ok=True)
    index = []
    for name, who in (voice.split("=", 1) for voice in ask.voices.split(",")):
        for kind in ask.kinds.split(","):
            seed = zlib.crc32(f"{SEED} {name} {kind}".encode())
            script, speaker = Script(who, parts, ask.cache, seed), sentences.Speaker(rules, seed)
            said = list(pieces(script, kind, speaker, ask.each, ask.purpose, ask.texts and texts(ask.texts)))
            for condition in ask.conditions.split(","):
                if kind != "gaps" and condition not in ("quiet", "pink10"):
                    continue
                index.append(keep(ask.out, script, name, kind, condition, said, seed, talk))
    enter(ask.out, index)


if __name__ == "__main__":
    main()
