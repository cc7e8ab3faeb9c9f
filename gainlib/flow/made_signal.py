"""Signals that are made and not recorded, the same on every machine, to stand at the head of a strip."""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import AES17_ZERO_RMS, ratio_from_db

__all__ = ["RATE_HZ", "SILENCE", "made_signal"]

RATE_HZ = 48_000
NOISE_SEED = 5
SILENCE = Audio(np.zeros(480), RATE_HZ)
"""Stands in for takes that are not read yet: paths need a session, and a session a take."""


@functools.lru_cache(maxsize=4)
def _wave(wave: str, frequency_hz: float, seconds: float) -> NDArray[np.float64]:
    """A made signal at full scale: peak 1.0, the noise at the RMS of a full-scale sine."""
    count = round(seconds * RATE_HZ)
    at = np.arange(count) / RATE_HZ
    if wave == "noise":
        noise = np.random.default_rng(NOISE_SEED).standard_normal(count)
        return noise * float(AES17_ZERO_RMS / np.sqrt(np.mean(np.square(noise))))
    sine = np.sin(2 * np.pi * frequency_hz * at)
    if wave == "square":
        return np.where(sine < 0, -1.0, 1.0)
    return np.where(at % 0.5 < 0.05, sine, 0.0) if wave == "burst" else sine


@functools.lru_cache(maxsize=8)
def made_signal(wave: str, frequency_hz: float, level_dbfs: float, seconds: float) -> Audio:
    """A sine, a square, noise or bursts of a sine (a tenth of the time, twice a second), 48 kHz, mono.

    `level_dbfs` is the peak, of noise the RMS (AES17).

    >>> made_signal("sine", 997.0, -6.0, 1.0).seconds
    1.0
    """
    samples = _wave(wave, frequency_hz, seconds) * ratio_from_db(level_dbfs)
    return Audio(samples, RATE_HZ, wave)
