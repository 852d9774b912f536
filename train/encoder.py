"""The speech encoder in PyTorch, so that its upper layers can learn, with the weights of its packed file.

Takes: `encoder_model.ort`. Gives: `weights(path)`, matrices widened from 8 bits, and `Encoder`, which makes of them what
ONNX Runtime makes of the file, but for the rounding of what flows between its layers (`python3 encoder.py FILE OUT.npz`
keeps the weights and prints how far apart the two are).
"""
import re
import sys

import numpy as np
import torch
from dimensions import HEADS, INNER, KERNELS, LAYERS, STRIDES, TURNED, WIDTH
from torch import nn
from torch.nn import functional as F


def weights(path):
    """The file's weights by the names that `Encoder` gives them."""
    from onnxruntime.tools.ort_format_model.ort_flatbuffers_py.fbs.InferenceSession import InferenceSession

    graph = InferenceSession.GetRootAs(bytearray(open(path, "rb").read()), 0).Model().Graph()
    types = {1: np.float32, 2: np.uint8, 3: np.int8, 6: np.int32, 7: np.int64, 9: np.bool_}
    held = {}
    for i in range(graph.InitializersLength()):
        t = graph.Initializers(i)
        if t.RawDataLength():
            shape = [t.Dims(k) for k in range(t.DimsLength())]
            held[t.Name().decode()] = np.frombuffer(t.RawDataAsNumpy().tobytes(), types[t.DataType()]).reshape(shape)
    found = {}
    for i in range(graph.NodesLength()):
        node = graph.Nodes(i)
        takes = [node.Inputs(k).decode() for k in range(node.InputsLength())]
        gives, kind = node.Outputs(0).decode(), node.OpType().decode()
        own = [name for name in takes if name in held]
        if "Conv" in kind:
            name = next((n for n in ("conv2", "conv3") if any(n in one for one in own)), "conv1")
            found[f"{name}.weight"] = held[own[0]]
            if len(own) > 1:
                found[f"{name}.bias"] = held[own[1]]
        elif kind in ("MatMulIntegerToFloat", "DynamicQuantizeMatMul"):
            packed = next(name for name in own if name.endswith("_quantized"))
            part = lambda end, packed=packed: held[packed.removesuffix("_quantized") + end].astype(np.float32)
            layer, name = re.search(r"layers\.(\d)/(?:self_attn|mlp)/(\w+?)/", gives).groups()
            found[f"layers.{layer}.{name}.weight"] = ((part("_quantized") - part("_zero_point")) * part("_scale")).T.copy()
            if bias := [name for name in own if name.endswith(".bias")]:
                found[f"layers.{layer}.{name}.bias"] = held[bias[0]]
        elif kind in ("LayerNormalization", "SkipLayerNormalization"):
            name = next(name for name in own if name.endswith("norm.weight"))
            found[name] = held[name]
    # The scale and shift after the first convolution have lost their names.
    group = sorted((n for n in held if re.match(r"onnx::(Mul|Add)_\d+$", n) and held[n].size == WIDTH), reverse=True)
    found["scale"], found["shift"] = (held[n].ravel() for n in group)
    return found


def frames_of(samples):
    for kernel, stride in zip(KERNELS, STRIDES, strict=True):
        samples = (samples - kernel) // stride + 1
    return samples


class Scale(nn.Module):
    """A normalisation without a shift."""

    def __init__(self, width):
        super().__init__()
        self.weight = nn.Parameter(torch.ones(width))

    def forward(self, x):
        return F.layer_norm(x.float(), x.shape[-1:], self.weight.float())


def places(count, device):
    """Cosine and sine of the angle that each frame is turned by."""
    rate = 10000.0 ** (-torch.arange(0, TURNED, 2, device=device).float() / TURNED)
    angle = torch.outer(torch.arange(count, device=device).float(), rate).repeat_interleave(2, 1)
    return angle.cos(), angle.sin()


def turn(x, cos, sin):
    moved, stays = x[..., :TURNED], x[..., TURNED:]
    beside = torch.stack([-moved[..., 1::2], moved[..., 0::2]], -1).reshape(moved.shape)
    return torch.cat([moved * cos + beside * sin, stays], -1)


