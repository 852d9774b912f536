"""Runs an ONNX graph in PyTorch, so that a synthesiser that comes as one can speak on a GPU.

Takes: a file with the operators of `Kokoro` (`fetch.py`). Gives: `Graph.run`, called as ONNX Runtime's. Whole numbers stay
on the processor, where shapes are worked out; what is computed with is on the device.
`python3 onnx_torch.py FILE` prints how far its sound is from ONNX Runtime's.
"""
import sys

import numpy as np
import onnx
import torch
from onnx import numpy_helper
from torch.nn import functional as F

TYPES = {1: torch.float32, 6: torch.int32, 7: torch.int64, 9: torch.bool, 10: torch.float32, 11: torch.float32}


def together(*values):
    """The same values on one device, which is not the processor if any of them is elsewhere."""
    away = next((v.device for v in values if v is not None and v.device.type != "cpu"), None)
    return [v if v is None or away is None else v.to(away) for v in values]


def whole(value):
    return [int(v) for v in value.reshape(-1).tolist()]


def gather(x, at, axis):
    x, at = together(x, at)
    size = x.shape[axis]
    picked = x.index_select(axis, torch.where(at < 0, at + size, at).reshape(-1))
    return picked.reshape((*x.shape[:axis], *at.shape, *x.shape[axis + 1:]))


def cut(x, starts, ends, axes=None, steps=None):
    axes = whole(axes) if axes is not None else range(len(whole(starts)))
    steps = whole(steps) if steps is not None else [1] * len(whole(starts))
    for start, end, axis, step in zip(whole(starts), whole(ends), axes, steps, strict=True):
        first, last, _ = slice(start, end, step).indices(x.shape[axis])
        x = x.index_select(axis, torch.arange(first, last, step, device=x.device))
    return x


def convolve(x, w, b, how, turned=False):
    x, w, b = together(x, w, b)
    dims = x.dim() - 2
    pads, strides = how.get("pads", [0] * 2 * dims), how.get("strides", [1] * dims)
    dilations, groups = how.get("dilations", [1] * dims), how.get("group", 1)
    if turned:
        return F.conv_transpose1d(x, w, b, strides, pads[:1], how.get("output_padding", [0]), groups, dilations)
    if any(pads):
        x = F.pad(x, [n for i in reversed(range(dims)) for n in (pads[i], pads[i + dims])])
    return (F.conv1d if dims == 1 else F.conv2d)(x, w, b, strides, 0, dilations, groups)


def padded(x, pads, value, mode):
    n, pads = x.dim(), whole(pads)
    sizes = [p for i in reversed(range(n)) for p in (pads[i], pads[i + n])]
    if mode == "constant":
        return F.pad(x, sizes, value=float(value) if value is not None else 0.0)
    while len(sizes) > 2 and not any(sizes[-2:]):
        sizes = sizes[:-2]
    flat = x if n > 1 else x[None]
    return F.pad(flat, sizes, mode=mode).reshape(*x.shape[:-1], -1)


def resized(x, how, scales, sizes):
    # `scales` and `sizes` count all axes; only the last one changes here.
    size = whole(sizes)[-1] if sizes is not None else int(x.shape[-1] * float(scales.reshape(-1)[-1]))
    if how["mode"] == "nearest":
        return F.interpolate(x, size, mode="nearest")
    scale = size / x.shape[-1] if scales is None else float(scales.reshape(-1)[-1])
    at = ((torch.arange(size, device=x.device) + .5) / scale - .5).clamp(0, x.shape[-1] - 1)
    low = at.floor().long()
    high = (low + 1).clamp(max=x.shape[-1] - 1)
    return x[..., low] + (x[..., high] - x[..., low]) * (at - low)


def spectrum(x, step, window):
    """Frames of a signal of one channel, real and imaginary parts last."""
    x, window = together(x.reshape(x.shape[0], -1), window)
    found = torch.stft(x, len(window), int(step), window=window, center=False, return_complex=True)
    return torch.view_as_real(found.transpose(1, 2))


def scattered(x, at, values):
    x, at, values = together(x, at, values)
    x = x.clone()
    x[tuple(at.reshape(-1, at.shape[-1]).T)] = values.reshape(-1, *x.shape[at.shape[-1]:])
    return x


def reduced(x, axes, keep):
    return x.mean(axes, keepdim=keep) if axes else x.mean()


