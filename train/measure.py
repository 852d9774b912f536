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

import features
import grammar
import lexicon
import noise
import numpy as np
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
        self.whole = os.path.exists(f"{model}/ear.onnx")
        self.head = synth.session(f"{model}/ear.onnx" if self.whole else f"{model}/head.onnx")
        self.encode = None if self.whole else features.Encoder(f"{parts}/encoder_model.ort")
        self.units = json.load(open(f"{model}/head.json"))["units"]

    def hear(self, x):
        takes = {"samples": x[None].astype(np.float32)} if self.whole else {"features": self.encode(x)[None]}
        return self.head.run(None, takes)[0][0]


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
        for row, score in zip(said, scores, strict=True):
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


SINGLE = {**{str(n): w for n, w in enumerate("zero one two three four five six seven eight nine ten eleven twelve thirteen "
    "fourteen fifteen sixteen seventeen eighteen nineteen".split())}, **{str(10 * n): w for n, w in
    enumerate("twenty thirty forty fifty sixty seventy eighty ninety".split(), 2)}, "100": "hundred"}


def spoken_number(n):
    """The files that say a number from 0 to 199, one after the other."""
    if n >= 100:
        return ["1", "100", *(spoken_number(n - 100) if n > 100 else [])]
    return [str(n)] if str(n) in SINGLE else [str(n // 10 * 10), str(n % 10)]


def announcer(ear, folder, table):
    """A person's recorded words: which word it was, of all words of the language; and numbers put together from them."""
    number = {u: i for i, u in enumerate(ear.units)}
    read = lambda name: noise.level(synth.read_wav(f"{folder}/{name}.wav"))
    said = {SINGLE[n]: f"digits/{n if n != '100' else 'hundred'}" for n in SINGLE} | {"oh": "digits/oh"}
    letters = "alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo " \
        "sierra tango uniform victor whiskey x-ray yankee zulu".split()
    said |= {w: f"phonetic/{w[0]}_p" for w in letters if w in table}
    words = [w for w in table if not w.startswith(grammar.LETTER)]
    spelled = [[number[p] for p in table[w]] for w in words]
    rows = [[u for part in spoken_number(n) for u in (number[p] for p in table[SINGLE[part]])] for n in range(200)]
    print("| one person's recordings | 40 dB | 15 dB | 10 dB |\n|---|---|---|---|")
    rng = np.random.default_rng(5)
    alike = lambda a, b: [number[p] for p in table[a]] == [number[p] for p in table[b]]

    def table_row(name, cases, right):
        shares = [np.mean([right(truth, ear.hear(noise.mix(x, noise.pink(len(x), rng), snr))) for truth, x in cases]) for snr in (40, 15, 10)]
        print(f"| {name} ({len(cases)}) | " + " | ".join(f"{100 * share:.1f} %" for share in shares) + " |", flush=True)

    wide = lambda x: np.pad(x, (6400, 6400))
    gap = np.zeros(synth.RATE // 20)
    cases = [(w, wide(read(file))) for w, file in said.items()]
    table_row(f"words, of {len(words)}", cases, lambda truth, h: alike(words[int(np.argmax(forward(h, spelled)))], truth))
    join = lambda n: wide(np.concatenate([y for part in spoken_number(n) for y in (read(said[SINGLE[part]]), gap)]))
    table_row("numbers 0 to 199, put together", [(n, join(n)) for n in range(200)], lambda truth, h: int(np.argmax(forward(h, rows))) == truth)


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--model", default="models/en")
    ask.add_argument("--test", default=".ear/test")
    ask.add_argument("--grammar", default="grammars/en/exam.gram")
    ask.add_argument("--digits", help="folder of digits said by people")
    ask.add_argument("--announcer", help="folder of Debian's `asterisk-core-sounds-en-wav`")
    ask.add_argument("--every", type=int, default=1, help="only each n-th utterance")
    ask = ask.parse_args()
    ear = Ear(ask.parts, ask.model)
    table = lexicon.read(f"{ask.model}/lexicon.dict", grammar.words(grammar.read(ask.grammar)))
    if ask.digits:
        digits(ear, ask.digits, table)
    if ask.announcer:
        announcer(ear, ask.announcer, table)
    if ask.test:
        test_set(ear, ask.test, table, ask.every)


if __name__ == "__main__":
    main()
