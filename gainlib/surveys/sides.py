"""The two sides of a stereo recording against each other: alike, upside down, apart in time, and what mono loses."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import db_from_power
from gainlib.surveys.lags import find_lag, spectra_of

__all__ = ["OPPOSITE_SIDES", "Sides", "compare_sides"]

_STRETCH_WINDOWS = 8
_SOUNDING = 1e-5  # mean square of -47 dBFS, AES17
OPPOSITE_SIDES = -0.8
"""From here down one side is the other upside down: a wide chord or a reverb comes to -0.7 for seconds."""
_LOW_HZ = 120.0
_MOST_MS = 30
_MOST_COMPARED = 60_000  # values of a millisecond
_SURE = 0.8
_SECOND_SHARE = 0.85
"""Two takes of one part on a guitar are as like a period away: the second likeness came to 0.89 of the first."""


@dataclass(frozen=True)
class Sides:
    """How two channels stand to each other.

    Attributes
    ----------
    correlation : float
        From -1 (one is the other upside down) to +1 (alike), at no delay.
    balance_db : float
        How far the first lies above the second.
    difference_db : float
        The power of their difference against theirs, -inf for one signal twice.
    null_db : float
        What is left of the second, against itself, after the best share of the first was taken from it.
    mono_loss_db : float
        By how much the sum in mono is quieter than two channels that are alike: 0 for those, 3.0 for strangers.
    cancelling : tuple of (float, float)
        From when to when, in seconds, stretches of 0.4 s and more are mostly in opposite polarity.
    cancelling_share : float
        The share of the sounding time that this is.
    later_ms : float
        By how much the second comes later, where both hold one sound; 0 where they do not or it is at once.
    later_correlation : float
        The correlation at that delay.
    low_end_apart : bool
        Whether what lies below 120 Hz is almost wholly in the difference of the two.
    """

    correlation: float
    balance_db: float
    difference_db: float
    null_db: float
    mono_loss_db: float
    cancelling: tuple[tuple[float, float], ...] = ()
    cancelling_share: float = 0.0
    later_ms: float = 0.0
    later_correlation: float = 0.0
    low_end_apart: bool = False


def compare_sides(
    powers: NDArray[np.float64],
    products: NDArray[np.float64],
    difference: float,
    envelopes: tuple[NDArray[np.floating], NDArray[np.floating]],
    window_seconds: float,
) -> Sides:
    """Both sides from each window's mean squares `(windows, 2)` and mean product `(windows,)`.

    `difference` is the mean square of their difference over the whole, `envelopes` each side at 1000 values a second.

    >>> one = np.ones((8, 2))
    >>> compare_sides(one, -np.ones(8), 4.0, (np.zeros(0), np.zeros(0)), 0.05).cancelling
    ((0.0, 0.4),)
    """
    (first, second), both = powers.mean(axis=0), float(products.mean())
    correlation = min(1.0, max(-1.0, both / (math.sqrt(first) * math.sqrt(second))))
    cancelling, share = _cancelling(powers, products, window_seconds)
    later_ms, at_delay = (0.0, 0.0) if abs(correlation) > 0.9 else _later(*envelopes)
    return Sides(
        correlation=correlation,
        balance_db=float(db_from_power(first / second)),
        difference_db=float(db_from_power(difference / (first + second))),
        null_db=float(db_from_power(max(0.0, 1.0 - correlation**2))),
        mono_loss_db=-float(db_from_power(max(0.0, (1.0 + 2.0 * both / (first + second)) / 2.0))),
        cancelling=cancelling,
        cancelling_share=share,
        later_ms=later_ms,
        later_correlation=at_delay,
        low_end_apart=_low_end_apart(*envelopes),
    )


def _cancelling(
    powers: NDArray[np.float64], products: NDArray[np.float64], window_seconds: float
) -> tuple[tuple[tuple[float, float], ...], float]:
    edges = np.arange(0, len(products), _STRETCH_WINDOWS)
    one, other = np.add.reduceat(powers, edges, axis=0).T
    both = np.add.reduceat(products, edges)
    heard = np.minimum(one, other) > _SOUNDING * _STRETCH_WINDOWS
    if not heard.any():
        return (), 0.0
    size = np.sqrt(one * other, out=np.ones_like(one), where=heard)
    upside = heard & (both < OPPOSITE_SIDES * size)
    steps = np.flatnonzero(np.diff(np.concatenate(([False], upside, [False])).astype(np.int8)))
    seconds = _STRETCH_WINDOWS * window_seconds
    end = len(products) * window_seconds
    found = tuple(
        (float(start * seconds), float(min(stop * seconds, end)))
        for start, stop in zip(steps[::2], steps[1::2], strict=True)
    )
    return found, float(upside.sum() / heard.sum())


def _low_end_apart(one: NDArray[np.floating], other: NDArray[np.floating]) -> bool:
    length = 1000
    count = min(len(one) // length, 120)
    if count < 2:
        return False
    window = np.hanning(length)
    low = np.fft.rfftfreq(length, 1e-3) < _LOW_HZ

    def power(values: NDArray[np.floating]) -> tuple[float, float]:
        spectra = np.abs(np.fft.rfft(values[: count * length].reshape(count, length) * window, axis=1)) ** 2
        return float(spectra[:, low].sum()), float(spectra.sum())

    (middle, all_middle), (side, all_side) = power(one + other), power(one - other)
    return side > 8.0 * middle and side > 0.03 * (all_middle + all_side)


def _later(one: NDArray[np.floating], other: NDArray[np.floating]) -> tuple[float, float]:
    """By how many milliseconds the second comes later, and the correlation there; (0, 0) where that cannot be told.

    It cannot where the strongest likeness is below 0.8, or where another is nearly as strong (0.85 of it), as a held
    note is like itself a period later.
    """
    count = min(len(one), len(other), _MOST_COMPARED)
    if count < 1000:
        return 0.0, 0.0
    lag = find_lag(spectra_of(one, count), spectra_of(other, count), _MOST_MS)
    if abs(lag.correlation) < _SURE or lag.rival > _SECOND_SHARE * abs(lag.correlation):
        return 0.0, 0.0
    return float(lag.later), lag.correlation
