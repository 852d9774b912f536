"""Noise of a yard, rooms, microphones and codecs, all made here from random numbers.

Takes: samples at 16 kHz, a numpy generator. Gives: noise of standard deviation 1, or the changed samples.
"""
import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import fftconvolve, lfilter, resample_poly

RATE = 16000
SPEECH = 2000 / 32768  # level that speech is brought to before noise is added


def level(x):
    """Samples with the speech in them at the reference level; near-silence does not count."""
    peak = np.abs(x).max() if len(x) else 0
    loud = x[np.abs(x) > max(.02 * peak, 1e-4)]
    return x * (SPEECH / (np.sqrt(np.mean(loud ** 2)) + 1e-9)) if len(loud) > 100 else x


def _unit(x):
    return (x / (np.std(x) + 1e-9)).astype(np.float32)


def coloured(n, rng, slope):
    """Noise whose power falls with frequency to the power of 2 × `slope`; 0.5 is pink."""
    size = next_fast_len(n, real=True)
    spectrum = rfft(rng.standard_normal(size, np.float32))
    f = np.maximum(np.arange(len(spectrum), dtype=np.float32), 1)
    return _unit(irfft(spectrum / f ** slope, size)[:n])


def pink(n, rng):
    return coloured(n, rng, .5)


def _slow(n, rng, step):
    """A smooth random curve, a new point every `step` samples."""
    points = rng.standard_normal(n // step + 2)
    return np.interp(np.arange(n), np.arange(len(points)) * step, points)


def fan(n, rng):
    t, f0 = np.arange(n) / RATE, rng.uniform(40, 180)
    tones = sum(rng.uniform(.1, 1) / h * np.sin(2 * np.pi * f0 * h * t + rng.uniform(0, 6)) for h in range(1, 8))
    return _unit(coloured(n, rng, rng.uniform(.4, .9)) + rng.uniform(.1, .7) * _unit(tones))


def clippers(n, rng):
    f0 = rng.uniform(45, 130) * (1 + .01 * _slow(n, rng, 4000))
    phase = 2 * np.pi * np.cumsum(f0) / RATE
    buzz = sum(rng.uniform(.3, 1) / h ** .6 * np.sin(h * phase + rng.uniform(0, 6)) for h in range(1, 40))
    return _unit(_unit(buzz) * (1 + .2 * _slow(n, rng, 3000)) + .3 * coloured(n, rng, .2))


def rain(n, rng):
    drops = (rng.random(n) < rng.uniform(.002, .03)) * rng.standard_normal(n)
    return _unit(lfilter([1], [1, -rng.uniform(.3, .85)], drops) + .1 * rng.standard_normal(n))


def knocks(n, rng, per_second, low):
    """Hooves, doors, buckets: short decaying bursts over a floor of noise."""
    y = .15 * pink(n, rng)
    for _ in range(rng.poisson(per_second * n / RATE) + 1):
        length = min(n, int(rng.uniform(.02, .15) * RATE))
        at = rng.integers(0, n - length + 1)
        burst = rng.standard_normal(length) * np.exp(-np.arange(length) / (length / 5))
        if low:
            burst = lfilter([1], [1, -.93], burst)
        y[at:at + length] += _unit(burst) * rng.uniform(.5, 4)
    return _unit(y)


def yard(n, rng):
    """One of the noises above."""
    kind = rng.integers(9)
    if kind <= 2:
        return pink(n, rng)
    if kind == 3:
        return coloured(n, rng, rng.uniform(0, 1.1))
    if kind == 4:
        return fan(n, rng)
    if kind == 5:
        return clippers(n, rng)
    if kind == 6:
        return rain(n, rng)
    if kind == 7:
        return knocks(n, rng, rng.uniform(1, 6), rng.random() < .6)
    return _unit(pink(n, rng) * np.exp(.7 * _slow(n, rng, 3000)))


def babble(n, rng, talk, voices, vary=False):
    """Several people talking: `voices` pieces from anywhere in `talk`, one on top of another.

    `vary` makes each piece another person, nearer or farther: a few minutes of talk then serve for a long training.
    """
    y = np.zeros(n, np.float32)
    for _ in range(voices):
        speed = rng.uniform(.82, 1.22) if vary else 1
        length = int(n * speed)
        at = rng.integers(0, len(talk) - length)
        piece = talk[at:at + length]
        if vary:
            piece = np.interp(np.linspace(0, length - 1, n), np.arange(length), piece) * 10 ** (rng.uniform(-5, 5) / 20)
        y += piece
    return _unit(y)


def mix(x, noise, snr_db):
    """Speech at the reference level with noise that many dB below it."""
    return x + noise * (SPEECH / 10 ** (snr_db / 20))


def room(x, rng):
    n = int(rng.uniform(.05, .5) * RATE)
    h = rng.standard_normal(n) * np.exp(-6.9 * np.arange(n) / n) * rng.uniform(.02, .15)
    h[0] = 1
    return fftconvolve(x, h)[:len(x) + RATE // 5].astype(np.float32)


def tempo(x, factor):
    n = int(len(x) / factor)
    return np.interp(np.arange(n) * factor, np.arange(len(x)), x).astype(np.float32)


def microphone(x, rng):
    size = next_fast_len(len(x), real=True)
    spectrum = rfft(x.astype(np.float32), size)
    f = np.linspace(0, 1, len(spectrum))
    gain = np.interp(f, np.linspace(0, 1, 7), rng.uniform(-8, 8, 7))
    gain -= 30 * (f < rng.uniform(0, .045))
    return irfft(spectrum * 10 ** (gain / 20), size)[:len(x)].astype(np.float32)


def narrow(x, rng):
    """A telephone or a cheap radio link: sampled more slowly and back, sometimes in 8 bits (µ-law)."""
    up, down = [(1, 2), (5, 8), (3, 8)][rng.integers(3)]
    back = resample_poly(resample_poly(x, up, down), down, up)[:len(x)]
    if rng.random() < .4:
        s = np.clip(back / (np.abs(back).max() + 1e-9), -1, 1)
        s = np.sign(s) * np.log1p(255 * np.abs(s)) / np.log(256)
        s = np.round(s * 127) / 127
        back = np.sign(s) * (256 ** np.abs(s) - 1) / 255 * np.abs(back).max()
    return back.astype(np.float32)


def clip(x, rng):
    top = np.abs(x).max() * rng.uniform(.25, .8)
    return np.clip(x, -top, top)
