"""What reaches the ears: a quiet gain, a ceiling that nothing lifts, and two versions at one level."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.decibels import db_from_power
from gainlib.meters.matching import HeardLevel, level_heard, matched_db
from gainlib.text import signed

__all__ = [
    "CAUTION", "CEILING_DBFS", "LONGEST_SECONDS", "HeardLevel", "guarded", "level_heard", "listening_codes",
    "matched_db", "matched_words",
]  # fmt: skip

CEILING_DBFS = -12.0
"""Nothing leaves the bench above this level, and full scale of the session is heard at it (a choice of this course)."""

LONGEST_SECONDS = 60.0
"""At most this much of a recording is sent to the page at a time: a minute of stereo at 48 kHz is 11.5 MB."""

CAUTION = "Start low: at most 85 dBA, 8 hours a day (NIOSH 98-126); local rules go first."
"""The recommended exposure limit: *published*, NIOSH publication 98-126, chapter 1.1."""


def listening_codes(samples: ArrayLike) -> NDArray[np.int16]:
    """Samples as 16-bit codes for the page, `(channels, n)`, whose largest code is the listening ceiling.

    Takes float samples `(n,)` or `(n, channels)`, full scale ±1.0. What is beyond full scale is held there, what is
    not a finite number becomes silence; so no session can sound above the ceiling, whatever it holds.

    >>> listening_codes(np.array([0.0, 1.0, 1000.0, np.nan])).tolist()
    [[0, 32767, 32767, 0]]
    """
    return np.ascontiguousarray(np.rint(guarded(samples) * 32767.0).T.astype("<i2"))


_SIDES = {
    3: ([0, 2], [1, 2]), 4: ([0, 2], [1, 3]), 5: ([0, 2, 3], [1, 2, 4]), 6: ([0, 2, 4], [1, 2, 5]),
}  # fmt: skip
"""Which channels are heard left and right of 3 to 6, in the orders of `gainlib.meters.CHANNEL_WEIGHTS`."""


def guarded(samples: ArrayLike) -> NDArray[np.floating[Any]]:
    """Samples `(n, channels)` that cannot hurt: held at full scale, silent where they are no finite numbers.

    More than two channels are heard on two, each side the mean of its own, so that their sum is no louder than one of
    them can be; a browser would add them up. The low channel of 5.1 is left out.

    >>> guarded(np.array([0.5, -1000.0, np.inf])).ravel().tolist()
    [0.5, -1.0, 0.0]
    >>> guarded(np.array([[0.5, 0.25, 0.25, 1.0, 0.0, 0.5]])).tolist()
    [[0.25, 0.3333333333333333]]
    """
    array = np.asarray(samples)
    array = array if np.issubdtype(array.dtype, np.floating) else array.astype(np.float64)
    array = array[:, None] if array.ndim == 1 else array
    held = np.clip(array, -1.0, 1.0)
    # Infinities are made silent too: a stage that gives them is broken, and held at the ceiling they would be a thump.
    finite = np.isfinite(array)
    held = held if finite.all() else np.where(finite, held, 0.0)
    if held.shape[1] <= 2:
        return held
    every = [*range(held.shape[1])]
    return np.stack([held[:, side].mean(axis=1) for side in _SIDES.get(held.shape[1], (every, every))], axis=1)


def folded(samples: NDArray[np.floating[Any]]) -> NDArray[np.floating[Any]]:
    """Samples `(n, channels)` as mono plays them, the mean of all channels on each; one channel stays as it is.

    >>> folded(np.array([[0.5, -0.5], [0.5, 0.0]])).tolist()
    [[0.0, 0.0], [0.25, 0.25]]
    """
    if samples.shape[1] < 2:
        return samples
    return np.repeat(samples.mean(axis=1, keepdims=True), samples.shape[1], axis=1)


def folded_words(samples: NDArray[np.floating[Any]]) -> str:
    """What folding stereo samples down to mono does to their level, both speakers together, in words.

    *Derived*: equal sides keep their level, sides without relation or one side alone lose 3.0 dB, opposite ones all.

    >>> folded_words(np.array([[0.5, 0.0], [0.0, 0.5]]))
    'mono: 3.0 dB softer than in stereo'
    """
    stereo, mono = (float(np.vdot(each, each)) for each in (samples, folded(samples)))
    if stereo == 0.0:
        return "mono: silent, as in stereo"
    change = db_from_power(mono / stereo)
    if change < -60.0:
        return "mono: nothing is left, the sides cancel"
    size = f"{abs(change):.1f}"
    return f"mono: {size} dB softer than in stereo" if float(size) else "mono: as loud as in stereo"


def matched_words(before_db: float, after_db: float, *, by: str) -> str:
    """What the matching does, in words.

    >>> matched_words(-2.4, 0.0, by="loudness")
    'before lowered by 2.4 dB (loudness)'
    """
    for name, gain_db in (("before", before_db), ("after", after_db)):
        if gain_db < -0.05:
            return f"{name} lowered by {signed(-gain_db, plus=False)} ({by})"
    return f"both at the same level ({by})"
