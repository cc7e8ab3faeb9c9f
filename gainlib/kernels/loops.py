"""The loops compiled by numba; each does what its namesake in `twins` does."""

from __future__ import annotations

import numpy as np
from numba import njit

from gainlib.kernels.twins import Array, Channel

__all__ = ["extremes", "peak_and_square_sum", "runs_beyond"]


@njit(cache=True, nogil=True, fastmath={"reassoc", "contract", "nsz"})
def peak_and_square_sum(channel: Channel) -> tuple[float, float]:
    """The largest |sample| and the sum of squares of one channel."""
    peak = 0.0
    total = 0.0
    for index in range(len(channel)):
        value = np.float64(channel[index])
        peak = max(peak, abs(value))
        total += value * value
    return peak, total


@njit(cache=True, nogil=True)
def runs_beyond(channel: Channel, low: float, high: float, least: int) -> tuple[Array, Array]:
    """First samples and lengths of the runs at or beyond `low` or `high`."""
    starts = []
    lengths = []
    side = 0
    begin = 0
    for index in range(len(channel) + 1):
        now = 0
        if index < len(channel):
            value = channel[index]
            now = (1 if value >= high else 0) - (1 if value <= low else 0)
        if now != side:
            if side != 0 and index - begin >= least:
                starts.append(begin)
                lengths.append(index - begin)
            side = now
            begin = index
    return np.array(starts, dtype=np.int64), np.array(lengths, dtype=np.int64)


@njit(cache=True, nogil=True)
def extremes(channel: Channel, columns: int) -> tuple[Array, Array]:
    """Smallest and largest sample in each of `columns` parts."""
    lowest = np.empty(columns, dtype=channel.dtype)
    highest = np.empty(columns, dtype=channel.dtype)
    for column in range(columns):
        first = column * len(channel) // columns
        last = max((column + 1) * len(channel) // columns, first + 1)
        low = high = channel[first]
        for index in range(first + 1, last):
            value = channel[index]
            low = min(low, value)
            high = max(high, value)
        lowest[column] = low
        highest[column] = high
    return lowest, highest
