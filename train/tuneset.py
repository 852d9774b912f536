"""Writes the set that the ear's trust is fitted on: the tune voices saying texts kept for tuning, and talk.

Takes: the grammar, `voices.toml`, the parts that `fetch.py` lays down. Gives: a folder with WAV files and `truth.tsv`
(file, voice, condition, words; no words for talk). Never: a test voice, a test text or test talk. The same seed gives
the same set. Talk of people: some of the pieces that the head's training used as well, announcers, and actors of a game.
"""
import argparse
import glob
import os
import random
import tomllib

import grammar
import noise
import numpy as np
import people
import sentences
import spoken
import synth
import testset

SEED = 4242
TALK_CONDITIONS = {"quiet", "pink10", "babble10"}
TALK_PIECES = 40  # of people, 1 to 5 seconds
# One announcement of so many, by language. The English ones are no talk: "saved", "two", "for a" are words of the language
# said as clearly as a call; with them among what is no call, clear single calls were asked about.
ANNOUNCEMENTS = {"fr": 8, "it": 8, "ru": 8}


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--out", default=".ear/tune")
    ask.add_argument("--grammar", default="grammars/en/exam.gram")
    ask.add_argument("--each", type=int, default=80, help="utterances for each voice")
    ask.add_argument("--actors", type=int, default=400, help="lines of a game by its actors")
    ask.add_argument("--makers", default="flite,espeak,kokoro")
    ask = ask.parse_args()
    voices = tomllib.load(open(os.path.join(os.path.dirname(__file__), "voices.toml"), "rb"))["tune"]
    meetings = [noise.level(synth.read_wav(f)) for f in sorted(glob.glob(f"{ask.parts}/talk/train/*.wav"))]
    crowd, rules, parts = np.concatenate(meetings), grammar.read(ask.grammar), {"folder": ask.parts}
    os.makedirs(ask.out, exist_ok=True)
    truth = open(f"{ask.out}/truth.tsv", "w", encoding="utf-8")
    truth.write("file\tvoice\tcondition\twords\n")

    def keep(name, voice, x, words, chance, only=None):
        x = np.pad(noise.level(x), (testset.LEAD, testset.TAIL))
        for condition, kind, snr in testset.CONDITIONS:
            if only and condition not in only:
                continue
            n = noise.pink(len(x), chance) if kind == "pink" else noise.babble(len(x), chance, crowd, 6)
            file = f"{name}-{condition}.wav"
            synth.write_wav(f"{ask.out}/{file}", noise.mix(x, n, snr))
            truth.write(f"{file}\t{voice}\t{condition}\t{words}\n")

    todo = [(maker, voice) for maker in ask.makers.split(",") for voice in voices[maker]]
    for number, (maker, voice) in enumerate(todo):
        rng, chance = random.Random(SEED + number), np.random.default_rng(SEED + number)
        texts = sentences.Speaker(rules, SEED + number).pick(ask.each, "tune", testset.PARTS)
        for i, (words, _) in enumerate(texts):
            x = testset.say(maker, voice, spoken.spell(words, rng, hesitate=0), parts)
            if len(x) >= 1600:
                plain = " ".join(word.removeprefix(grammar.LETTER) for word in words)
                keep(f"{number}-{i:03d}", voice, x, plain, chance)
        for i in range(ask.each // 4):
            x = testset.say(maker, voice, rng.choice(spoken.TALK), parts)
            if len(x) >= 1600:
                keep(f"{number}-t{i:03d}", f"{voice} talk", x, "", chance, TALK_CONDITIONS)
        truth.flush()
    rng, chance = random.Random(SEED), np.random.default_rng(SEED)
    for i in range(TALK_PIECES):
        n = int(rng.uniform(1, 5) * synth.RATE)
        at = rng.randrange(len(crowd) - n)
        keep(f"p-{i:03d}", "people", crowd[at:at + n], "", chance, TALK_CONDITIONS)
    for language, every in ANNOUNCEMENTS.items():
        for i, x in enumerate(people.announcements(f"{ask.parts}/debian/{language}", every)):
            keep(f"a-{language}{i:03d}", f"announcer {language}", x, "", chance, TALK_CONDITIONS)
    for i, x in enumerate(people.actors(f"{ask.parts}/debian/queen.1c", True, ask.actors, SEED)):
        keep(f"g-{i:03d}", "actors", x, "", chance, TALK_CONDITIONS)
    truth.close()


if __name__ == "__main__":
    main()
