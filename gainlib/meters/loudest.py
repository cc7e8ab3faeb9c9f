"""The loudest stretch of a recording or of several together: the half minute on which a bench opens."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["LOUDEST_SECONDS", "loudest_start_seconds", "loudest_step", "powers_in_steps"]

LOUDEST_SECONDS = 30.0
"""How long the stretch is: enough for a verse, and short enough that a move is heard at once (the course's choice)."""

STEPS = 400
"""A recording is looked at in so many steps, so the stretch is found to a quarter of a percent of its length."""


def loudest_step(power: NDArray[np.floating[Any]], width: int) -> int:
    """The step at which so many steps begin whose powers add up to the most; of equal ones the first.

    >>> loudest_step(np.array([0.0, 1.0, 5.0, 4.0, 0.0]), 2)
    2
    """
    width = max(1, min(width, len(power)))
    sums = np.cumsum(np.concatenate(([0.0], power)))
    return int((sums[width:] - sums[:-width]).argmax())


def powers_in_steps(samples: NDArray[np.floating[Any]], steps: int) -> NDArray[np.float64]:
    """The power of samples `(n, channels)` in so many steps of one length, all channels together.

    >>> powers_in_steps(np.array([[1.0], [1.0], [2.0], [0.0]]), 2).tolist()
    [2.0, 4.0]
    """
    edges = np.linspace(0, len(samples), steps + 1).astype(np.int64)
    parts = (samples[first:last] for first, last in itertools.pairwise(edges))
    return np.array([float(np.vdot(part, part)) for part in parts])


def loudest_start_seconds(
    recordings: Sequence[tuple[NDArray[np.floating[Any]], int]], seconds: float = LOUDEST_SECONDS
) -> float:
    """Where recordings, played together as they are, are loudest for so many seconds; 0 where they are no longer.

    Takes samples `(n, channels)` with their rate each. The power of what is summed is the sum of the powers, as of
    signals that have nothing to do with each other.

    >>> quiet, loud = np.full((48000, 1), 0.01), np.full((48000, 1), 0.5)
    >>> round(loudest_start_seconds([(np.concatenate([quiet, loud, quiet]), 48000)], 1.0), 2)
    1.0
    """
    longest = max((len(samples) / rate_hz for samples, rate_hz in recordings), default=0.0)
    if longest <= seconds:
        return 0.0
    power = np.zeros(STEPS)
    for samples, rate_hz in recordings:
        own = max(1, round(STEPS * len(samples) / rate_hz / longest))
        power[:own] += powers_in_steps(samples, own) / rate_hz
    return min(loudest_step(power, round(seconds / longest * STEPS)) * longest / STEPS, longest - seconds)
