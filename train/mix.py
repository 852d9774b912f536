"""Mixes two models of `export.py`, one trained on from the other: each weight lies between theirs.

Takes: the folders of the older and the newer model, the share of the newer. Gives: `head.onnx` and `head.json` in a third.
A head that learned new words from synthesisers alone forgets some of how people sound; between the two it keeps both
(Wortsman and others, "Robust fine-tuning of zero-shot models", CVPR 2022).
"""
import argparse
import hashlib
import json

import numpy as np
import onnx
from onnx import numpy_helper


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("older")
    ask.add_argument("newer")
    ask.add_argument("--share", type=float, default=.7)
    ask.add_argument("--out", default="models/en")
    ask.add_argument("--version", default="1")
    ask = ask.parse_args()
    read = lambda folder: json.load(open(f"{folder}/head.json", encoding="utf-8"))
    older, newer = read(ask.older), read(ask.newer)
    assert older["units"] == newer["units"] and older["encoder_sha256"] == newer["encoder_sha256"], "not of one family"
    known = {w.name: numpy_helper.to_array(w) for w in onnx.load(f"{ask.older}/head.onnx").graph.initializer}
    model = onnx.load(f"{ask.newer}/head.onnx")
    for weight in model.graph.initializer:
        own = numpy_helper.to_array(weight)
        mixed = (1 - ask.share) * known[weight.name].astype(np.float64) + ask.share * own.astype(np.float64)
        weight.CopyFrom(numpy_helper.from_array(mixed.astype(own.dtype), weight.name))
    data = model.SerializeToString()
    open(f"{ask.out}/head.onnx", "wb").write(data)
    about = newer | {"version": ask.version, "head_sha256": hashlib.sha256(data).hexdigest(), "mixed": {"older": older["head_sha256"],
        "newer": newer["head_sha256"], "share_of_newer": ask.share}}
    json.dump(about, open(f"{ask.out}/head.json", "w", encoding="utf-8"), indent=1)


if __name__ == "__main__":
    main()
