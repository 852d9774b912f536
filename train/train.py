"""Trains the head on cached features with CTC, and keeps averaged weights by the tuning sets: least loss, and fewest errors.

Takes: shards of `features.py`, the lexicon. Gives: `NAME.npz` (weights, units and how it went), by loss, and
`NAME-errors.npz`, by phone errors, which go on falling when the loss rises again. The same seed and
features give the same run up to the rounding of the GPU. Uses a GPU where there is one.
"""
import argparse
import copy
import glob
import itertools
import json
import math
import time

import grammar
import kept
import lexicon
import numpy as np
import torch
from judge import best_path, distance
from torch import nn
from torch.nn import functional as F

WIDTH_IN = 288
KERNEL = 9
LOOKS = 16  # times the tuning sets are looked at in one training


class Block(nn.Module):
    """Convolution over time for each channel, between two mixings of channels with a gate."""

    def __init__(self, width, drop):
        super().__init__()
        self.norm, self.wide = nn.LayerNorm(width), nn.Linear(width, 2 * width)
        self.time = nn.Conv1d(width, width, KERNEL, padding=KERNEL // 2, groups=width)
        self.back, self.drop = nn.Linear(width, width), nn.Dropout(drop)

    def forward(self, x, mask):
        y = F.glu(self.wide(self.norm(x)), -1) * mask
        y = F.silu(self.time(y.transpose(1, 2)).transpose(1, 2))
        return x + self.drop(self.back(y))


class Head(nn.Module):
    def __init__(self, units, width, blocks, drop):
        super().__init__()
        self.enter, self.drop = nn.Linear(WIDTH_IN, width), nn.Dropout(drop)
        self.blocks = nn.ModuleList(Block(width, drop) for _ in range(blocks))
        self.norm, self.out = nn.LayerNorm(width), nn.Linear(width, units)
        with torch.no_grad():
            self.out.weight.mul_(.1)  # else the first loss explodes
            self.out.bias.zero_()

    def forward(self, x, mask):
        x = self.drop(F.silu(self.enter(x)))
        for block in self.blocks:
            x = block(x, mask)
        return self.out(self.norm(x)).float().log_softmax(-1)


def begin_with(head, kept, own, units, mean, deviation):
    """Gives `head` the weights that `kept.py` read, for the units `own`; units that they lack begin from nothing."""
    mean, deviation = mean.cpu(), deviation.cpu()
    state = {name: torch.from_numpy(kept[name]) for name in head.state_dict()}
    for name in ("out.weight", "out.bias"):
        rows = [own.index(unit) if unit in own else -1 for unit in units]
        state[name] = torch.stack([state[name][row] if row >= 0 else torch.zeros_like(state[name][0]) for row in rows])
    # The model's first layer takes plain features, this one takes scaled ones.
    state["enter.bias"] = state["enter.bias"] + state["enter.weight"] @ mean
    state["enter.weight"] = state["enter.weight"] * deviation
    head.load_state_dict(state)


class Data:
    """All features on the device, end to end, with labels beside them."""

    def __init__(self, folder, units, device):
        self.device, self.labels, self.frames, self.groups, self.kinds = device, [], [], [], []
        parts = []
        for file in sorted(glob.glob(f"{folder}/f-*.json")):
            parts.append(torch.from_numpy(np.load(file[:-5] + ".npy")))
            for frames, words, before, after, group, kind in json.load(open(file)):
                own = units.spell(words) if words else []
                self.labels.append([lexicon.OTHER] * before + own + [lexicon.OTHER] * after)
                self.frames.append(frames), self.groups.append(group), self.kinds.append(kind)
        self.starts = np.concatenate([[0], np.cumsum(self.frames)])[:-1]
        self.frames = np.array(self.frames)
        self.x = torch.cat(parts).to(device)

    def usable(self, i):
        same = sum(a == b for a, b in itertools.pairwise(self.labels[i]))
        return len(self.labels[i]) + same < self.frames[i]

    def statistics(self):
        some = self.x[::37].float()
        return some.mean(0), some.std(0) + 1e-3

    def batch(self, ids):
        longest = int(self.frames[ids].max())
        t = torch.arange(longest, device=self.device)[None]
        frames = torch.as_tensor(self.frames[ids], device=self.device)[:, None]
        starts = torch.as_tensor(self.starts[ids], device=self.device)[:, None]
        mask = (t < frames)[..., None]
        x = self.x[(starts + torch.minimum(t, frames - 1)).clamp(max=len(self.x) - 1)].float()
        labels = [self.labels[i] for i in ids]
        units = torch.tensor(list(itertools.chain.from_iterable(labels)), device=self.device)
        counts = torch.tensor(list(map(len, labels)), device=self.device)
        return x, mask.float(), units, frames[:, 0], counts


def batches(data, ids, size, rng):
    """Batches of alike lengths, shuffled; `size` is in frames."""
    ids = ids[np.argsort(data.frames[ids] + rng.uniform(0, 12, len(ids)))]
    cuts, at = [], 0
    while at < len(ids):
        count = max(8, size // int(data.frames[ids[min(len(ids) - 1, at + size // max(60, data.frames[ids[at]]))]]))
        cuts.append(ids[at:at + count])
        at += count
    rng.shuffle(cuts)
    return cuts


def loss_of(head, data, ids, mean, deviation, rough=None):
    x, mask, labels, frames, lengths = data.batch(ids)
    x = (x - mean) / deviation
    if rough:
        x = x + rough * torch.randn_like(x)
        for _ in range(2):  # holes in time
            begin = torch.rand(len(ids), 1, device=x.device) * frames[:, None]
            wide = torch.rand(len(ids), 1, device=x.device) * 8
            t = torch.arange(x.shape[1], device=x.device)[None]
            x = x * (1 - ((t >= begin) & (t < begin + wide)).float())[..., None]
    log_probs = head(x * mask, mask)
    loss = F.ctc_loss(log_probs.transpose(0, 1), labels, frames, lengths, blank=0, reduction="none", zero_infinity=True)
    return (loss / (lengths + 4)), log_probs, frames


def judge(head, data, mean, deviation):
    """For each tuning group: mean loss, unit error rate of the best path, share of talk that gave any unit of ours."""
    head.eval()
    result = {}
    for group in sorted(set(data.groups) - {"train"}):
        ids = np.array([i for i, g in enumerate(data.groups) if g == group and data.usable(i)])
        losses, wrong, units, false, talk = [], 0, 0, 0, 0
        for at in range(0, len(ids), 256):
            chunk = ids[at:at + 256]
            with torch.no_grad():
                loss, log_probs, _ = loss_of(head, data, chunk, mean, deviation)
            losses.append(loss)
            paths = log_probs.argmax(-1).cpu().numpy()
            for i, path in zip(chunk, paths, strict=True):
                said = best_path(path[:data.frames[i]])
                truth = [u for u in data.labels[i] if u != lexicon.OTHER]
                said = [u for u in said if u != lexicon.OTHER]
                if truth:
                    wrong, units = wrong + distance(truth, said), units + len(truth)
                else:
                    false, talk = false + bool(said), talk + 1
        result[group] = (float(torch.cat(losses).mean()), wrong / max(1, units), false / max(1, talk))
    return result


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("--features", default=".ear/features")
    ask.add_argument("--grammar", default="grammars/en/exam.gram")
    ask.add_argument("--lexicon", default="models/en/lexicon.dict")
    ask.add_argument("--units", choices=["phones", "words"], default="phones")
    ask.add_argument("--out", default=".ear/head.npz")
    ask.add_argument("--seed", type=int, default=1)
    ask.add_argument("--steps", type=int, default=6000)
    ask.add_argument("--seconds", type=float, default=1e9, help="the schedule is squeezed into this long")
    ask.add_argument("--width", type=int, default=312)
    ask.add_argument("--blocks", type=int, default=6)
    ask.add_argument("--drop", type=float, default=.25)
    ask.add_argument("--frames", type=int, default=24000, help="frames in a batch")
    ask.add_argument("--rate", type=float, default=2e-3)
    ask.add_argument("--begin-with", help="folder of a model of `export.py` whose weights the training begins with")
    ask = ask.parse_args()
    torch.manual_seed(ask.seed)
    rng = np.random.default_rng(ask.seed)
    device = "cuda" if torch.cuda.is_available() else "cpu"
    words = grammar.words(grammar.read(ask.grammar))
    units = {"phones": lexicon.Phones, "words": lexicon.Words}[ask.units](ask.lexicon, words)
    data = Data(ask.features, units, device)
    ids = np.array([i for i, g in enumerate(data.groups) if g == "train" and data.usable(i)])
    mean, deviation = data.statistics()
    head = Head(len(units.units), ask.width, ask.blocks, ask.drop).to(device)
    if ask.begin_with:
        own = json.load(open(f"{ask.begin_with}/head.json"))["units"]
        begin_with(head, kept.read(f"{ask.begin_with}/head.onnx")[1], own, units.units, mean, deviation)
        head.to(device)
    print(f"{ask.units}: {len(units.units)} units, {sum(p.numel() for p in head.parameters())} weights, "
        f"{len(ids)} for training, {data.frames[ids].sum() / 144000:.1f} h, {device}", flush=True)
    average = copy.deepcopy(head)
    mover = torch.optim.AdamW(head.parameters(), ask.rate, betas=(.9, .98), weight_decay=.01)
    start, step, best, todo, trace, losses, looks = time.time(), 0, {}, [], [], [], 0
    while True:
        done = max(step / ask.steps, (time.time() - start) / ask.seconds)
        if done * LOOKS >= looks + 1 or done >= 1:
            looks = int(done * LOOKS)
            result = judge(average, data, mean, deviation)
            score = float(np.mean([r[0] for r in result.values()]))
            errors = float(np.mean([r[1] for r in result.values()]))
            trace.append([step, score, result])
            print(f"{step} {time.time() - start:.0f}s loss {np.mean(losses[-200:]):.3f} tune {score:.3f} "
                + " ".join(f"{g} {r[1] * 100:.1f}%/{r[2] * 100:.0f}" for g, r in result.items()), flush=True)
            for name, value in (("", score), ("-errors", errors)):
                if name not in best or value < best[name][0]:
                    best[name] = value, score, errors, step, copy.deepcopy(average.state_dict())
        if done >= 1:
            break
        if not todo:
            todo = batches(data, ids, ask.frames, rng)
        for group in mover.param_groups:
            group["lr"] = ask.rate * min(1, (step + 1) / 300) * (.02 + .98 * .5 * (1 + math.cos(math.pi * min(1, done))))
        head.train()
        with torch.autocast(device, torch.bfloat16, enabled=device == "cuda"):
            loss = loss_of(head, data, todo.pop(), mean, deviation, rough=.15)[0].mean()
        mover.zero_grad()
        loss.backward()
        nn.utils.clip_grad_norm_(head.parameters(), 2.0)
        mover.step()
        losses.append(float(loss.detach()) if step % 10 == 0 else losses[-1])
        step += 1
        keep = min(.998, (1 + step) / (10 + step))
        with torch.no_grad():
            for a, p in zip(average.parameters(), head.parameters(), strict=True):
                a.lerp_(p, 1 - keep)
    for name, (_, score, errors, at, weights) in best.items():
        weights = {k: v.cpu().numpy() for k, v in weights.items()}
        np.savez(ask.out.removesuffix(".npz") + name + ".npz", **weights, mean=mean.cpu().numpy(),
            deviation=deviation.cpu().numpy(), about=json.dumps({"units": units.units, "kind": ask.units, "seed": ask.seed,
                "steps": step, "step": at, "hours": float(data.frames[ids].sum() / 144000), "tune": score, "errors": errors,
                "trace": trace}))


if __name__ == "__main__":
    main()
