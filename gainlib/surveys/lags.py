"""At which lag two signals are most alike, and what else comes near: the one search by correlation of a survey."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Lag", "cross_correlation", "find_lag", "rival", "shape_of_spectra", "spectra_of"]

_BLOCK = 8000  # values, with as much silence behind each


@dataclass(frozen=True)
class Lag:
    """Where two signals are most alike: the second comes `later` values later, with this correlation, -1 to 1.

    `rival` is the size of the next strongest likeness, away from this one's own slopes; `opposite` that of the
    strongest with the other sign, below 0 where there is none.
    """

    later: int
    correlation: float
    rival: float
    opposite: float


def spectra_of(values: NDArray[np.floating], count: int) -> NDArray[np.complex64]:
    """What `find_lag` lays over another: the spectra of the first `count` values about their mean, `(blocks, lines)`.

    >>> spectra_of(np.ones(9000), 9000).shape
    (2, 8001)
    """
    padded = np.zeros(shape_of_spectra(count)[0] * _BLOCK, dtype=np.float32)
    padded[: min(count, len(values))] = values[:count] - values[:count].mean()
    found: NDArray[np.complex64] = np.fft.rfft(padded.reshape(-1, _BLOCK), 2 * _BLOCK, axis=1).astype(np.complex64)
    return found


def shape_of_spectra(count: int) -> tuple[int, int]:
    """How many blocks so many values make, and how many lines each has.

    >>> shape_of_spectra(9000)
    (2, 8001)
    """
    return -(-count // _BLOCK), _BLOCK + 1


def find_lag(one: NDArray[np.complex64], other: NDArray[np.complex64], most: int) -> Lag:
    """The lag of the strongest likeness within `most` values either way, at most 8000; of `spectra_of` as many values.

    The correlation of all blocks together, each with silence behind, so that lags of one sound are told whatever its
    length. A signal that stands still is like nothing: 0 at no lag.

    >>> noise = np.random.default_rng(1).standard_normal(9000)
    >>> found = find_lag(spectra_of(noise[20:], 8980), spectra_of(-noise[:-20], 8980), 30)
    >>> found.later, round(found.correlation, 2)
    (20, -1.0)
    """
    powers = [float(np.sum(np.abs(each) ** 2)) for each in (one, other)]
    if min(powers) <= 0.0:
        return Lag(0, 0.0, 0.0, 0.0)
    # A real signal's spectrum holds half of its lines: the power of the whole is twice theirs.
    size = math.sqrt(powers[0] * powers[1]) * 2.0 / (2 * _BLOCK)
    found = cross_correlation(one, other, 2 * _BLOCK, -most, most) / size
    sizes = np.abs(found)
    at = int(sizes.argmax())
    best = float(found[at])
    opposite = float((-math.copysign(1.0, best) * found).max())
    return Lag(at - most, max(-1.0, min(1.0, best)), rival(sizes, at), opposite)


def cross_correlation(
    one: NDArray[np.complexfloating[Any]], other: NDArray[np.complexfloating[Any]], size: int, first: int, last: int
) -> NDArray[np.float64]:
    """The sum of one's values times the other's `lag` later, for each lag from `first` to `last`.

    Of their spectra over `size` values, `(lines,)` or `(blocks, lines)`, whose products are added up. Lags below 0 are
    told where there is silence behind.

    >>> click, later = np.eye(8)[1], np.eye(8)[3]
    >>> cross_correlation(np.fft.rfft(click), np.fft.rfft(later), 8, -1, 3).round(6).tolist()
    [0.0, 0.0, 0.0, 1.0, 0.0]
    """
    products = np.conj(one) * other
    whole = np.fft.irfft(products if products.ndim == 1 else products.sum(axis=0), size)
    found: NDArray[np.float64] = whole[np.arange(first, last + 1)]  # those below 0 stand at its end
    return found


def rival(heights: NDArray[np.floating], at: int) -> float:
    """The next highest of the heights, away from the slopes that belong to the one at `at`; 0 where there is none.

    >>> rival(np.array([0.7, 0.2, 0.8, 1.0, 0.9, 0.6]), 3)
    0.7
    """
    rises = np.flatnonzero(np.diff(heights[at:]) > 0)
    falls = np.flatnonzero(np.diff(heights[: at + 1][::-1]) > 0)
    after = heights[at + int(rises[0]) :] if len(rises) else heights[:0]
    before = heights[: at + 1 - int(falls[0])] if len(falls) else heights[:0]
    return max(float(after.max(initial=0.0)), float(before.max(initial=0.0)))
