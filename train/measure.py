"""Measures a head on its own, without the grammar's help: phone errors on the test set, and which digit people said.

Takes: the head, the encoder, a test set of `testset.py`; optionally a folder of digits spoken by people
(`DIGIT_SPEAKER_TAKE.wav`). Gives: tables. The judge of words and calls is the bench of the program, not this.
"""
import argparse
import collections
import glob
import itertools
import json
import os

import numpy as np

import features
import grammar
import lexicon
import noise
import synth
from judge import best_path, distance

DIGITS = "zero one two three four five six seven eight nine".split()


def forward(log_probs, rows):
    """For each row of units the natural log of its chance, over all alignments (CTC's forward sum), all rows at once."""
    paths = [[0] + [u for unit in row for u in (unit, 0)] for row in rows]
    longest = max(map(len, paths))
    path = np.array([p + [0] * (longest - len(p)) for p in paths])
    skip = np.zeros(path.shape, bool)
    skip[:, 2:] = (path[:, 2:] != 0) & (path[:, 2:] != path[:, :-2])
    score = np.full(path.shape, -np.inf)
    score[:, 0], score[:, 1] = log_probs[0, 0], log_probs[0, path[:, 1]]
    none = np.full((len(path), 2), -np.inf)
    for row in log_probs[1:]:
        one = np.hstack([none[:, :1], score[:, :-1]])
        two = np.where(skip, np.hstack([none, score[:, :-2]]), -np.inf)
        score = np.logaddexp(np.logaddexp(score, one), two) + row[path]
    ends = np.array([len(p) for p in paths])
    here = np.arange(len(path))
    return np.logaddexp(score[here, ends - 1], score[here, ends - 2])


class Ear:
    def __init__(self, parts, model):
        self.encode, self.head = features.Encoder(f"{parts}/encoder_model.ort"), synth.session(f"{model}/head.onnx")
        self.units = json.load(open(f"{model}/head.json"))["units"]

    def hear(self, x):
        return self.head.run(None, {"features": self.encode(x)[None]})[0][0]


def test_set(ear, folder, table, every):
    wrong = collections.Counter()
    total = collections.Counter()
    number = {u: i for i, u in enumerate(ear.units)}
    lines = open(f"{folder}/truth.tsv", encoding="utf-8").read().splitlines()[1:]
    for line in lines:
        file, voice, condition, words = line.split("\t")
        if int(file.split("-")[-2]) % every:
            continue
        heard = [u for u in best_path(ear.hear(synth.read_wav(f"{folder}/{file}")).argmax(-1)) if u != lexicon.OTHER]
        # "a" may be the letter or the article: the better of the two counts.
        best = None
        for a in ("letter:a", "a"):
            truth = [number[p] for w in words.split() for p in table[a if w == "a" else w]]
            d = distance(truth, heard)
            best = (d, len(truth)) if best is None or d < best[0] else best
        for key in ((voice, condition), ("all", condition)):
            wrong[key] += best[0]
            total[key] += best[1]
    conditions = list(dict.fromkeys(c for _, c in total))
    print("| phone errors, best path, no grammar | " + " | ".join(conditions) + " |")
    print("|---|" + "---|" * len(conditions))
    for voice in dict.fromkeys(v for v, _ in total):
        print(f"| {voice} | " + " | ".join(f"{100 * wrong[voice, c] / total[voice, c]:.1f} %" for c in conditions) + " |")


def digits(ear, folder, table):
    """Which of ten was said, and which row of three of a thousand; "oh" is a zero, too."""
    number = {u: i for i, u in enumerate(ear.units)}
    spelled = [[number[p] for p in table[w]] for w in [*DIGITS, "oh"]]

    def likeliest(x, count):
        said = list(itertools.product(range(len(spelled)), repeat=count))
        scores = forward(ear.hear(x), [[u for d in row for u in spelled[d]] for row in said])
        sums = collections.defaultdict(lambda: -np.inf)
        for row, score in zip(said, scores):
            key = tuple(d % len(DIGITS) for d in row)
            sums[key] = np.logaddexp(sums[key], score)
        return max(sums, key=sums.get)

    takes = collections.defaultdict(list)
    for file in sorted(glob.glob(f"{folder}/*.wav")):
        truth, speaker, _ = os.path.basename(file).split("_")
        takes[speaker].append((int(truth), noise.level(synth.read_wav(file))))
    for what, count in (("digits", 1), ("rows of three digits", 3)):
        print(f"| {what} said by people | 40 dB | 15 dB | 10 dB |\n|---|---|---|---|")
        rows = collections.defaultdict(list)
        for number, (speaker, said) in enumerate(takes.items()):
            rng = np.random.default_rng([number, count])
            # Each take once; for rows of three in chance order, a fifth of a second apart.
            order = range(len(said)) if count == 1 else rng.permutation(len(said))[: len(said) // 3 * 3]
            for group in np.array(order).reshape(-1, count):
                gap = np.zeros(synth.RATE // 5)
                x = np.concatenate([part for i in group for part in (said[i][1], gap)])
                x = np.pad(x, (6400, 6400))
                for snr in (40, 15, 10):
                    noisy = noise.mix(x, noise.pink(len(x), rng), snr)
                    right = likeliest(noisy, count) == tuple(said[i][0] for i in group)
                    for who in (speaker, "all"):
                        rows[who, snr].append(right)
        for who in dict.fromkeys(w for w, _ in rows):
            shares = " | ".join(f"{100 * np.mean(rows[who, s]):.1f} %" for s in (40, 15, 10))
            print(f"| {who} ({len(rows[who, 40])}) | {shares} |")


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--model", default="models/en")
    ask.add_argument("--test", default=".ear/test")
    ask.add_argument("--grammar", default="grammars/en/exam.gram")
    ask.add_argument("--digits", help="folder of digits said by people")
    ask.add_argument("--every", type=int, default=1, help="only each n-th utterance")
    ask = ask.parse_args()
    ear = Ear(ask.parts, ask.model)
    table = lexicon.read(f"{ask.model}/lexicon.dict", grammar.words(grammar.read(ask.grammar)))
    if ask.digits:
        digits(ear, ask.digits, table)
    if ask.test:
        test_set(ear, ask.test, table, ask.every)


if __name__ == "__main__":
    main()
