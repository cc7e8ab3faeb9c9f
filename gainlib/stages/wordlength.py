"""Word length: rounding to fixed-point steps, with dither or without."""

from __future__ import annotations

import numpy as np

from gainlib.stages.base import Floats

__all__ = ["in_steps", "rounding_power"]


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


def rounding_power(bits: int, *, dithered: bool) -> float:
    """The noise power that rounding adds: a twelfth of a step squared, three times that with triangular dither.

    *Derived*: step²/12 for a uniform error, and 2 × step²/12 for the sum of two uniform dithers.

    >>> round(float(10 * np.log10(rounding_power(16, dithered=False))), 2)
    -101.1
    """
    step = 2.0 ** (1 - bits)
    return step * step / 12 * (3 if dithered else 1)
