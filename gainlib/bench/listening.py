"""What reaches the ears: a quiet gain, a ceiling that nothing lifts, and two versions at one level."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.decibels import signed

__all__ = ["CAUTION", "CEILING_DBFS", "listening_codes", "matched_db", "matched_words"]

CEILING_DBFS = -12.0
"""Nothing leaves the bench above this level, and full scale of the session is heard at it (a choice of this course)."""

CAUTION = (
    "Start low. Recommended limit at the ear: 85 dBA for 8 hours a day, half the time for every 3 dB more "
    "(NIOSH 98-126); local rules go first."
)
"""The recommended exposure limit and exchange rate: *published*, NIOSH publication 98-126, chapter 1.1."""


def listening_codes(samples: ArrayLike) -> NDArray[np.int16]:
    """Samples as 16-bit codes for the page, `(channels, n)`, whose largest code is the listening ceiling.

    Takes float samples `(n,)` or `(n, channels)`, full scale ±1.0. What is beyond full scale is held there, what is
    not a finite number becomes silence; so no session can sound above the ceiling, whatever it holds.

    >>> listening_codes(np.array([0.0, 1.0, 1000.0, np.nan])).tolist()
    [[0, 32767, 32767, 0]]
    """
    array = np.asarray(samples, dtype=np.float64)
    array = array[:, None] if array.ndim == 1 else array
    # Infinities are made silent too: a stage that gives them is broken, and held at the ceiling they would be a thump.
    safe = np.where(np.isfinite(array), array, 0.0)
    codes = np.rint(np.clip(safe, -1.0, 1.0) * 32767.0)
    return np.ascontiguousarray(codes.T.astype("<i2"))


def matched_db(before_rms_dbfs: float, after_rms_dbfs: float) -> tuple[float, float]:
    """The gains, 0 dB or below, that bring before and after to one level: the louder is lowered to the quieter.

    Takes the AES17 RMS of both; silence is left alone. Lowering cannot clip, raising could.

    >>> matched_db(-20.0, -26.0)
    (-6.0, 0.0)
    """
    if not (math.isfinite(before_rms_dbfs) and math.isfinite(after_rms_dbfs)):
        return 0.0, 0.0
    quieter = min(before_rms_dbfs, after_rms_dbfs)
    return quieter - before_rms_dbfs, quieter - after_rms_dbfs


def matched_words(before_db: float, after_db: float) -> str:
    """What the matching does, in words.

    >>> matched_words(-2.4, 0.0)
    'before lowered by 2.4 dB (RMS, AES17)'
    """
    for name, gain_db in (("before", before_db), ("after", after_db)):
        if gain_db < -0.05:
            return f"{name} lowered by {signed(-gain_db, plus=False)} (RMS, AES17)"
    return "both at one level (RMS, AES17)"
