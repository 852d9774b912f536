"""Trains the head together with the encoder's upper layers, on sound that is changed anew in every step.

Takes: shards of `utterances.py` (those that appear while it runs, too), people's talk, a model to begin with.
Gives: `NAME.npz`, averaged weights of the layers that learned and of the head. Needs a GPU.
The lower layers stay as they are; the learning ends at a time of day, and its rate falls towards it.
"""
import argparse
import copy
import glob
import json
import math
import os
import time

import encoder
import grammar
import kept
import lexicon
import noise
import numpy as np
import revoice
import synth
import torch
from judge import best_path, distance
from revoice import uniform
from torch import nn
from torch.nn import functional as F

from train import Head, begin_with

RATE = synth.RATE
LONGEST = int(10.4 * RATE)
ROOM_S = 1.0
CALL, TALK, PEOPLE, NOBODY = range(4)
LOOKS = 6
CROWDED = .5  # of what is heard has other people around it
NARROW = .15  # comes over a narrow line
CLOSE = 16  # pieces of people's talk, in every other step, that the encoder must go on hearing as it began
STRETCHED = .5  # of the steps hear everything slower or faster at the same pitch
NEURAL = ("kokoro", "gnuspeech")  # slow to speak, or unlike the others: heard more often
REVOICED = .45  # of what is said comes from another throat
BANK, BANK_LENGTH = 160 if torch.cuda.is_available() else 16, int(11 * RATE)
CONDITIONS = [("quiet", "pink", 40), ("pink10", "pink", 10), ("babble10", "crowd", 10)]


