"""The loudest stretch of a recording or of several together: the half minute on which a bench opens."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio

__all__ = ["LOUDEST_SECONDS", "loudest_start_seconds", "loudest_step", "powers_in_steps"]

LOUDEST_SECONDS = 30.0
"""How long the stretch is: enough for a verse, and short enough that a move is heard at once (the course's choice)."""

STEPS = 300
"""A recording is looked at in so many steps, so the stretch is found to a third of a percent of its length."""

LOOK_SECONDS = 0.25
LOOKS = 2
"""Of a step that lasts longer so many looks are taken: what that takes does not grow with a file."""
SLOW_LOOKS = 200
"""So many in all where a file seeks slowly, 5 ms a look: its first picture is to stand within two seconds too."""
GOLDEN = 0.618034
"""Looks one as far from the next would hit each beat of a steady tempo, or none; those go through it evenly."""


def loudest_step(power: NDArray[np.floating[Any]], width: int) -> int:
    """The step at which so many steps begin whose powers add up to the most; of equal ones the first.

    >>> loudest_step(np.array([0.0, 1.0, 5.0, 4.0, 0.0]), 2)
    2
    """
    width = max(1, min(width, len(power)))
    sums = np.cumsum(np.concatenate(([0.0], power)))
    return int((sums[width:] - sums[:-width]).argmax())


def powers_in_steps(recording: Audio, steps: int) -> NDArray[np.float64]:
    """The power of a recording in so many steps of one length, all channels together; of long steps as far as seen.

    >>> powers_in_steps(Audio([1.0, 1.0, 2.0, 0.0], 48000), 2).tolist()
    [2.0, 4.0]
    """
    if recording.seeks_slowly and steps > SLOW_LOOKS:
        power = np.concatenate(([0.0], np.cumsum(powers_in_steps(recording, SLOW_LOOKS))))
        return np.diff(np.interp(np.linspace(0, 1, steps + 1), np.linspace(0, 1, SLOW_LOOKS + 1), power))
    edges = np.linspace(0, recording.frames, steps + 1).astype(np.int64)
    pairs = enumerate(itertools.pairwise(edges.tolist()))
    looks = 1 if recording.seeks_slowly else LOOKS
    bounds = [_seen(first, end, recording.rate_hz, step, looks) for step, (first, end) in pairs]
    parts = recording.stretches(itertools.chain.from_iterable(bounds))
    powers = []
    for places, first, end in zip(bounds, edges, edges[1:], strict=False):
        seen = sum(last - begin for begin, last in places)
        power_seen = sum(float(np.vdot(part, part)) for part in itertools.islice(parts, len(places)))
        powers.append(power_seen * (int(end - first) / seen if seen else 1.0))
    return np.array(powers)


def _seen(first: int, end: int, rate_hz: int, step: int, looks: int) -> list[tuple[int, int]]:
    """Where one looks in a step from sample to sample: all of it, or a place in each share of it."""
    each = max(1, round(LOOK_SECONDS * rate_hz))
    if end - first <= each * LOOKS:
        return [(first, end)]
    share = (end - first) / looks
    starts = (
        first + int(share * index + (share - each) * (GOLDEN * (step * looks + index) % 1.0)) for index in range(looks)
    )
    return [(start, start + each) for start in starts]


def loudest_start_seconds(recordings: Sequence[Audio], seconds: float = LOUDEST_SECONDS) -> float:
    """Where recordings, played together as they are, are loudest for so many seconds; 0 where they are no longer.

    The power of what is summed is the sum of the powers, as of signals that have nothing to do with each other.

    >>> quiet, loud = np.full((48000, 1), 0.01), np.full((48000, 1), 0.5)
    >>> round(loudest_start_seconds([Audio(np.concatenate([quiet, loud, quiet]), 48000)], 1.0), 2)
    1.0
    """
    longest = max((each.seconds for each in recordings), default=0.0)
    if longest <= seconds:
        return 0.0
    power = np.zeros(STEPS)
    for each in recordings:
        own = max(1, round(STEPS * each.seconds / longest))
        power[:own] += powers_in_steps(each, own) / each.rate_hz
    return min(loudest_step(power, round(seconds / longest * STEPS)) * longest / STEPS, longest - seconds)
