"""How loud versions of one sound are heard, and the gains that bring them to one level."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gainlib.meters.levels import rms_dbfs
from gainlib.meters.loudness_meter import loudness_lufs

__all__ = ["HeardLevel", "level_heard", "matched_db"]

_LEAST_SECONDS = 0.4
"""What integrated loudness needs: one gating block (*published*, ITU-R BS.1770-5)."""


class HeardLevel(NamedTuple):
    """How loud a version is, and by what it was measured."""

    level: float
    by: str


def level_heard(samples: NDArray[np.floating[Any]], rate_hz: int) -> HeardLevel:
    """The integrated loudness in LUFS of what is heard; below 0.4 s its RMS (AES17) instead, and that is said.

    Takes guarded samples `(n, channels)`. Source: *published*, ITU-R BS.1770-5 (the shortest gating block is 0.4 s).

    >>> level_heard(np.zeros((4800, 1)), 48000).by
    'RMS, AES17: too short for loudness'
    """
    if len(samples) < _LEAST_SECONDS * rate_hz:
        return HeardLevel(float(np.max(rms_dbfs(samples))), "RMS, AES17: too short for loudness")
    return HeardLevel(loudness_lufs(samples, rate_hz), "loudness")


def matched_db(*levels: float) -> tuple[float, ...]:
    """The gains, 0 dB or below, that bring two versions or more to one level: the louder are lowered to the quietest.

    Takes the loudness of all, or the RMS of all; silence is left alone. Lowering cannot clip, raising could.

    >>> matched_db(-20.0, -26.0)
    (-6.0, 0.0)
    """
    heard = [level for level in levels if math.isfinite(level)]
    return tuple(min(heard) - level if math.isfinite(level) else 0.0 for level in levels)
