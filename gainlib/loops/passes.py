"""What numpy does as fast as a compiled loop: passes over one channel, and the taps of a filter."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib.loops.numpy_loops import Array

__all__ = [
    "apply_gain",
    "extremes",
    "largest_of_channels",
    "peak_and_square_sum",
    "runs_beyond",
    "windowed_sinc",
]

Channel = NDArray[np.floating[Any]]

_PIECE = 8192
"""Samples in a piece: below 10,000 a dot product runs in one thread, so that its last bit does not hang on how many."""


def peak_and_square_sum(channel: Channel) -> tuple[float, float]:
    """The largest |sample| and the sum of the squares of one channel `(n,)`, in one pass.

    >>> peak_and_square_sum(np.array([0.5, -1.0]))
    (1.0, 1.25)
    """
    peak, total = max(float(channel.max()), -float(channel.min())), 0.0
    room = np.empty(min(_PIECE, len(channel)))
    with np.errstate(over="ignore"):  # beyond all squares the sum is infinite, and the meters say so
        for _, piece in _pieces(channel):
            wide = room[: len(piece)]
            wide[:] = piece
            total += float(np.dot(wide, wide))
    return peak, total


def runs_beyond(channel: Channel, low: float, high: float, least: int) -> tuple[Array, Array]:
    """Where one channel stays at or beyond `high`, or at or below `low`, for `least` samples and more.

    Gives two int64 arrays: the first sample of each run and its length in samples. A run ends where the side changes.

    >>> starts, lengths = runs_beyond(np.array([0.0, 1.0, 1.0, -1.0]), -1.0, 1.0, 2)
    >>> starts.tolist(), lengths.tolist()
    ([1], [2])
    """
    if channel.max() < high and channel.min() > low:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    found = [
        first + np.flatnonzero((piece >= high) | (piece <= low))
        for first, piece in _pieces(channel)
        if piece.max() >= high or piece.min() <= low
    ]
    at = np.concatenate(found)
    upper = channel[at] >= high
    begins = np.flatnonzero(np.concatenate(([True], (np.diff(at) > 1) | (upper[1:] != upper[:-1]))))
    lengths = np.diff(np.append(begins, len(at)))
    long = lengths >= least
    return at[begins[long]].astype(np.int64), lengths[long].astype(np.int64)


def extremes(channel: Channel, columns: int) -> tuple[Array, Array]:
    """The smallest and the largest sample in each of `columns` equal parts of one channel, for drawing a waveform.

    Part k runs from sample k·n // columns up to (k+1)·n // columns, at least one sample. Two arrays `(columns,)`.

    >>> lowest, highest = extremes(np.array([0.0, 1.0, -1.0, 0.5]), 2)
    >>> lowest.tolist(), highest.tolist()
    ([0.0, -1.0], [1.0, 0.5])
    """
    edges = np.arange(columns) * len(channel) // columns
    return np.minimum.reduceat(channel, edges), np.maximum.reduceat(channel, edges)


def largest_of_channels(samples: Array) -> Array:
    """The largest |sample| of all channels at each moment: `(n, channels)` in, `(n,)` out.

    >>> largest_of_channels(np.array([[0.5, -1.0], [0.0, 0.25]])).tolist()
    [1.0, 0.25]
    """
    largest: Array = np.abs(samples[:, 0])
    for channel in range(1, samples.shape[1]):
        np.maximum(largest, np.abs(samples[:, channel]), out=largest)
    return largest


def apply_gain(samples: Array, gain: Array, out: Array) -> None:
    """Samples `(n, channels)` times a gain `(n,)` that all channels share, into `out`.

    >>> out = np.empty((2, 1))
    >>> apply_gain(np.array([[1.0], [2.0]]), np.array([0.5, 0.5]), out)
    >>> out.ravel().tolist()
    [0.5, 1.0]
    """
    for channel in range(samples.shape[1]):
        np.multiply(samples[:, channel], gain, out=out[:, channel])


def windowed_sinc(
    away: NDArray[np.floating[Any]], half_width: float, beta: float, edge: float = 1.0
) -> NDArray[np.float64]:
    """The sinc at some distances from its middle, in samples, under a Kaiser window that ends `half_width` away.

    `edge` is where its band ends, as a share of half the rate. Read-only, in the shape of `away`.
    Source: *published*, Kaiser and Schafer, IEEE Trans. ASSP 28 (1980), from memory; numpy alone, since scipy.signal
    takes 40 MB of every kernel that a lesson opens.

    >>> windowed_sinc(np.array([0.0, 1.0, 2.0]), 4.0, 9.0).round(3).tolist()
    [1.0, 0.0, -0.0]
    """
    inside = np.sqrt(np.clip(1.0 - (away / half_width) ** 2, 0.0, 1.0))
    taps: NDArray[np.float64] = np.sinc(edge * away) * np.i0(beta * inside) / np.i0(beta)
    taps.flags.writeable = False
    return taps


def _pieces(channel: Channel) -> Iterator[tuple[int, Channel]]:
    return ((first, channel[first : first + _PIECE]) for first in range(0, len(channel), _PIECE))
