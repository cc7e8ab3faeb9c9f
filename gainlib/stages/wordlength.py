"""Word length: rounding to fixed-point steps, with dither or without, its noise white or shaped."""

from __future__ import annotations

import math

import numpy as np

from gainlib import loops
from gainlib.stages.base import Floats

__all__ = ["SHAPED_HZ", "in_shaped_steps", "in_steps", "rounding_power", "shaped_power"]

SHAPED_HZ = 4000.0
"""Where shaped noise has its gap: the ear hears softest sounds best near there (*from memory*: ISO 226)."""


def in_steps(samples: Floats, bits: int, dither_seed: list[int] | np.random.Generator | None = None) -> Floats:
    """Samples rounded to steps of 2^(1 - bits), codes from -1.0 to one step below +1.0; what is beyond is cut off.

    With a seed, or a generator that goes on from block to block, triangular dither of ±1 step is added first, other
    values in each channel. Gives a new array.
    Source: *published*, Wannamaker, Lipshitz, Vanderkooy and Wright, IEEE Trans. Signal Processing 48(2), 2000
    (triangular dither of two steps' width makes the error's mean and power independent of the signal).

    >>> in_steps(np.array([0.3, 2.0]), 2).tolist()
    [0.5, 0.5]
    """
    steps = 2.0 ** (bits - 1)
    codes = samples * steps
    if dither_seed is not None:
        draw = np.random.default_rng(dither_seed)
        codes += draw.random(samples.shape)
        codes -= draw.random(samples.shape)
    np.rint(codes, out=codes)
    np.clip(codes, -steps, steps - 1, out=codes)
    codes /= steps
    return codes


def in_shaped_steps(
    samples: Floats, bits: int, rate_hz: int, dither_seed: list[int] | np.random.Generator | None = None
) -> Floats:
    """As `in_steps`, with the noise moved away from where the ear hears best: none at 4 kHz, more above 10 kHz.

    What each sample was off is taken into the next two, so that the error's spectrum is that of
    `1 - 2 cos(w) z^-1 + z^-2`, with w at 4 kHz.
    Source: *derived* (that polynomial's zero lies at w); the filter is this course's own choice. That error feedback
    shapes the noise of rounding: *published*, Wannamaker and others, as in `in_steps`.

    >>> in_shaped_steps(np.full((4, 1), 0.1), 3, 48000)[:, 0].tolist()
    [0.0, 0.25, 0.0, 0.25]
    """
    steps = 2.0 ** (bits - 1)
    noise = np.zeros(samples.shape)
    if dither_seed is not None:
        draw = np.random.default_rng(dither_seed)
        noise += draw.random(samples.shape)
        noise -= draw.random(samples.shape)
    codes = np.empty(samples.shape)
    for channel in range(samples.shape[1]):
        out = np.empty(len(samples))
        wanted = np.ascontiguousarray(samples[:, channel]) * steps
        loops.rounded_with_feedback(
            wanted, np.ascontiguousarray(noise[:, channel]), _first_coefficient(rate_hz), -steps, steps - 1, out
        )
        codes[:, channel] = out
    codes /= steps
    return codes


def shaped_power(hertz: Floats, rate_hz: int) -> Floats:
    """How many times the power of white noise shaped noise has, at each frequency, as `in_shaped_steps` shapes it.

    >>> shaped_power(np.array([4000.0, 24000.0]), 48000).round(2).tolist()
    [0.0, 13.93]
    """
    power: Floats = (2.0 * np.cos(2.0 * np.pi * hertz / rate_hz) - _first_coefficient(rate_hz)) ** 2
    return power


def _first_coefficient(rate_hz: int) -> float:
    return 2.0 * math.cos(2.0 * math.pi * min(SHAPED_HZ, rate_hz / 4) / rate_hz)


def rounding_power(bits: int, *, dithered: bool, shaped_at_hz: int | None = None) -> float:
    """The noise power that rounding adds: a twelfth of a step squared, three times that with triangular dither.

    Where the noise is shaped at a rate, the whole of it is more: by 2 + 4 cos² w, some 7 dB, for that of the filter in
    `in_shaped_steps`. *Derived*: step²/12 for a uniform error, 2 × step²/12 for the sum of two uniform dithers, and the
    sum of the filter's squares.

    >>> round(float(10 * np.log10(rounding_power(16, dithered=False))), 2)
    -101.1
    >>> round(float(10 * np.log10(rounding_power(16, dithered=False, shaped_at_hz=48000))), 2)
    -94.11
    """
    step = 2.0 ** (1 - bits)
    shaped = 1.0 if shaped_at_hz is None else 2.0 + _first_coefficient(shaped_at_hz) ** 2
    return step * step / 12 * (3 if dithered else 1) * shaped
