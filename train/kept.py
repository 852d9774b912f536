"""The weights of an ONNX file of `export.py` or `export_whole.py`, widened, by the names that they have in training.

Takes: `head.onnx` or `ear.onnx`. Gives: the encoder's weights (none of a head alone) and the head's, 32-bit floats.
"""
import re

import numpy as np

SHORT = {"w": "weight", "b": "bias", "scale": "weight"}
OF_ENCODER = re.compile(r"(conv\d|layers\.\d)\.")


def values(path):
    """Each weight by its name in the file, matrices in 8 bits multiplied out."""
    import onnx
    from onnx import numpy_helper

    held = {w.name: numpy_helper.to_array(w) for w in onnx.load(path).graph.initializer}
    for name, value in held.items():
        if name.endswith(".whole"):
            yield name.removesuffix(".whole"), value.astype(np.float32) * held[name.removesuffix(".whole") + ".step"]
        elif not name.endswith(".step") and value.dtype in (np.float16, np.float32):
            yield name.removesuffix(".half"), value.astype(np.float32)


def read(path):
    encoder, head = {}, {}
    for name, value in values(path):
        if name in ("stem.scale", "stem.shift"):
            encoder[name.removeprefix("stem.")] = value.ravel()
        elif name == "features.scale":
            encoder["layer_norm.weight"] = value
        elif "." in name:
            layer, kind = name.rsplit(".", 1)
            long = f"{layer}.{SHORT.get(kind, kind)}"
            # Products are written inputs × outputs.
            turned = value.T if kind == "w" and value.ndim == 2 else value
            (encoder if OF_ENCODER.match(name) else head)[long] = np.ascontiguousarray(turned)
    return encoder, head
