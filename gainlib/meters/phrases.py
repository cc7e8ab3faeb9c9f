"""Where somebody plays and where not: phrases between pauses, and their levels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.audio import checked_samples
from gainlib.decibels import power_from_rms_dbfs
from gainlib.errors import GainError
from gainlib.meters.levels import LevelMeter
from gainlib.meters.streaming import read_whole
from gainlib.meters.windows import WindowMeter, window_powers

__all__ = ["Phrase", "phrases"]


@dataclass(frozen=True)
class Phrase:
    """One phrase: when it starts and ends, and its sample peak and AES17 RMS, of several channels the highest.

    >>> Phrase(0.5, 2.0, -6.0, -18.0).seconds
    1.5
    """

    start_seconds: float
    end_seconds: float
    peak_dbfs: float
    rms_dbfs: float

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.end_seconds - self.start_seconds


def _threshold_dbfs(checked: NDArray[np.floating], rate_hz: int) -> float:
    """The level that parts playing from pause: half-way from the noise floor to the level while playing.

    At least 10 and at most 30 dB below the latter, so that a take without pauses is one phrase and one with digital
    silence keeps its soft endings.
    """
    meter = WindowMeter(rate_hz, checked.shape[1])
    meter.take(checked)
    active = float(meter.active_rms_dbfs().max())
    if active == -math.inf:
        return -math.inf
    floor = float(meter.noise_floor_dbfs.max())
    return active - min(max((active - floor) / 2.0, 10.0), 30.0)


def phrases(
    samples: ArrayLike,
    rate_hz: int,
    *,
    silence_dbfs: float | None = None,
    pause_seconds: float = 0.3,
    least_seconds: float = 0.1,
) -> tuple[Phrase, ...]:
    """The phrases of a take in order, cut at its pauses, each with its levels.

    Takes float samples `(n,)` or `(n, channels)`. A phrase is where windows of 10 ms lie above `silence_dbfs`, by
    default half-way from the noise floor to the level while playing; gaps shorter than `pause_seconds` belong to it,
    and what is shorter than `least_seconds` is none. Silence has no phrases. Raises GainError as `active_rms_dbfs`
    does, and for times below 0. The rule is this course's own.

    >>> tone = 0.1 * np.sin(np.arange(48000) / 10)
    >>> [round(each.seconds, 2) for each in phrases(np.concatenate([tone, np.zeros(24000), tone]), 48000)]
    [1.0, 1.0]
    """
    checked = checked_samples(samples, "samples")
    if rate_hz < 1:
        raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
    if not (pause_seconds >= 0 and least_seconds >= 0):
        raise GainError(f"pause_seconds is {pause_seconds}, least_seconds {least_seconds}; give 0 s or more.")
    if silence_dbfs is None:
        silence_dbfs = _threshold_dbfs(checked, rate_hz)
    if math.isnan(silence_dbfs):
        raise GainError("silence_dbfs is not a number; give a level in dBFS, or leave it out.")
    width = min(max(1, round(0.01 * rate_hz)), len(checked))
    powers = window_powers(checked, rate_hz, 0.01).max(axis=1)
    playing = powers > power_from_rms_dbfs(silence_dbfs)
    if not playing.any():
        return ()
    at = np.flatnonzero(playing)
    cuts = np.flatnonzero((np.diff(at) - 1) * width >= max(pause_seconds * rate_hz, 1))
    first, last = at[np.concatenate(([0], cuts + 1))], at[np.concatenate((cuts, [len(at) - 1]))]
    found = []
    for start, end in zip((first * width).tolist(), ((last + 1) * width).tolist(), strict=True):
        if end - start >= least_seconds * rate_hz:
            levels = read_whole(LevelMeter, checked[start:end])
            highest = float(levels.peak_dbfs.max()), float(levels.rms_dbfs.max())
            found.append(Phrase(start / rate_hz, end / rate_hz, *highest))
    return tuple(found)
