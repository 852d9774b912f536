"""Puts the speech into rooms, noise and bad microphones, and keeps what the frozen encoder makes of it.

Takes: shards of `utterances.py`, human talk for negatives, the encoder. Gives: shards `f-NAME.npy` (16-bit floats,
frames × 288, end to end) and `f-NAME.json` (a row for each: frames, words or null, count of other words before and
after, group, kind).
"""
import argparse
import glob
import json
import multiprocessing
import os
import time

import noise
import numpy as np
import synth

LONGEST = 9.5  # seconds
OTHER_WORDS_PER_S = 2.3
JOINED_SHARE = .25  # of calls are followed by another one


class Encoder:
    def __init__(self, path):
        self.session = synth.session(path)

    def __call__(self, x):
        x = x.astype(np.float32)[None]
        return self.session.run(None, {"input_values": x, "attention_mask": np.ones(x.shape, np.int64)})[0][0]


class Room:
    """Changes and surrounds one utterance at a time."""

    def __init__(self, rng, human, synthetic):
        self.rng, self.human, self.synthetic = rng, human, synthetic
        self.crowd = np.concatenate([human] + [noise.level(x) for x, _ in synthetic])

    def voice(self, x):
        rng = self.rng
        if rng.random() < .5:
            x = noise.tempo(x, rng.uniform(.86, 1.17))
        if rng.random() < .5:
            x = noise.microphone(x, rng)
        if rng.random() < .4:
            x = noise.room(x, rng)
        return noise.level(x)

    def hear(self, x, quietest=0):
        """Noise, gain, clipping and codec over everything."""
        rng, n, kind = self.rng, len(x), self.rng.random()
        if kind < .15:
            x = noise.mix(x, noise.pink(n, rng), rng.uniform(32, 60))
        elif kind < .60:
            x = noise.mix(x, noise.yard(n, rng), rng.uniform(quietest, 32))
        else:
            crowd = noise.babble(n, rng, self.crowd, int(rng.integers(2, 9)), vary=True)
            x = noise.mix(x, crowd, rng.uniform(quietest + 3, 25))
        if rng.random() < .12:
            x = noise.narrow(x, rng)
        if rng.random() < .05:
            x = noise.clip(x, rng)
        return np.clip(x * 10 ** (rng.uniform(-16, 10) / 20), -1, 1)

    def silence(self, shortest, longest):
        return np.zeros(int(self.rng.uniform(shortest, longest) * synth.RATE), np.float32)

    def chatter(self, seconds):
        """Talk of people or of synthesisers, and about how many words it holds."""
        rng = self.rng
        if self.synthetic and rng.random() < .5:
            x, words = self.synthetic[rng.integers(len(self.synthetic))]
            return noise.level(x), words
        n = int(seconds * synth.RATE)
        at = rng.integers(0, len(self.human) - n)
        x = self.human[at:at + n]
        blocks = np.sqrt(np.mean(x[: n // 800 * 800].reshape(-1, 800) ** 2, 1) + 1e-12)
        return x, max(1, round((blocks > .25 * noise.SPEECH).mean() * seconds * OTHER_WORDS_PER_S))

    def beside(self, x):
        """Now and then somebody talks just before or after the call."""
        rng = self.rng
        if len(x) > 4 * synth.RATE or rng.random() > .16:
            return x, 0, 0
        other, words = self.chatter(rng.uniform(.7, 2.5))
        other = other * 10 ** (rng.uniform(-8, 3) / 20)
        gap = self.silence(.15, .6)
        if rng.random() < .5:
            return np.concatenate([other, gap, x]), words, 0
        return np.concatenate([x, gap, other]), 0, words


def shard(job):
    name, ask, seed = job
    rng, encode = np.random.default_rng(seed), Encoder(f"{ask.parts}/encoder_model.ort")
    audio = np.load(f"{ask.speech}/{name}.npy")
    rows = json.load(open(f"{ask.speech}/{name}.json"))
    sound = lambda row: audio[row[0]:row[1]].astype(np.float32) / 32768
    talk = [(sound(r), r[3]) for r in rows if r[2] is None and r[4] == "train"]
    human = np.concatenate([noise.level(synth.read_wav(f)) for f in sorted(glob.glob(f"{ask.parts}/talk/train/*.wav"))])
    room, kept, labels, start = Room(rng, human, talk), [], [], time.time()

    def keep(x, words, before, after, group, kind):
        if len(x) < 8000:
            x = np.pad(x, (0, 8000 - len(x)))
        if len(x) > LONGEST * synth.RATE:
            return
        kept.append(encode(x).astype(np.float16))
        labels.append([len(kept[-1]), words, before, after, group, kind])

    calls = [row for row in rows if row[2] is not None and row[4] == "train"]

    def followed(x, words):
        """Often the next call comes in the same stretch of sound, after a gap."""
        other = calls[rng.integers(len(calls))]
        if rng.random() > JOINED_SHARE or len(x) + other[1] - other[0] > (LONGEST - 3) * synth.RATE:
            return x, words
        return np.concatenate([x, room.silence(.2, 1.5), room.voice(sound(other))]), words + other[2]

    order = rng.permutation(len(rows))
    for turn in range(max(ask.times, ask.times_neural)):
        for i in order:
            row = rows[i]
            limit = ask.times_neural if row[5] == "kokoro" else ask.times
            if time.time() - start > ask.seconds:
                break
            limit = 3 if row[4] != "train" else max(1, limit // 2) if row[2] is None else limit
            if turn >= limit:
                continue
            x, words, group, kind = sound(row), row[2], row[4], row[5]
            if group == "train":
                x = room.voice(x)
            before = after = 0
            if words is None:
                before = row[3]
            elif group == "train":
                x, words = followed(x, words)
                x, before, after = room.beside(x)
            x = np.concatenate([room.silence(.05, .7), noise.level(x) if group != "train" else x, room.silence(.05, .6)])
            if group == "train":
                x = room.hear(x)
            elif turn < 2:
                x = noise.mix(x, noise.pink(len(x), rng), [40, 10][turn])
            else:
                x = noise.mix(x, noise.babble(len(x), rng, room.crowd, 6), 10)
            keep(x, words, before, after, group if group == "train" else f"{group}-{['quiet', 'pink', 'babble'][turn]}", kind)
        if turn == 0:
            for _ in range(len(rows) // 12):  # people talking
                x, words = room.chatter(rng.uniform(.6, 6))
                keep(room.hear(np.concatenate([room.silence(0, .4), x, room.silence(0, .4)]), 3), None, words, 0, "train", "talk")
            for _ in range(len(rows) // 30):  # nobody talking
                n = int(rng.uniform(.6, 5) * synth.RATE)
                x = noise.yard(n, rng) if rng.random() < .6 else noise.babble(n, rng, room.crowd, int(rng.integers(5, 9)), vary=True)
                keep(x * noise.SPEECH * 10 ** (-rng.uniform(-3, 30) / 20), None, 0, 0, "train", "noise")
    np.save(f"{ask.out}/f-{name}.npy", np.concatenate(kept))
    json.dump(labels, open(f"{ask.out}/f-{name}.json", "w"))
    return name, len(kept), sum(r[0] for r in labels) / 40, time.time() - start


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--speech", default=".ear/speech")
    ask.add_argument("--out", default=".ear/features")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--times", type=int, default=3, help="versions of each utterance")
    ask.add_argument("--times-neural", type=int, default=5)
    ask.add_argument("--jobs", type=int, default=os.cpu_count())
    ask.add_argument("--seconds", type=float, default=1e9, help="each worker stops after this long, at whatever version it is")
    ask = ask.parse_args()
    os.makedirs(ask.out, exist_ok=True)
    names = sorted(os.path.basename(f)[:-4] for f in glob.glob(f"{ask.speech}/s*.npy"))
    work = [(name, ask, [ask.seed, i]) for i, name in enumerate(names)]
    with multiprocessing.get_context("spawn").Pool(ask.jobs) as pool:
        for done in pool.imap_unordered(shard, work):
            name, versions, audio_s, took_s = done
            print(f"{name}: {versions} versions, {audio_s:.0f} s in {took_s:.0f} s", flush=True)


if __name__ == "__main__":
    main()
