"""Other throats and other tempi for what was said: rows of sound changed on the device.

Takes: rows of samples at 16 kHz. Gives: rows whose resonances lie elsewhere, breathier now and then, at the same pitch
(`revoiced`); rows said slower, faster and less evenly at the same pitch (`stretched`).
"""
import math

import torch
from synth import RATE
from torch.nn import functional as F

SIZE, STEP = 512, 128
ENVELOPE = 26  # cepstral coefficients that make the envelope: finer than a formant, coarser than a harmonic
LOWER_HZ = 1200  # the first formant lies below, the others above


def uniform(n, low, high, device):
    return low + (high - low) * torch.rand(n, device=device)


def spectrum(x):
    return torch.stft(x, SIZE, STEP, window=torch.hann_window(SIZE, device=x.device), return_complex=True)


def sound(frames, length):
    return torch.istft(frames, SIZE, STEP, window=torch.hann_window(SIZE, device=frames.device), length=length)


def envelope(loud):
    """The logarithm of the spectrum, smoothed along frequency."""
    cepstrum = torch.fft.irfft(loud, dim=1)
    keep = torch.zeros(cepstrum.shape[1], device=loud.device)
    keep[:ENVELOPE], keep[-ENVELOPE + 1:] = 1, 1
    return torch.fft.rfft(cepstrum * keep[None, :, None], dim=1).real


def warped(curve, low, high):
    """`curve` with what lies below and above `LOWER_HZ` moved by these factors, one of each for a row."""
    bins = curve.shape[1]
    bend = LOWER_HZ / (RATE / 2)
    f = torch.linspace(0, 1, bins, device=curve.device)[None]
    low, high = low[:, None], high[:, None]
    from_ = torch.where(f < bend * low, f / low, bend + (f - bend * low) / high).clamp(0, 1) * (bins - 1)
    at = from_.long().clamp(max=bins - 2)
    part = (from_ - at)[..., None]
    take = lambda i: torch.gather(curve, 1, i[..., None].expand(-1, -1, curve.shape[2]))
    return take(at) * (1 - part) + take(at + 1) * part


def revoiced(x):
    """Each row from another throat: formants moved, and in a third of the rows some of the voice turned to breath."""
    b, d = len(x), x.device
    frames = spectrum(x)
    loud = torch.log(frames.abs() + 1e-5)
    shape = envelope(loud)
    moved = warped(shape, uniform(b, .82, 1.22, d), uniform(b, .8, 1.25, d))
    loud = torch.exp(loud + (moved - shape).clamp(-4, 4))
    breath = uniform(b, 0, .9, d) * (torch.rand(b, device=d) < .33)
    tilt = torch.linspace(.4, 1, loud.shape[1], device=d)[None, :, None]
    phase = frames.angle() + 2 * math.pi * (torch.rand_like(loud) - .5) * breath[:, None, None] * tilt
    return sound(torch.polar(loud, phase), x.shape[1])


def stretched(x, n, factor, uneven):
    """Sound that lasts about `factor` times as long at the same pitch, in places more and in places less; and its lengths."""
    frames = spectrum(x)
    count = frames.shape[-1]
    curve = F.interpolate(torch.randn(1, 1, 3 + count // 60, device=x.device), size=2 * count, mode="linear")[0, 0]
    at = torch.cumsum(torch.exp(uneven * (curve - curve[:count].mean())) / factor, 0)
    at = torch.cat([at.new_zeros(1), at[at < count - 1.001]])
    low, part = at.long(), at - at.floor()
    loud, angle = frames.abs(), frames.angle()
    loud = loud[..., low] * (1 - part) + loud[..., low + 1] * part
    due = torch.arange(SIZE // 2 + 1, device=x.device)[:, None] * (2 * math.pi * STEP / SIZE)
    ahead = torch.remainder(angle[..., low + 1] - angle[..., low] - due + math.pi, 2 * math.pi) - math.pi + due
    phase = angle[..., :1] + F.pad(ahead.cumsum(-1)[..., :-1], (1, 0))
    long = (len(at) - 1) * STEP
    ends = torch.searchsorted(at, n.float() / STEP) * STEP
    return sound(torch.polar(loud, phase), long), ends.clamp(max=long)
