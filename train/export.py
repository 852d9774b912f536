"""Writes a trained head as ONNX with plain operators, and `head.json` beside it.

Takes: `NAME.npz` of `train.py`, the encoder (for its SHA-256). Gives: `head.onnx`, `head.json`.
Weights are kept in 16-bit floats and widened when the file is loaded; the arithmetic is in 32 bits.
"""
import argparse
import hashlib
import json

import numpy as np
import onnx
from onnx import TensorProto, helper, numpy_helper


class Graph:
    """An ONNX graph as it grows; each method adds a node and gives the name of what it makes."""

    def __init__(self):
        self.nodes, self.weights = [], []

    def weight(self, name, value, half=True):
        if not half:
            self.weights.append(numpy_helper.from_array(value.astype(np.float32), name))
            return name
        self.weights.append(numpy_helper.from_array(value.astype(np.float16), name + ".half"))
        return self.add("Cast", [name + ".half"], name, to=TensorProto.FLOAT)

    def add(self, operator, inputs, output, **more):
        self.nodes.append(helper.make_node(operator, inputs, [output], **more))
        return output

    def linear(self, x, name, weight, bias):
        product = self.add("MatMul", [x, self.weight(name + ".w", weight.T)], name + ".product")
        return self.add("Add", [product, self.weight(name + ".b", bias, half=False)], name)

    def norm(self, x, name, w):
        scale, shift = (self.weight(f"{name}.{k}", w[f"{name}.{k}"], half=False) for k in ("weight", "bias"))
        return self.add("LayerNormalization", [x, scale, shift], name, axis=-1, epsilon=1e-5)

    def silu(self, x):
        return self.add("Mul", [x, self.add("Sigmoid", [x], x + ".gate")], x + ".silu")


def build(w):
    """The head alone; the scaling of the features goes into its first layer."""
    first = w["enter.weight"] / w["deviation"][None]
    w = w | {"enter.weight": first, "enter.bias": w["enter.bias"] - first @ w["mean"]}
    return build_head(Graph(), "features", w, helper.make_tensor_value_info("features", TensorProto.FLOAT, [1, "T", 288]))


def build_head(g, x, w, takes):
    """Adds the head to a graph that takes `takes`, after `x`, and gives the whole as bytes."""
    blocks = 1 + max(int(k.split(".")[1]) for k in w if k.startswith("blocks."))
    x = g.silu(g.linear(x, "enter", w["enter.weight"], w["enter.bias"]))
    for i in range(blocks):
        b = f"blocks.{i}"
        y = g.linear(g.norm(x, f"{b}.norm", w), f"{b}.wide", w[f"{b}.wide.weight"], w[f"{b}.wide.bias"])
        g.add("Split", [y], f"{b}.half0", axis=-1)
        g.nodes[-1].output.append(f"{b}.half1")
        y = g.add("Mul", [f"{b}.half0", g.add("Sigmoid", [f"{b}.half1"], f"{b}.open")], f"{b}.glu")
        y = g.add("Transpose", [y], f"{b}.turned", perm=[0, 2, 1])
        kernel = w[f"{b}.time.weight"]
        y = g.add("Conv", [y, g.weight(f"{b}.time.w", kernel), g.weight(f"{b}.time.b", w[f"{b}.time.bias"], half=False)],
            f"{b}.time", group=kernel.shape[0], kernel_shape=[kernel.shape[2]], pads=[kernel.shape[2] // 2] * 2)
        y = g.silu(g.add("Transpose", [y], f"{b}.back_again", perm=[0, 2, 1]))
        y = g.linear(y, f"{b}.back", w[f"{b}.back.weight"], w[f"{b}.back.bias"])
        x = g.add("Add", [x, y], f"{b}.sum")
    g.linear(g.norm(x, "norm", w), "out", w["out.weight"], w["out.bias"])
    g.add("LogSoftmax", ["out"], "log_probs", axis=-1)
    units = len(w["out.bias"])
    graph = helper.make_graph(g.nodes, "head", [takes],
        # The last layer's inputs, too: what `zonecall enrol` learns a voice from.
        [helper.make_tensor_value_info("log_probs", TensorProto.FLOAT, [1, "T", units]),
            helper.make_tensor_value_info("norm", TensorProto.FLOAT, [1, "T", len(w["enter.bias"])])], g.weights)
    model = helper.make_model(graph, opset_imports=[helper.make_opsetid("", 17)], ir_version=8, producer_name="zonecall")
    onnx.checker.check_model(model)
    return model.SerializeToString()


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("head")
    ask.add_argument("--encoder", default=".ear/parts/encoder_model.ort")
    ask.add_argument("--out", default="models/en")
    ask.add_argument("--version", default="1")
    ask = ask.parse_args()
    w = dict(np.load(ask.head))
    about = json.loads(str(w.pop("about")))
    data = build(w)
    sha = lambda b: hashlib.sha256(b).hexdigest()
    open(f"{ask.out}/head.onnx", "wb").write(data)
    json.dump({"name": "zonecall-en", "version": ask.version, "units": about["units"], "unit_kind": about["kind"],
        "frame_rate_hz": 40, "sample_rate_hz": 16000, "encoder_sha256": sha(open(ask.encoder, "rb").read()),
        "head_sha256": sha(data), "seed": about["seed"], "steps": about["steps"], "hours": round(about["hours"], 1),
        "temperature": 1.0}, open(f"{ask.out}/head.json", "w"), indent=1)
    print(f"{len(data)} bytes, tuning sets: loss {about['tune']:.3f}, phone errors {about['errors']:.2%}, step {about['step']}")


if __name__ == "__main__":
    main()