class Recurrent:
    """An LSTM of two directions, its weights in 8 bits in the file."""

    def __init__(self, graph, node, hidden, device):
        value = lambda i: graph[node.input[i]].float()
        order = torch.cat([torch.arange(hidden) + hidden * k for k in (0, 2, 3, 1)])  # from i, o, f, c to i, f, g, o
        x, h = (((value(i) - value(z)[:, None, None]) * value(s)[:, None, None]).transpose(1, 2) for i, s, z in ((1, 8, 9), (2, 10, 11)))
        b = value(3)
        self.net = torch.nn.LSTM(x.shape[2], hidden, bidirectional=True).to(device)
        with torch.no_grad():
            for way, end in enumerate(("", "_reverse")):
                biases = (("bias_ih", b[way, :4 * hidden]), ("bias_hh", b[way, 4 * hidden:]))
                for name, kept in (("weight_ih", x[way]), ("weight_hh", h[way]), *biases):
                    getattr(self.net, f"{name}_l0{end}").copy_(kept[order])
        self.net.flatten_parameters()

    def __call__(self, x):
        y, (h, c) = self.net(x)
        return y.reshape(*y.shape[:2], 2, -1).transpose(1, 2), h, c


class Graph:
    def __init__(self, path, device):
        self.device, model = device, onnx.load(path)
        place = lambda value: value.to(device) if value.is_floating_point() and value.dim() else value
        held = {w.name: torch.from_numpy(numpy_helper.to_array(w).copy()) for w in model.graph.initializer}
        self.held = {name: place(value) for name, value in held.items()}
        self.nodes, self.gives = [], model.graph.output[0].name
        last = {}
        for i, node in enumerate(model.graph.node):
            how = {a.name: onnx.helper.get_attribute_value(a) for a in node.attribute}
            how = {k: v.decode() if isinstance(v, bytes) else v for k, v in how.items()}
            if node.op_type == "DynamicQuantizeLSTM":
                how["net"] = Recurrent(held, node, how["hidden_size"], device)
            self.nodes.append((node.op_type, list(node.input), list(node.output), how))
            last.update(dict.fromkeys(node.input, i))
        self.over = {}
        for name, i in last.items():
            if name and name not in self.held and name != self.gives:
                self.over.setdefault(i, []).append(name)

    @torch.no_grad()
    def run(self, _, given):
        known = dict(self.held)
        for name, value in given.items():
            value = torch.from_numpy(value)
            known[name] = value.to(self.device) if value.is_floating_point() else value
        for i, (kind, takes, gives, how) in enumerate(self.nodes):
            found = self.step(kind, [known[name] if name else None for name in takes], how, len(gives))
            for name, value in zip(gives, found if isinstance(found, tuple) else (found,), strict=False):
                known[name] = value
            for name in self.over.get(i, []):
                del known[name]
        return [known[self.gives].float().cpu().numpy()]

    def step(self, kind, x, how, count):
        if kind in PAIRS:
            return PAIRS[kind](*together(*x[:2]))
        if kind in ALONE:
            return ALONE[kind](x[0])
        return getattr(self, f"do_{kind}")(x, how, count)

    def do_Cast(self, x, how, _):
        return x[0].to(TYPES[how["to"]])

    def do_Unsqueeze(self, x, _, __):
        value = x[0]
        for axis in sorted(whole(x[1])):
            value = value.unsqueeze(axis)
        return value

    def do_Squeeze(self, x, _, __):
        value = x[0]
        for axis in sorted(whole(x[1]), reverse=True) if len(x) > 1 else []:
            value = value.squeeze(axis)
        return value if len(x) > 1 else value.squeeze()

    def do_Reshape(self, x, how, _):
        shape = [x[0].shape[i] if n == 0 and not how.get("allowzero") else n for i, n in enumerate(whole(x[1]))]
        return x[0].reshape(shape)

    def do_Gather(self, x, how, _):
        return gather(x[0], x[1], how.get("axis", 0))

    def do_ReduceMean(self, x, how, _):
        return reduced(x[0], whole(x[1]) if len(x) > 1 else how.get("axes"), bool(how.get("keepdims", 1)))

    def do_ReduceSum(self, x, how, _):
        return x[0].sum(whole(x[1]) if len(x) > 1 else how["axes"], keepdim=bool(how.get("keepdims", 1)))

    def do_Conv(self, x, how, _):
        return convolve(x[0], x[1], x[2] if len(x) > 2 else None, how)

    def do_ConvTranspose(self, x, how, _):
        return convolve(x[0], x[1], x[2] if len(x) > 2 else None, how, turned=True)

    def do_Transpose(self, x, how, _):
        return x[0].permute(how["perm"])

    def do_Split(self, x, how, _):
        return x[0].split(whole(x[1]), how.get("axis", 0))

    def do_Shape(self, x, how, _):
        return torch.tensor(x[0].shape[how.get("start", 0):how.get("end")])

    def do_Concat(self, x, how, _):
        return torch.cat(together(*x), how["axis"])

    def do_LeakyRelu(self, x, how, _):
        return F.leaky_relu(x[0], how.get("alpha", .01))

    def do_Slice(self, x, _, __):
        return cut(*x)

    def do_LayerNormalization(self, x, how, _):
        return F.layer_norm(x[0], x[0].shape[-1:], x[1], x[2] if len(x) > 2 else None, how["epsilon"])

    def do_SkipLayerNormalization(self, x, how, _):
        total = x[0] + x[1] + (x[4] if len(x) > 4 and x[4] is not None else 0)
        return F.layer_norm(total, total.shape[-1:], x[2], x[3] if len(x) > 3 else None, how["epsilon"])

    def do_Softmax(self, x, how, _):
        return x[0].softmax(how.get("axis", -1))

    def do_FastGelu(self, x, _, __):
        return F.gelu(x[0] + x[1] if len(x) > 1 else x[0], approximate="tanh")

    def do_Where(self, x, _, __):
        return torch.where(*together(*x))

    def do_ConstantOfShape(self, x, how, _):
        value = numpy_helper.to_array(how["value"]) if "value" in how else np.zeros(1, np.float32)
        filled = torch.full(whole(x[0]), value.item(), dtype=torch.from_numpy(value.copy()).dtype)
        return filled.to(self.device) if filled.is_floating_point() else filled

    def do_DynamicQuantizeLSTM(self, x, how, _):
        return how["net"](x[0])

    def do_Resize(self, x, how, _):
        part = lambda i: x[i] if len(x) > i and x[i] is not None and x[i].numel() else None
        return resized(x[0], how, part(2), part(3))

    def do_Expand(self, x, _, __):
        shape = torch.broadcast_shapes(x[0].shape, whole(x[1]))
        return x[0].expand(shape)

    def do_DequantizeLinear(self, x, _, __):
        value, scale, zero = together(*x)
        return ((value.float() - zero.float()) * scale).to(self.device)

    def do_CumSum(self, x, _, __):
        return x[0].cumsum(int(x[1]))

    def do_Range(self, x, _, __):
        return torch.arange(*(v.item() for v in x))

    def do_Pad(self, x, how, _):
        return padded(x[0], x[1], x[2] if len(x) > 2 else None, how.get("mode", "constant"))

    def do_Clip(self, x, _, __):
        bound = lambda i: float(x[i]) if len(x) > i and x[i] is not None else None
        return x[0].clamp(bound(1), bound(2))

    def do_FusedMatMul(self, x, how, _):
        a, b = together(*x[:2])
        a = a.transpose(-1, -2) if how.get("transA") else a
        return a @ (b.transpose(-1, -2) if how.get("transB") else b) * how.get("alpha", 1.0)

    def do_STFT(self, x, _, __):
        return spectrum(x[0], x[1], x[2])

    def do_NonZero(self, x, _, __):
        return x[0].nonzero().T

    def do_ScatterND(self, x, _, __):
        return scattered(*x)


