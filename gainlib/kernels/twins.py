"""The loops in plain numpy: what runs without numba, and the oracle of the compiled ones."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Array", "Channel", "extremes", "peak_and_square_sum", "runs_beyond"]

Channel = NDArray[np.floating[Any]]
Array = NDArray[Any]


def peak_and_square_sum(channel: Channel) -> tuple[float, float]:
    """The largest |sample| and the sum of squares of one channel."""
    wide = np.asarray(channel, dtype=np.float64)
    return float(np.abs(wide).max()), float(np.dot(wide, wide))


def runs_beyond(channel: Channel, low: float, high: float, least: int) -> tuple[Array, Array]:
    """First samples and lengths of the runs at or beyond `low` or `high`."""
    side = (channel >= high).astype(np.int8) - (channel <= low).astype(np.int8)
    edges = np.flatnonzero(np.diff(side)) + 1
    starts = np.concatenate(([0], edges))
    lengths = np.diff(np.concatenate((starts, [len(side)])))
    kept = (side[starts] != 0) & (lengths >= least)
    return starts[kept].astype(np.int64), lengths[kept].astype(np.int64)


def extremes(channel: Channel, columns: int) -> tuple[Array, Array]:
    """Smallest and largest sample in each of `columns` parts."""
    edges = np.arange(columns) * len(channel) // columns
    return np.minimum.reduceat(channel, edges), np.maximum.reduceat(channel, edges)
