"""Writes encoder and head as one ONNX file, `ear.onnx`, that takes samples, and `head.json` beside it.

Takes: what `whole.py` learned, and the model before to mix it with. Gives: `ear.onnx` with the outputs of `export.py`.
Matrices are kept in 8 bits, a scale for each output, and what else is large in 16-bit floats; both are widened when the
file is loaded, so the arithmetic is in 32 bits.
"""
import argparse
import hashlib
import json

import dimensions
import kept
import numpy as np
from export import Graph
from onnx import TensorProto, helper, numpy_helper

MATRIX_MIN = 20_000  # smaller ones are not worth 8 bits


class Whole(Graph):
    """A graph with matrices in 8 bits."""

    def matrix(self, name, value):
        """A matrix, inputs × outputs."""
        if value.size < MATRIX_MIN:
            return self.weight(name, value)
        step = np.maximum(np.abs(value).max(0) / 127, 1e-9).astype(np.float32)
        whole = np.clip(np.round(value / step), -127, 127).astype(np.int8)
        self.weights += [numpy_helper.from_array(whole, name + ".whole"), numpy_helper.from_array(step, name + ".step")]
        self.nodes.append(helper.make_node("DequantizeLinear", [name + ".whole", name + ".step"], [name], axis=1))
        return name

    def fixed(self, name, value, kind=np.float32):
        if all(w.name != name for w in self.weights):
            self.weights.append(numpy_helper.from_array(np.asarray(value, kind), name))
        return name

    def linear(self, x, name, weight, bias=None):
        product = self.add("MatMul", [x, self.matrix(name + ".w", weight.T)], name + ".product" if bias is not None else name)
        return product if bias is None else self.add("Add", [product, self.weight(name + ".b", bias, half=False)], name)

    def gelu(self, x):
        half = self.add("Mul", [x, self.fixed("half", .5)], x + ".part")
        error = self.add("Erf", [self.add("Div", [x, self.fixed("root2", 2 ** .5)], x + ".over")], x + ".erf")
        return self.add("Mul", [half, self.add("Add", [error, self.fixed("one", 1.0)], x + ".up")], x + ".gelu")

    def scaled(self, x, name, weight):
        return self.add("LayerNormalization", [x, self.weight(name + ".scale", weight, half=False)], name, axis=-1, epsilon=1e-5)

    def conv(self, x, w, i, bias=True):
        weight = w[f"conv{i}.weight"]
        takes = [x, self.weight(f"conv{i}.w", weight)] + ([self.weight(f"conv{i}.b", w[f"conv{i}.bias"], half=False)] if bias else [])
        return self.add("Conv", takes, f"conv{i}", kernel_shape=[weight.shape[2]], strides=[dimensions.STRIDES[i - 1]])

    def stem(self, w):
        x = self.add("Unsqueeze", ["samples", self.fixed("axis1", [1], np.int64)], "sound")
        x = self.add("Tanh", [self.conv(x, w, 1, bias=False)], "tanh")
        mean = self.add("ReduceMean", [x], "stem.mean", axes=[1, 2], keepdims=1)
        away = self.add("Sub", [x, mean], "stem.away")
        spread = self.add("ReduceMean", [self.add("Mul", [away, away], "stem.square")], "stem.spread", axes=[1, 2], keepdims=1)
        size = self.add("Sqrt", [self.add("Add", [spread, self.fixed("little", 1e-5)], "stem.sum")], "stem.size")
        x = self.add("Mul", [self.add("Div", [away, size], "stem.even"), self.fixed("stem.scale", w["scale"][:, None])], "stem.scaled")
        x = self.add("Add", [x, self.fixed("stem.shift", w["shift"][:, None])], "stem")
        x = self.gelu(self.conv(self.gelu(self.conv(x, w, 2)), w, 3))
        return self.add("Transpose", [x], "frames", perm=[0, 2, 1])

    def places(self, x):
        """Cosine and sine of the angle of each frame."""
        count = self.add("Gather", [self.add("Shape", [x], "shape"), self.fixed("at1", 1, np.int64)], "count")
        steps = self.add("Range", [self.fixed("from", 0, np.int64), count, self.fixed("step", 1, np.int64)], "steps")
        place = self.add("Unsqueeze", [self.add("Cast", [steps], "place", to=TensorProto.FLOAT), self.fixed("axis1", [1], np.int64)], "places")
        rate = 10000.0 ** (-np.arange(0, dimensions.TURNED, 2) / dimensions.TURNED)
        angle = self.add("Mul", [place, self.fixed("rates", np.repeat(rate, 2)[None])], "angles")
        return self.add("Cos", [angle], "cos"), self.add("Sin", [angle], "sin")

    def turned(self, x, name, places):
        """Pairs of neighbours turned, by a product with a matrix that swaps them."""
        swap = np.zeros((dimensions.TURNED, dimensions.TURNED))
        for i in range(0, dimensions.TURNED, 2):
            swap[i + 1, i], swap[i, i + 1] = -1, 1
        width = dimensions.WIDTH // dimensions.HEADS
        self.nodes.append(helper.make_node("Split", [x, self.fixed("widths", [dimensions.TURNED, width - dimensions.TURNED], np.int64)],
            [name + ".moved", name + ".stays"], axis=-1))
        beside = self.add("MatMul", [name + ".moved", self.fixed("swap", swap)], name + ".beside")
        moved = self.add("Add", [self.add("Mul", [name + ".moved", places[0]], name + ".c"),
            self.add("Mul", [beside, places[1]], name + ".s")], name + ".turned")
        return self.add("Concat", [moved, name + ".stays"], name + ".whole_again", axis=-1)

    def layer(self, x, i, w, places):
        at = f"layers.{i}"
        of = lambda part: (w[f"{at}.{part}.weight"], w.get(f"{at}.{part}.bias"))
        y = self.scaled(x, f"{at}.input_layernorm", of("input_layernorm")[0])
        split = lambda part: self.add("Transpose", [self.add("Reshape", [self.linear(y, f"{at}.{part}", *of(part)),
            self.fixed("split", [0, 0, dimensions.HEADS, -1], np.int64)], f"{at}.{part}.split")], f"{at}.{part}.heads", perm=[0, 2, 1, 3])
        q, k, v = (split(part) for part in ("q_proj", "k_proj", "v_proj"))
        q, k = self.turned(q, f"{at}.q", places), self.turned(k, f"{at}.k", places)
        heed = self.add("MatMul", [q, self.add("Transpose", [k], f"{at}.k.across", perm=[0, 1, 3, 2])], f"{at}.heed")
        heed = self.add("Mul", [heed, self.fixed("narrow", (dimensions.WIDTH // dimensions.HEADS) ** -.5)], f"{at}.heed.narrow")
        y = self.add("MatMul", [self.add("Softmax", [heed], f"{at}.share", axis=-1), v], f"{at}.heard")
        y = self.add("Reshape", [self.add("Transpose", [y], f"{at}.heard.frames", perm=[0, 2, 1, 3]),
            self.fixed("join", [0, 0, -1], np.int64)], f"{at}.heard.joined")
        x = self.add("Add", [x, self.linear(y, f"{at}.o_proj", *of("o_proj"))], f"{at}.first")
        y = self.scaled(x, f"{at}.post_attention_layernorm", of("post_attention_layernorm")[0])
        y = self.linear(self.gelu(self.linear(y, f"{at}.fc1", *of("fc1"))), f"{at}.fc2", *of("fc2"))
        return self.add("Add", [x, y], f"{at}.second")

    def encode(self, w):
        x = self.stem(w)
        places = self.places(x)
        for i in range(dimensions.LAYERS):
            x = self.layer(x, i, w, places)
        return self.scaled(x, "features", w["layer_norm.weight"])


def mixed(older, newer, share):
    """Each weight that both have lies between theirs."""
    between = lambda name: (1 - share) * older[name].astype(np.float64) + share * newer[name].astype(np.float64)
    return older | {name: between(name).astype(np.float32) for name in newer}


def plain_head(w):
    """The head's weights with the scaling of the features in the first layer."""
    head = {k.removeprefix("head."): v.astype(np.float32) for k, v in w.items() if k.startswith("head.")}
    head["enter.weight"] = head["enter.weight"] / w["deviation"][None]
    head["enter.bias"] = head["enter.bias"] - head["enter.weight"] @ w["mean"]
    return head


def build(w, head):
    from export import build_head

    g = Whole()
    return build_head(g, g.encode(w), head, helper.make_tensor_value_info("samples", TensorProto.FLOAT, [1, "N"]))


def main():
    ask = argparse.ArgumentParser()
    ask.add_argument("learned", nargs="+", help="files of whole.py; of several, the mean")
    ask.add_argument("--older", default="models/en", help="the model before, with its `ear.onnx`")
    ask.add_argument("--share", type=float, default=1.0, help="how far from the older weights to the learned ones")
    ask.add_argument("--out", default="models/en")
    ask.add_argument("--version", default="1")
    ask = ask.parse_args()
    older_encoder, older_head = kept.read(f"{ask.older}/ear.onnx")
    learned = [dict(np.load(file)) for file in ask.learned]
    about = [json.loads(str(one.pop("about"))) for one in learned]
    of_encoder = [{k.removeprefix("encoder."): v for k, v in one.items() if k.startswith("encoder.")} for one in learned]
    of_head = [plain_head(one) for one in learned]
    mean = lambda many: {k: np.mean([one[k].astype(np.float64) for one in many], 0) for k in many[0]}
    assert json.load(open(f"{ask.older}/head.json", encoding="utf-8"))["units"] == about[0]["units"], "other units"
    data = build(mixed(older_encoder, mean(of_encoder), ask.share), mixed(older_head, mean(of_head), ask.share))
    open(f"{ask.out}/ear.onnx", "wb").write(data)
    told = [{k: one[k] for k in ("seed", "steps", "learning", "hours", "heard_hours")} for one in about]
    json.dump({"name": "zonecall-en", "version": ask.version, "units": about[0]["units"], "unit_kind": "phones",
        "frame_rate_hz": 125 / 3, "sample_rate_hz": 16000, "head_sha256": hashlib.sha256(data).hexdigest(), "learned": told,
        "share_of_learned": ask.share}, open(f"{ask.out}/head.json", "w", encoding="utf-8"), indent=1)
    print(f"{len(data)} bytes; " + "; ".join(str(one["errors"]) for one in about))


if __name__ == "__main__":
    main()