def divided(a, b):
    if a.is_floating_point() or b.is_floating_point():
        return torch.where(a == 0, torch.zeros_like(a), a / b)  # the angle of silence
    return torch.div(a, b, rounding_mode="trunc")


PAIRS = {"Mul": torch.mul, "Add": torch.add, "Sub": torch.sub, "Div": divided, "MatMul": torch.matmul, "Pow": torch.pow,
    "Equal": torch.eq, "Greater": torch.gt, "Less": torch.lt, "GreaterOrEqual": torch.ge, "And": torch.logical_and}
ALONE = {"Sqrt": torch.sqrt, "Sin": torch.sin, "Cos": torch.cos, "Exp": torch.exp, "Atan": torch.atan, "Tanh": torch.tanh,
    "Sigmoid": torch.sigmoid, "Round": torch.round, "Floor": torch.floor}


def main():
    import onnxruntime

    device = "cuda" if torch.cuda.is_available() else "cpu"
    ours, original = Graph(sys.argv[1], device), onnxruntime.InferenceSession(sys.argv[1])
    rng = np.random.default_rng(1)
    given = {"tokens": np.array([[0, *rng.integers(43, 120, 40), 0]]), "speed": np.ones(1, np.float32),
        "style": (rng.standard_normal((1, 256)) * .1).astype(np.float32)}
    a, b = ours.run(None, given)[0].ravel(), original.run(None, given)[0].ravel()
    size = min(len(a), len(b))
    apart = np.linalg.norm(np.abs(np.fft.rfft(a[:size])) - np.abs(np.fft.rfft(b[:size]))) / np.linalg.norm(np.fft.rfft(b[:size]))
    print(f"{len(a)} samples for {len(b)}, spectra {apart:.3f} apart")


if __name__ == "__main__":
    main()
