"""Speech from free synthesisers, as 16 kHz samples.

Takes: text, a voice, rate and pitch. Gives: float samples, silence trimmed, peak 0.8.
Needs: flite, espeak-ng, festival, rhvoice and pico (Debian); for Kokoro and piper the files that `fetch.py` lays down.
"""
import json
import math
import os
import subprocess
import tempfile
import wave

import numpy as np
from scipy.io import wavfile
from scipy.signal import resample_poly

RATE = 16000


def read_wav(path):
    rate, x = wavfile.read(path)
    x = x.astype(np.float32) / (32768 if x.dtype == np.int16 else 1)
    return to_16k(x.mean(1) if x.ndim == 2 else x, rate)


def write_wav(path, x):
    with wave.open(path, "wb") as w:
        w.setnchannels(1), w.setsampwidth(2), w.setframerate(RATE)
        w.writeframes((np.clip(x, -1, 1) * 32767).astype("<i2").tobytes())


def to_16k(x, rate):
    g = math.gcd(RATE, rate)
    return x if rate == RATE else resample_poly(x, RATE // g, rate // g).astype(np.float32)


def trim(x):
    loud = np.flatnonzero(np.abs(x) > .01 * np.abs(x).max()) if len(x) else []
    if len(loud) == 0:
        return np.zeros(0, np.float32)
    x = x[max(0, loud[0] - 480): loud[-1] + 800]
    return (x / np.abs(x).max() * .8).astype(np.float32)


def _run(command, path, text=None):
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=60, check=False, text=True,
        input=text or "")
    return taken(path)


def taken(path):
    """What a synthesiser wrote, trimmed, or nothing; the file goes."""
    try:
        return trim(read_wav(path))
    except (OSError, EOFError, ValueError):
        return np.zeros(0, np.float32)
    finally:
        if os.path.exists(path):
            os.remove(path)


def temporary():
    handle, path = tempfile.mkstemp(".wav")
    os.close(handle)
    return path


def flite(voice, text, stretch=1.0, pitch=None):
    path = temporary()
    more = ["--setf", f"int_f0_target_mean={pitch}"] if pitch else []
    return _run(["flite", "-voice", voice, "--setf", f"duration_stretch={stretch:.2f}", *more, "-t", text, "-o", path], path)


def espeak(voice, text, speed=150, pitch=50):
    path = temporary()
    return _run(["espeak-ng", "-v", voice, "-s", str(speed), "-p", str(pitch), "-w", path, text], path)


def rhvoice(voice, text, rate=100, pitch=100):
    """Rate and pitch in per cent."""
    path = temporary()
    return _run(["RHVoice-test", "-p", voice, "-r", str(rate), "-t", str(pitch), "-o", path], path, text)


def pico(language, text, speed=100, pitch=100):
    """Speed and pitch in per cent."""
    path = temporary()
    return _run(["pico2wave", "-l", language, "-w", path, f'<speed level="{speed}"><pitch level="{pitch}">{text}</pitch></speed>'], path)


def festival(voice, text):
    path = temporary()
    with tempfile.NamedTemporaryFile("w", suffix=".scm") as f:
        f.write(f'(voice_{voice})\n(utt.save.wave (utt.synth (Utterance Text "{text}")) "{path}")\n')
        f.flush()
        return _run(["festival", "-b", f.name], path)


def phonemes(text, accent):
    """IPA by espeak-ng, clauses joined, their commas kept."""
    said = subprocess.run(["espeak-ng", "-q", "--ipa", "-v", accent, text], capture_output=True, text=True, check=True)
    return ", ".join(line.strip() for line in said.stdout.splitlines() if line.strip())


# Kokoro writes diphthongs and affricates as one sign.
KOKORO_SIGNS = [("ɚ", "əɹ"), ("ɐ", "ə"), ("eɪ", "A"), ("aɪ", "I"), ("oʊ", "O"), ("əʊ", "Q"), ("aʊ", "W"), ("ɔɪ", "Y"),
    ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("r", "ɹ"), ("ɾ", "T"), ("ᵻ", "ɪ"), ("x", "k")]


def session(path, threads=1):
    import onnxruntime

    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads, options.inter_op_num_threads = threads, 1
    options.log_severity_level = 3
    return onnxruntime.InferenceSession(path, options, providers=["CPUExecutionProvider"])


class Kokoro:
    """Kokoro 82M, int8. A voice is a table of styles, one for each length; voices can be mixed."""

    def __init__(self, folder, threads=1, device="cpu"):
        self.folder, self.styles = folder, {}
        if device == "cpu":
            self.session = session(f"{folder}/kokoro.onnx", threads)
        else:
            import onnx_torch

            self.session = onnx_torch.Graph(f"{folder}/kokoro.onnx", device)
        self.signs = json.load(open(f"{folder}/vocab.json"))["vocab"]

    @staticmethod
    def tokens(folder, text, accent, changed=None):
        signs = json.load(open(f"{folder}/vocab.json"))["vocab"]
        ipa = phonemes(text, accent)
        if changed:
            ipa = changed(ipa)
        for a, b in KOKORO_SIGNS:
            ipa = ipa.replace(a, b)
        return [signs[c] for c in ipa if c in signs]

    def style(self, voice, length):
        if voice not in self.styles:
            self.styles[voice] = np.fromfile(f"{self.folder}/voices/{voice}.bin", np.float32).reshape(-1, 256)
        table = self.styles[voice]
        return table[min(length, len(table)) - 1]

    def say(self, tokens, voice, speed=1.0, other=None, share=0.0):
        style = self.style(voice, len(tokens))
        if other:
            style = (1 - share) * style + share * self.style(other, len(tokens))
        x = self.session.run(None, {"tokens": np.array([[0, *tokens, 0]], np.int64),
            "style": style.reshape(1, 256).astype(np.float32), "speed": np.array([speed], np.float32)})[0]
        return trim(to_16k(x.ravel().astype(np.float32), 24000))


class Piper:
    """A piper voice, run straight from its ONNX file."""

    def __init__(self, path, threads=1):
        self.session, self.config = session(path, threads), json.load(open(path + ".json"))

    def say(self, text, length=1.0, seed=0):
        ids, table = [1], self.config["phoneme_id_map"]
        ids += table["_"]
        for sign in phonemes(text, self.config["espeak"]["voice"]):
            if sign in table:
                ids += table[sign] + table["_"]
        ids += table["$"]
        x = self.session.run(None, {"input": np.array([ids], np.int64), "input_lengths": np.array([len(ids)], np.int64),
            "scales": np.array([.667, length, .8], np.float32)})[0]
        return trim(to_16k(x.ravel().astype(np.float32), self.config["audio"]["sample_rate"]))