class Layer(nn.Module):
    def __init__(self):
        super().__init__()
        self.input_layernorm, self.post_attention_layernorm = Scale(WIDTH), Scale(WIDTH)
        self.q_proj, self.k_proj, self.v_proj, self.o_proj = (nn.Linear(WIDTH, WIDTH, bias=False) for _ in range(4))
        self.fc1, self.fc2 = nn.Linear(WIDTH, INNER), nn.Linear(INNER, WIDTH)

    def forward(self, x, away, cos, sin):
        """`away`: what is added to the attention of frames that do not count, batch × 1 × 1 × frames."""
        y = self.input_layernorm(x)
        split = lambda z: z.reshape(*z.shape[:2], HEADS, -1).transpose(1, 2)
        q, k, v = turn(split(self.q_proj(y)), cos, sin), turn(split(self.k_proj(y)), cos, sin), split(self.v_proj(y))
        heed = (q @ k.transpose(-1, -2)).float() * (WIDTH // HEADS) ** -.5 + away
        y = (heed.softmax(-1).to(v.dtype) @ v).transpose(1, 2).reshape(x.shape)
        x = x + self.o_proj(y)
        return x + self.fc2(F.gelu(self.fc1(self.post_attention_layernorm(x))))


class Encoder(nn.Module):
    def __init__(self):
        super().__init__()
        self.conv1 = nn.Conv1d(1, WIDTH, KERNELS[0], STRIDES[0], bias=False)
        self.conv2 = nn.Conv1d(WIDTH, 2 * WIDTH, KERNELS[1], STRIDES[1])
        self.conv3 = nn.Conv1d(2 * WIDTH, WIDTH, KERNELS[2], STRIDES[2])
        self.scale, self.shift = nn.Parameter(torch.ones(WIDTH)), nn.Parameter(torch.zeros(WIDTH))
        self.layers = nn.ModuleList(Layer() for _ in range(LAYERS))
        self.layer_norm = Scale(WIDTH)

    def stem(self, x, samples):
        """Frames before the layers; samples after `samples` of a row do not count."""
        with torch.autocast(x.device.type, enabled=False):
            y = torch.tanh(self.conv1(x.float()[:, None]))
            counts = ((samples - KERNELS[0]) // STRIDES[0] + 1)[:, None]
            own = (torch.arange(y.shape[-1], device=x.device)[None] < counts)[:, None].float()
            size = own.sum((1, 2)) * WIDTH
            mean = ((y * own).sum((1, 2)) / size)[:, None, None]
            spread = (((y - mean) ** 2 * own).sum((1, 2)) / size)[:, None, None]
            y = (y - mean) * torch.rsqrt(spread + 1e-5) * self.scale[:, None] + self.shift[:, None]
        return F.gelu(self.conv3(F.gelu(self.conv2(y)))).transpose(1, 2)

    def forward(self, x, samples, learning=LAYERS):
        """Frames, and how many of each row count; the lowest layers down to the last `learning` keep their weights."""
        frames = frames_of(samples)
        with torch.set_grad_enabled(torch.is_grad_enabled() and learning > LAYERS):
            y = self.stem(x, samples)
        away = (torch.arange(y.shape[1], device=x.device)[None] >= frames[:, None])[:, None, None] * -1e9
        cos, sin = places(y.shape[1], x.device)
        for i, layer in enumerate(self.layers):
            with torch.set_grad_enabled(torch.is_grad_enabled() and i >= LAYERS - learning):
                y = layer(y, away, cos, sin)
        return self.layer_norm(y), frames


def read(path):
    encoder = Encoder()
    encoder.load_state_dict({k: torch.from_numpy(np.asarray(v, np.float32)) for k, v in np.load(path).items()})
    return encoder


def main():
    import synth

    np.savez_compressed(sys.argv[2], **{k: v.astype(np.float16) for k, v in weights(sys.argv[1]).items()})
    encoder, original = read(sys.argv[2]).eval(), synth.session(sys.argv[1])
    x = np.random.default_rng(1).standard_normal((1, 48000)).astype(np.float32) * .05
    if len(sys.argv) > 3:
        x = synth.read_wav(sys.argv[3])[None, :80000].astype(np.float32)
    wanted = original.run(None, {"input_values": x, "attention_mask": np.ones(x.shape, np.int64)})[0]
    with torch.no_grad():
        n = torch.tensor([x.shape[1]])
        got = encoder(torch.from_numpy(x), n)[0].numpy()
        longer = encoder(F.pad(torch.from_numpy(x), (0, 9000)), n)[0].numpy()[:, :got.shape[1]]
    apart = lambda a, b: np.linalg.norm(a - b) / np.linalg.norm(b)
    print(f"{apart(got, wanted):.3f} of the original apart, {apart(longer, got):.5f} with silence after it")


if __name__ == "__main__":
    main()
