"""Mains hum: 50 or 60 Hz and its multiples, found under whatever else is there."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import db_from_power
from gainlib.meters.streaming import Readings
from gainlib.meters.windows import NOBODY_PLAYS_DBFS, WINDOW_SECONDS, WindowMeter

__all__ = ["LOW_END_A_WINDOW", "Hum", "find_hum", "hum_dbfs", "low_end"]

LOW_END_A_WINDOW = 50
"""So many values of the low end are kept of each window of 50 ms: 1000 a second."""

_HUM_SECONDS = 2.0
_LEAST_HUM_SECONDS = 4.0
_HARMONICS = 8
_DRIFT_HZ = 0.2
_OUT_DB = 12.0
_CONSTANT_DB = 6.0
_BELOW_DB = 3.0


@dataclass(frozen=True)
class Hum:
    """Mains hum: the mains frequency, the harmonics that are there, and their level together, AES17 dBFS."""

    mains_hz: int
    lines_hz: tuple[int, ...]
    level_dbfs: float


def low_end(samples: NDArray[np.floating], width: int) -> NDArray[np.floating]:
    """The low end of one channel at 1000 values a second, from its whole windows of `width` samples.

    >>> low_end(np.ones(4800), 2400).shape
    (100,)
    """
    full, each = len(samples) // width, width // LOW_END_A_WINDOW
    # Times a row of ones: several times as fast as a mean along rows this short.
    ones = np.full(each, 1.0 / each, dtype=samples.dtype)
    parts = samples[: full * width].reshape(full, width)[:, : each * LOW_END_A_WINDOW]
    lowered: NDArray[np.floating] = parts.reshape(full * LOW_END_A_WINDOW, each) @ ones
    return lowered


def hum_dbfs(audio: Audio) -> Readings:
    """The level of each channel's mains hum, AES17 dBFS; -inf where there is none. It wants 4 s.

    >>> seconds = np.arange(5 * 48000) / 48000
    >>> noise = np.random.default_rng(1).uniform(-0.1, 0.1, len(seconds))
    >>> hum = 0.01 * (np.sin(2 * np.pi * 50 * seconds) + np.sin(2 * np.pi * 150 * seconds))
    >>> round(float(hum_dbfs(Audio(noise + hum, 48000))[0]))
    -37
    """
    width = round(WINDOW_SECONDS * audio.rate_hz)
    meter = WindowMeter(audio.rate_hz, audio.channels)
    meter.take(audio.samples)
    found = (
        find_hum(low_end(channel, width), float(active_dbfs)) if width >= LOW_END_A_WINDOW else None
        for channel, active_dbfs in zip(audio.samples.T, meter.active_rms_dbfs(), strict=True)
    )
    return np.array([-math.inf if each is None else each.level_dbfs for each in found])


def _line_powers(frames: NDArray[np.floating], window: NDArray[np.float64]) -> NDArray[np.float64]:
    """Spectra scaled so that a line's height is its sine's power against a full-scale sine's."""
    wide = frames.astype(np.float64)
    lines = np.fft.rfft((wide - wide.mean(axis=1, keepdims=True)) * window, axis=1)
    powers: NDArray[np.float64] = (np.abs(lines) / (window.sum() / 2)) ** 2
    return powers


def find_hum(envelope: NDArray[np.floating], active_dbfs: float) -> Hum | None:
    """Mains hum in a recording, from its low end at 1000 values a second; None where there is none.

    A line at 50 or 60 Hz, or a multiple of it, stands 12 dB above its neighbours even in the quietest tenth of frames
    of 2 s and is as loud in half of them, bar 6 dB: notes come and go, hum does not. Two lines are wanted, or one that
    stands out by 20 dB. *Common practice* (mains hum and its multiples); the bounds are this course's own.
    """
    length = round(_HUM_SECONDS * 1000)
    if len(envelope) < _LEAST_HUM_SECONDS * 1000:
        return None
    frames = np.lib.stride_tricks.sliding_window_view(envelope, length)[:: length // 2]
    rest = np.count_nonzero(frames.reshape(len(frames), 40, -1).any(axis=2), axis=1) == 40
    frames = frames[rest]  # digital silence has no hum and says nothing of it
    if len(frames) < 3:
        return None
    window = np.hanning(length)
    # A few at a time, which spares memory.
    spectra = np.concatenate([_line_powers(frames[at : at + 32], window) for at in range(0, len(frames), 32)])
    best: Hum | None = None
    for mains_hz in (50, 60):
        found = []
        for multiple in range(1, _HARMONICS):
            line, drift = round(mains_hz * multiple * _HUM_SECONDS), round(_DRIFT_HZ * multiple * _HUM_SECONDS)
            if line + 30 >= spectra.shape[1]:
                break
            own = spectra[:, line - drift : line + drift + 1].max(axis=1)
            if float(np.median(spectra[:, [line - drift - 1, line + drift + 1]].max(axis=1) - own)) >= 0.0:
                continue  # the slope of a note beside it
            beside = np.concatenate((spectra[:, line - 24 : line - 5], spectra[:, line + 6 : line + 25]), axis=1)
            rest_ = float(np.quantile(np.median(beside, axis=1), 0.5))
            low, middle = np.quantile(own, [0.1, 0.5])
            out_db = float(db_from_power(low / max(rest_, 1e-30)))
            if out_db >= _OUT_DB and db_from_power(middle / low) <= _CONSTANT_DB:
                droop = np.sinc(mains_hz * multiple / 1000.0)
                found.append((mains_hz * multiple, float(low) / droop**2, out_db))
        if len(found) >= 2 or any(out_db >= 20.0 for _, _, out_db in found):
            level = float(db_from_power(sum(power for _, power, _ in found)))
            if level > NOBODY_PLAYS_DBFS - 20.0 and level <= active_dbfs - _BELOW_DB:
                hum = Hum(mains_hz, tuple(line for line, _, _ in found), level)
                if best is None or hum.level_dbfs > best.level_dbfs:
                    best = hum
    return best