class Sound:
    """All speech on the device, end to end, and rows that say what is where; it grows while others speak."""

    def __init__(self, ask, units, device):
        self.ask, self.units, self.device, self.seen = ask, units, device, set()
        self.flat = torch.zeros(int(ask.hours * 3600) * RATE, dtype=torch.int16, device=device)
        self.end, self.rows, self.tune = 0, [], []
        human = [noise.level(synth.read_wav(f)) for f in sorted(glob.glob(f"{ask.parts}/talk/train/*.wav"))]
        human = (np.clip(np.concatenate(human), -1, 1) * 32767).astype(np.int16)
        self.people = self.keep(human), len(human)
        loud = np.abs(human.astype(np.float32) / 32768)
        rng = np.random.default_rng(ask.seed)
        for _ in range(ask.people):
            n = int(rng.uniform(.6, 6) * RATE)
            at = int(rng.integers(0, len(human) - n))
            power = np.sqrt((loud[at:at + n // 800 * 800].reshape(-1, 800) ** 2).mean(1))
            words = max(1, round((power > .25 * noise.SPEECH).mean() * n / RATE * 2.3))
            self.rows.append((self.people[0] + at, n, [lexicon.OTHER] * words, PEOPLE, 1))
            self.rows += [(self.people[0], n, [], NOBODY, 1)] * (rng.random() < .4)

    def keep(self, samples):
        at = self.end
        self.end += len(samples)
        self.flat[at:self.end] = torch.from_numpy(samples).to(self.device)
        return at

    def grow(self):
        """Takes in the shards that are new."""
        for file in sorted(glob.glob(f"{self.ask.speech}/s*.json")):
            if file in self.seen:
                continue
            try:
                rows, samples = json.load(open(file)), np.load(file[:-5] + ".npy")
            except (ValueError, OSError):
                continue  # still being written
            self.seen.add(file)
            if self.end + len(samples) > len(self.flat):
                continue
            at = self.keep(samples)
            for start, end, words, count, group, maker in rows:
                label = [lexicon.OTHER] * count if words is None else self.units.spell(words)
                if group != "train":
                    if words is not None and len(self.tune) < 600:
                        self.tune.append((at + start, end - start, label, group))
                elif 2000 < end - start < 7.4 * RATE:
                    kind = TALK if words is None else CALL
                    self.rows.append((at + start, end - start, label, kind, self.ask.neural if maker in NEURAL else 1))
        column = lambda i, rows=self.rows: torch.tensor([row[i] for row in rows], device=self.device)
        self.start, self.size, self.kind = column(0), column(1), column(3)
        self.labels, self.sizes = [row[2] for row in self.rows], np.array([row[1] for row in self.rows])
        self.weight = np.array([row[4] for row in self.rows], float)
        kinds = np.array([row[3] for row in self.rows])
        self.calls = torch.from_numpy(np.flatnonzero(kinds == CALL)).to(self.device)
        self.talk = torch.from_numpy(np.flatnonzero((kinds == TALK) | ((kinds == PEOPLE) & (self.sizes < 3 * RATE)))).to(self.device)

    def batches(self, rng, seconds):
        times = np.floor(self.weight + rng.random(len(self.weight))).astype(int)
        ids = np.repeat(np.arange(len(times)), times)
        ids = ids[np.argsort(self.sizes[ids] + rng.uniform(0, 8000, len(ids)))]
        cuts, at = [], 0
        while at < len(ids):
            count = max(8, int(seconds * RATE / (self.sizes[ids[min(len(ids) - 1, at + 100)]] + 20000)))
            cuts.append(ids[at:at + count])
            at += count
        rng.shuffle(cuts)
        return cuts


def chance(n, share, device):
    return torch.rand(n, device=device) < share


def laid(flat, start, size, tempo, offset, length):
    """Pieces of `flat` at another tempo, each from `offset` in its row."""
    place = (torch.arange(length, device=flat.device)[None] - offset[:, None]) * tempo[:, None]
    inside = (place >= 0) & (place < (size[:, None] - 1))
    place = torch.where(inside, place, torch.zeros_like(place))
    low = place.floor()
    at = start[:, None] + low.long()
    part = place - low
    return (flat[at].float() * (1 - part) + flat[at + 1].float() * part) * inside / 32768


def levelled(x):
    top = x.abs().amax(1, keepdim=True)
    loud = (x.abs() > torch.clamp(.02 * top, min=1e-4)).float()
    power = ((x ** 2) * loud).sum(1, keepdim=True) / loud.sum(1, keepdim=True).clamp(min=100)
    return x * (noise.SPEECH / power.sqrt().clamp(min=1e-5))


def unit(x):
    return x / x.std(1, keepdim=True).clamp(min=1e-4)


class World:
    """Rooms, noise and other people around what is said."""

    def __init__(self, sound, yard, seed):
        self.sound, self.device = sound, sound.device
        self.yard = torch.from_numpy(yard).to(self.device)
        self.crowds = torch.zeros(BANK, BANK_LENGTH, device=self.device)
        for at in range(0, BANK, 16):
            self.new_crowds(at, 16)
        self.turn = 0

    def new_crowds(self, at, count):
        """So many other rows of several people talking at once."""
        s, d = self.sound, self.device
        total = torch.zeros(count, BANK_LENGTH, device=d)
        voices = torch.randint(2, 9, (count, 1), device=d)
        for k in range(8):
            tempo, human = uniform(count, .82, 1.22, d), chance(count, .45, d)
            row = s.talk[torch.randint(len(s.talk), (count,), device=d)]
            begin = s.people[0] + (torch.rand(count, device=d) * (s.people[1] - 1.3 * BANK_LENGTH)).long()
            begin = torch.where(human, begin, s.start[row])
            size = torch.where(human, torch.full_like(begin, int(1.25 * BANK_LENGTH)), s.size[row])
            gain = 10 ** (uniform(count, -5, 5, d) / 20)[:, None] * (k < voices)
            # A synthesiser's piece is short: said again until the row is full.
            offset = (torch.rand(count, device=d) * size).long()
            for again in range(1 if bool(human.all()) else 5):
                zero = torch.where(human, torch.zeros_like(offset), offset + (again - 1) * (size / tempo).long())
                total += levelled(laid(s.flat, begin, size, tempo, zero, BANK_LENGTH)) * gain * (~human | (again == 0))[:, None]
        self.crowds[at:at + count] = unit(total)

    def drawn(self, bank, count, length):
        row = torch.randint(len(bank), (count,), device=self.device)
        shift = torch.randint(bank.shape[1], (count,), device=self.device)
        at = (shift[:, None] + torch.arange(length, device=self.device)[None]) % bank.shape[1]
        return unit(bank[row[:, None], at].float())

    def pink(self, count, length):
        n = length + -length % 2048
        f = torch.arange(n // 2 + 1, device=self.device).clamp(min=1).float()
        return unit(torch.fft.irfft(torch.fft.rfft(torch.randn(count, n, device=self.device)) / f ** .5, n)[:, :length])

    def place(self, ids):
        """What is said in each row, on its own; how long the row is; its units."""
        s, d, b = self.sound, self.device, len(ids)
        i = torch.as_tensor(ids, device=d)
        start, size, kind = s.start[i], s.size[i], s.kind[i]
        tempo = torch.where(chance(b, .6, d) & (kind < NOBODY), uniform(b, .82, 1.24, d), torch.ones(b, device=d))
        own = (size / tempo).long()
        r = torch.rand(b, device=d)
        before, after, next_call = (r < .12), (r > .12) & (r < .22), (r > .22) & (r < .46)
        talk = s.talk[torch.randint(len(s.talk), (b,), device=d)]
        call = s.calls[torch.randint(len(s.calls), (b,), device=d)]
        other = torch.where(next_call, call, talk)
        size2 = s.size[other]
        has = (kind == CALL) & (before | after | next_call) & (own + size2 < 8.2 * RATE)
        size2 = torch.where(has, size2, torch.zeros_like(size2))
        gap = torch.where(has, (torch.where(next_call, uniform(b, .2, 1.5, d), uniform(b, .15, .7, d)) * RATE).long(), torch.zeros_like(own))
        lead, tail = (uniform(b, .03, .9, d) * RATE).long(), (uniform(b, .03, .7, d) * RATE).long()
        n = (lead + own + gap + size2 + tail).clamp(min=8000, max=LONGEST)
        length = int(n.max())
        first = lead + torch.where(before & has, size2 + gap, torch.zeros_like(gap))
        x = levelled(laid(s.flat, start, size, tempo, first, length))
        second = torch.where(before, lead, lead + own + gap)
        ones = torch.ones(b, device=d)
        y = levelled(laid(s.flat, s.start[other], size2, ones, second, length)) * has[:, None]
        gain = torch.where(next_call, uniform(b, -3, 3, d), uniform(b, -8, 3, d))
        x = (x + y * 10 ** (gain / 20)[:, None]) * (kind < NOBODY)[:, None]
        labels = []
        for k, with_other, o, in_front in zip(ids, has.tolist(), other.tolist(), before.tolist(), strict=True):
            mine, others = s.labels[k], s.labels[o] if with_other else []
            labels.append(others + mine if in_front else mine + others)
        return x, n, labels, kind

    def through(self, x):
        """A microphone and a room."""
        b, length, d = *x.shape, self.device
        n = length + int(ROOM_S * RATE)
        n += -n % 2048
        f = torch.linspace(0, 1, n // 2 + 1, device=d)[None]
        curve = F.interpolate(uniform(b * 7, -8, 8, d).view(b, 1, 7), n // 2 + 1, mode="linear", align_corners=True)[:, 0]
        curve = (curve - 30 * (f < uniform(b, 0, .045, d)[:, None])) * chance(b, .5, d)[:, None]
        lost, wide = uniform(b, .02, .6, d)[:, None], uniform(b, .01, .06, d)[:, None]
        curve = curve - 40 * (((f - lost).abs() < wide) & chance(b, .12, d)[:, None])
        size = int(ROOM_S * RATE)
        t, decay = torch.arange(size, device=d)[None], (uniform(b, .08, ROOM_S, d) * RATE)[:, None]
        tail = torch.randn(b, size, device=d) * 10 ** (-3 * t / decay) * (t > uniform(b, 16, 160, d)[:, None])
        tail = tail / tail.pow(2).sum(1, keepdim=True).sqrt() * 10 ** (-uniform(b, -3, 14, d) / 20)[:, None]
        tail = tail * chance(b, .45, d)[:, None]
        tail[:, 0] = 1
        heard = torch.fft.rfft(x, n) * torch.fft.rfft(tail, n) * 10 ** (curve / 20)
        return torch.fft.irfft(heard, n)[:, :length]

    def noisy(self, x, kind):
        b, length, d = *x.shape, self.device
        r = torch.rand(b, device=d)
        low = torch.where(kind == CALL, torch.full((b,), -1., device=d), torch.full((b,), 2., device=d))
        hard = torch.where(chance(b, .72, d), low + torch.rand(b, device=d) * (18 - low), uniform(b, 12, 34, d))
        crowded = r > 1 - CROWDED
        among = torch.where(chance(b, .5, d), uniform(b, 4, 15, d), hard + 2)
        snr = torch.where(r < .11, uniform(b, 30, 60, d), torch.where(crowded, among, hard))
        snr = torch.where(kind == NOBODY, uniform(b, -3, 30, d), snr)
        w = torch.where((r < .32)[:, None], self.pink(b, length), self.drawn(self.yard, b, length))
        crowd = self.drawn(self.crowds, b, length)
        both = unit(crowd + w * 10 ** (-uniform(b, 3, 25, d) / 20)[:, None])
        return x + torch.where(crowded[:, None], both, w) * (noise.SPEECH / 10 ** (snr / 20))[:, None]

    def device_of(self, x):
        """A narrow line now and then, clipping, and the gain of the input."""
        b, length, d = *x.shape, self.device
        narrow = torch.nonzero(chance(b, NARROW, d))[:, 0]
        if len(narrow):
            top = torch.tensor([4000., 5000., 3000.], device=d)[torch.randint(3, (len(narrow), 1), device=d)]
            f = torch.linspace(0, RATE / 2, length // 2 + 1, device=d)[None]
            x[narrow] = torch.fft.irfft(torch.fft.rfft(x[narrow]) * (f < top), length)
        top = x.abs().amax(1, keepdim=True)
        top = top * torch.where(chance(b, .05, d), uniform(b, .25, .8, d), torch.full((b,), 2., device=d))[:, None]
        x = torch.maximum(torch.minimum(x, top), -top)
        return (x * 10 ** (uniform(b, -20, 10, d) / 20)[:, None]).clamp(-1, 1)

    @torch.no_grad()
    def hear(self, ids):
        x, n, labels, kind = self.place(ids)
        if float(torch.rand(1)) < STRETCHED:
            factor = min(float(uniform(1, .7, 1.35, "cpu")), LONGEST / x.shape[1])
            x, n = revoice.stretched(x, n, factor, float(uniform(1, 0, .35, "cpu")))
            x = F.pad(x, (0, max(0, int(n.max()) - x.shape[1])))[:, :LONGEST]
            n = n.clamp(max=LONGEST)
        if self.turn % 4 == 0:
            self.new_crowds(int(torch.randint(BANK - 4, (1,))), 4)
        self.turn += 1
        other = torch.nonzero(chance(len(x), REVOICED, self.device) & (kind < NOBODY))[:, 0]
        if len(other):
            x[other] = revoice.revoiced(x[other])
        said = (kind < NOBODY)[:, None]
        x = torch.where(said, levelled(self.through(x)), torch.zeros_like(x))
        x = self.device_of(self.noisy(x, kind))
        return x * (torch.arange(x.shape[1], device=self.device)[None] < n[:, None]), n, labels

    @torch.no_grad()
    def people(self, count):
        """Pieces of people's talk, as it is and with noise."""
        s, d, length = self.sound, self.device, 4 * RATE
        begin = s.people[0] + (torch.rand(count, device=d) * (s.people[1] - 1.3 * length)).long()
        n, none = torch.full((count,), length, device=d), torch.zeros(count, dtype=torch.long, device=d)
        x = levelled(laid(s.flat, begin, (1.28 * n).long(), uniform(count, .85, 1.2, d), none, length))
        other = torch.nonzero(chance(count, .3, d))[:, 0]
        if len(other):
            x[other] = revoice.revoiced(x[other])
        return x, self.device_of(self.noisy(x, torch.full((count,), TALK, device=d))), n

    @torch.no_grad()
    def plain(self, rows, what, snr):
        """Tuning items in one condition."""
        d = self.device
        column = lambda i: torch.tensor([row[i] for row in rows], device=d)
        size, lead = column(1), torch.full((len(rows),), RATE // 2, device=d)
        n = size + RATE
        length, ones = int(n.max()), torch.ones(len(rows), device=d)
        x = levelled(laid(self.sound.flat, column(0), size, ones, lead, length))
        w = self.pink(len(rows), length) if what == "pink" else self.drawn(self.crowds, len(rows), length)
        x = x + w * (noise.SPEECH / 10 ** (snr / 20))
        return x * (torch.arange(length, device=d)[None] < n[:, None]), n


class Ear(nn.Module):
    """Encoder and head."""

    def __init__(self, units, start, learning, drop):
        super().__init__()
        self.encoder, self.head, self.learning = start, Head(units, 312, 6, drop), learning
        self.register_buffer("mean", torch.zeros(encoder.WIDTH))
        self.register_buffer("deviation", torch.ones(encoder.WIDTH))

    def forward(self, x, n, rough=0.0):
        y, frames = self.encoder(x, n, self.learning)
        y = (y.float() - self.mean) / self.deviation
        own = (torch.arange(y.shape[1], device=x.device)[None] < frames[:, None])[..., None].float()
        if rough:
            y = y + rough * torch.randn_like(y)
            for _ in range(2):
                begin = torch.rand(len(y), 1, device=y.device) * frames[:, None]
                t = torch.arange(y.shape[1], device=y.device)[None]
                hole = (t >= begin) & (t < begin + 8 * torch.rand(len(y), 1, device=y.device))
                y = y * ~hole[..., None]
        return self.head(y * own, own), frames


def begin(net, folder, units, sound, world):
    """Begins with a model: with its encoder, if it has one of its own, and its head, for features scaled as here."""
    file = next(f"{folder}/{name}.onnx" for name in ("ear", "head") if os.path.exists(f"{folder}/{name}.onnx"))
    of_encoder, of_head = kept.read(file)
    if of_encoder:
        net.encoder.load_state_dict({k: torch.from_numpy(v) for k, v in of_encoder.items()})
    with torch.no_grad():
        some = []
        for _ in range(12):
            x, n, _ = world.hear(np.random.default_rng(3).integers(0, len(sound.rows), 24))
            y, frames = net.encoder(x, n)
            some.append(y[torch.arange(y.shape[1], device=x.device)[None] < frames[:, None]].float())
        some = torch.cat(some)
        net.mean.copy_(some.mean(0))
        net.deviation.copy_(some.std(0) + 1e-3)
    begin_with(net.head, of_head, json.load(open(f"{folder}/head.json"))["units"], units, net.mean, net.deviation)


def go_on(net, files, units):
    """Gives the network the mean of what was learned before."""
    learned = [dict(np.load(file)) for file in files]
    for one in learned:
        if json.loads(str(one.pop("about")))["units"] != units:
            raise SystemExit("what was learned before has other units")
    mean = {k: np.mean([one[k].astype(np.float32) for one in learned], 0) for k in learned[0]}
    net.load_state_dict({k: torch.from_numpy(v) for k, v in mean.items()}, strict=False)


def estranged(net, old, world):
    """How far from what `old` makes of people's talk `net` makes of the same in noise: the mean square of scaled features."""
    clean, noisy, n = world.people(CLOSE)
    with torch.no_grad():
        wanted, frames = old(clean, n)
    got, _ = net.encoder(noisy, n, net.learning)
    own = (torch.arange(got.shape[1], device=got.device)[None] < frames[:, None])[..., None]
    return ((((got.float() - wanted.float()) / net.deviation) ** 2) * own).sum() / (own.sum() * got.shape[2])


def loss_of(log_probs, frames, labels):
    sizes = torch.tensor([len(one) for one in labels], device=log_probs.device)
    flat = torch.tensor([u for one in labels for u in one] or [0], device=log_probs.device)
    loss = F.ctc_loss(log_probs.transpose(0, 1), flat, frames, sizes, reduction="none", zero_infinity=True)
    return (loss / (sizes + 4)).mean()


@torch.no_grad()
def judged(net, world):
    """Phone errors of the tuning items: group and condition to a share."""
    net.eval()
    count = {}
    rows = sorted(world.sound.tune, key=lambda row: row[1])
    with torch.random.fork_rng():
        torch.manual_seed(7)
        for condition, what, snr in CONDITIONS:
            for at in range(0, len(rows), 100):
                some = rows[at:at + 100]
                log_probs, frames = net(*world.plain(some, what, snr))
                for row, path, size in zip(some, log_probs.argmax(-1).cpu().numpy(), frames.tolist(), strict=True):
                    said = [u for u in best_path(path[:size]) if u != lexicon.OTHER]
                    one = count.setdefault((row[3], condition), [0, 0])
                    one[0] += distance(row[2], said)
                    one[1] += len(row[2])
    return {key: wrong / size for key, (wrong, size) in count.items()}


def save(net, path, about):
    state = {k: v.detach().cpu().numpy() for k, v in net.state_dict().items()}
    lower = tuple(f"encoder.layers.{i}." for i in range(encoder.LAYERS - net.learning))
    state = {k: v.astype(np.float16) if v.size > 2000 else v for k, v in state.items()
        if not k.startswith("encoder.") or (k.startswith("encoder.layer") and not k.startswith(lower))}
    np.savez(path + ".part.npz", **state, about=json.dumps(about))
    os.replace(path + ".part.npz", path)


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--parts", default=".ear/parts")
    ask.add_argument("--speech", default=".ear/speech")
    ask.add_argument("--encoder", help="weights by `encoder.py`; for a model without an encoder of its own")
    ask.add_argument("--grammar", default="grammars/en/exam.gram")
    ask.add_argument("--begin-with", default="models/en")
    ask.add_argument("--begin-whole", nargs="*", help="files of this script to go on from, begun with the same model: their mean")
    ask.add_argument("--yard", default=".ear/yard.npy", help="rows of noise, 16-bit")
    ask.add_argument("--out", default=".ear/whole.npz")
    ask.add_argument("--learning", type=int, default=3, help="upper layers that learn")
    ask.add_argument("--rate", type=float, default=8e-4)
    ask.add_argument("--encoder-rate", type=float, default=2e-4)
    ask.add_argument("--deeper", type=float, default=1.0, help="of an encoder layer's rate has the layer below it")
    ask.add_argument("--close", type=float, default=0.0, help="weight of people's talk being heard as it was in the beginning")
    ask.add_argument("--drop", type=float, default=.15)
    ask.add_argument("--batch", type=float, default=480, help="seconds of sound")
    ask.add_argument("--hours", type=float, default=150, help="of speech that fit in")
    ask.add_argument("--neural", type=float, default=4, help="how often speech by those of NEURAL is heard for each other piece")
    ask.add_argument("--people", type=int, default=3000, help="pieces of people's talk")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--shards", type=int, default=4, help="how many shards to wait for")
    ask.add_argument("--until", required=True, help="a file with the time to end at, in seconds since 1970")
    ask = ask.parse_args()
    torch.manual_seed(ask.seed)
    rng = np.random.default_rng(ask.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    units = lexicon.Phones(f"{ask.begin_with}/lexicon.dict", grammar.words(grammar.read(ask.grammar)))
    sound = Sound(ask, units, device)
    while len(sound.seen) < ask.shards:
        time.sleep(1)
        sound.grow()
    world = World(sound, np.load(ask.yard), ask.seed)
    net = Ear(len(units.units), encoder.read(ask.encoder) if ask.encoder else encoder.Encoder(), ask.learning, ask.drop).to(device)
    begin(net, ask.begin_with, units.units, sound, world)
    if ask.begin_whole:  # these files lack the encoder's first layers, which never learn: they are the model's
        go_on(net, ask.begin_whole, units.units)
    learning = tuple(f"encoder.layers.{i}." for i in range(encoder.LAYERS - ask.learning, encoder.LAYERS))
    upper = [p for k, p in net.named_parameters() if k.startswith((*learning, "encoder.layer_norm"))]
    own = list(net.head.parameters())
    layered = [[p for k, p in net.named_parameters() if k.startswith(name)] for name in (*learning, "encoder.layer_norm")]
    rates = [ask.encoder_rate * ask.deeper ** (len(learning) - 1 - min(i, len(learning) - 1)) for i in range(len(layered))]
    old = copy.deepcopy(net.encoder).eval()
    for p in net.encoder.parameters():
        p.requires_grad = any(p is q for q in upper)
    mover = torch.optim.AdamW([{"params": own, "base": ask.rate},
        *({"params": many, "base": rate} for many, rate in zip(layered, rates, strict=True))],
        betas=(.9, .98), weight_decay=.01)
    average = copy.deepcopy(net)
    begun, until, step, todo, losses, looks, heard = time.time(), 0, 0, [], [], 0, 0.0
    while True:
        if step % 50 == 0:
            until = float(open(ask.until).read())
        done = min(1, (time.time() - begun) / max(1, until - begun))
        if done * LOOKS >= looks or done >= 1:
            looks += 1
            found = judged(average, world)
            print(f"{step} {time.time() - begun:.0f}s loss {np.mean(losses[-50:] or [9]):.3f} heard {heard / 3600:.0f} h of "
                f"{sum(sound.sizes) / RATE / 3600:.0f} h in {len(sound.rows)}: "
                + " ".join(f"{g[0]} {c} {v:.2%}" for (g, c), v in found.items()), flush=True)
            save(average, ask.out, {"units": units.units, "seed": ask.seed, "steps": step, "learning": ask.learning,
                "hours": sum(sound.sizes) / RATE / 3600, "heard_hours": heard / 3600, "errors": {" ".join(k): v for k, v in found.items()}})
        if done >= 1:
            break
        if not todo:
            sound.grow()
            todo = sound.batches(rng, ask.batch)
        for group in mover.param_groups:
            group["lr"] = group["base"] * min(1, (step + 1) / 300) * (.02 + .98 * .5 * (1 + math.cos(math.pi * done)))
        net.train()
        x, n, labels = world.hear(todo.pop())
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            log_probs, frames = net(x, n, rough=.12)
            away = estranged(net, old, world) if ask.close and step % 2 else 0
        loss = loss_of(log_probs, frames, labels) + ask.close * away
        mover.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(own + upper, 2.0)
        mover.step()
        if step % 20 == 0:
            losses.append(float(loss.detach()))
        heard += float(x.shape[0] * x.shape[1]) / RATE
        step += 1
        if step in (20, 100, 400):
            print(f"step {step} at {time.time() - begun:.1f} s, loss {losses[-1]:.3f}, of it people's talk {float(away):.3f}", flush=True)
        keep = min(.998, (1 + step) / (10 + step))
        with torch.no_grad():
            for a, p in zip(average.parameters(), net.parameters(), strict=True):
                if p.requires_grad:
                    a.lerp_(p, 1 - keep)


if __name__ == "__main__":
    main()
