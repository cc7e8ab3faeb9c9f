"""Sample peak, AES17 RMS, crest factor and noise floor, one reading for each channel."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import kernels
from gainlib.audio import checked_samples
from gainlib.decibels import AES17_ZERO_RMS, db_from_power, db_from_ratio
from gainlib.errors import GainError

__all__ = ["crest_db", "noise_floor_dbfs", "peak_dbfs", "rms_dbfs"]

Readings = NDArray[np.float64]


def _peaks_and_powers(samples: ArrayLike) -> tuple[Readings, Readings]:
    checked = checked_samples(samples, "samples")
    pairs = [kernels.peak_and_square_sum(checked[:, channel]) for channel in range(checked.shape[1])]
    peaks, sums = np.array(pairs).T
    return peaks, sums / len(checked)


def peak_dbfs(samples: ArrayLike) -> Readings:
    """The sample peak: 20 log10 of the largest |sample|; full scale reads 0 dBFS.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel; silence reads -inf. Raises GainError
    for samples that are empty, not floats or not finite. Source: *published*, AES17 (full scale).

    >>> peak_dbfs(np.array([0.0, -0.5])).round(2).tolist()
    [-6.02]
    """
    peaks, _ = _peaks_and_powers(samples)
    return np.asarray(db_from_ratio(peaks))


def rms_dbfs(samples: ArrayLike) -> Readings:
    """The RMS level with the AES17 zero: a full-scale sine reads 0 dBFS, a full-scale square +3.01 dBFS.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel over the whole length; silence reads
    -inf. Raises GainError as `peak_dbfs` does. Source: *published*, AES17 and IEC 61606 (the zero).

    >>> rms_dbfs(np.ones(480)).round(2).tolist()
    [3.01]
    """
    _, powers = _peaks_and_powers(samples)
    return np.asarray(db_from_power(powers / AES17_ZERO_RMS**2))


def crest_db(samples: ArrayLike) -> Readings:
    """The crest factor: peak over mathematical RMS; a square reads 0 dB, a sine 3.01 dB, a snare near 20 dB.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel. Silence has no crest factor and reads
    0 dB. Raises GainError as `peak_dbfs` does. Source: *published*, IEC 60268-1 (crest factor).

    >>> crest_db(np.sin(2 * np.pi * np.arange(48000) / 48)).round(2).tolist()
    [3.01]
    """
    peaks, powers = _peaks_and_powers(samples)
    silent = powers == 0.0
    return np.asarray(db_from_power(np.where(silent, 1.0, peaks**2 / np.where(silent, 1.0, powers))))


def noise_floor_dbfs(
    samples: ArrayLike, rate_hz: int, *, window_seconds: float = 0.05, share: float = 0.05
) -> Readings:
    """The level of the pauses: the AES17 RMS of the quietest twentieth of the recording, in windows of 50 ms.

    Takes float samples `(n,)` or `(n, channels)` and their rate, gives one reading a channel; digital silence reads
    -inf, and so does a recording that holds nothing else. A recording without pauses reads its quietest moments, so
    read the number only where somebody stops playing. A last window that is not full is left out; a recording shorter
    than one window is one window. Raises GainError as `peak_dbfs` does, and for a rate below 1 Hz.
    Source: *common practice*.

    >>> noise_floor_dbfs(np.full(48000, 0.001), 48000).round(2).tolist()
    [-56.99]
    """
    checked = checked_samples(samples, "samples")
    if rate_hz < 1:
        raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
    if not (window_seconds > 0 and 0 < share <= 1):
        raise GainError(f"window_seconds is {window_seconds} and share is {share}; give above 0 s, and 0 to 1.")
    width = min(max(1, round(window_seconds * rate_hz)), len(checked))
    count = len(checked) // width
    windows = checked[: count * width].reshape(count, width, -1)
    powers = np.sort(np.einsum("wnc,wnc->wc", windows, windows, dtype=np.float64) / width, axis=0)
    quietest = powers[: max(1, math.ceil(share * count))].mean(axis=0)
    return np.asarray(db_from_power(quietest / AES17_ZERO_RMS**2))
