"""What the quiet of a recording is: noise in its pauses, hum under all of it, or soft music, which is neither."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import db_from_power
from gainlib.meters.windows import LEAST_PAUSING_SECONDS, NOBODY_PLAYS_DBFS

__all__ = ["Hum", "Noise", "QuietWindows", "find_hum", "judge_noise"]

_KEPT = 64
_QUIETEST = 0.05
_LEAST_KEPT = 6
_OVER_DB = 6.0
"""Sound that is not so far above its quietest moments leaves no pause to hear noise in."""
_STEADY_DB = 3.0
"""The quietest moments of noise lie within so much of each other; those of a fade do not."""
_FLAT_DB = -3.0
"""Noise fills the lines of a narrow band evenly, notes do not: geometric against arithmetic mean, band by band."""

_LEAST_LINES = 8

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


@dataclass(frozen=True)
class Noise:
    """The noise of a recording: its level, AES17 dBFS, and hum; None where it cannot be told, `why` says why not."""

    floor_dbfs: float | None
    hum: Hum | None = None
    why: str = ""


class QuietWindows:
    """The quietest windows of a stream, with their samples, of each channel; digital silence is not among them."""

    def __init__(self, channels: int, width: int) -> None:
        self._samples = np.zeros((channels, _KEPT, width), dtype=np.float32)
        self._powers = np.full((channels, _KEPT), np.inf)
        self._width, self._windows = width, 0

    def take(self, rows: NDArray[np.floating], powers: NDArray[np.float64]) -> None:
        """The next full windows: samples `(channels, windows * width)` and their variances `(windows, channels)`."""
        for channel, row in enumerate(rows):
            column = powers[:, channel]
            # A window beside digital silence holds part of it.
            sounds = np.pad(column > 0, 1, constant_values=True)
            inside = sounds[:-2] & sounds[1:-1] & sounds[2:]
            kept = self._powers[channel]
            worst = float(kept.max())
            for window in np.flatnonzero(inside & (column < worst)).tolist():
                place = int(kept.argmax())
                if column[window] >= kept[place]:
                    continue
                kept[place] = column[window]
                self._samples[channel, place] = row[window * self._width : (window + 1) * self._width]
        self._windows += len(powers)

    def of(self, channel: int) -> NDArray[np.float32]:
        """The quietest twentieth of one channel's windows, at most 64, the quietest first, `(windows, width)`."""
        there = np.flatnonzero(np.isfinite(self._powers[channel]))
        order = there[np.argsort(self._powers[channel][there])]
        kept: NDArray[np.float32] = self._samples[channel][
            order[: max(_LEAST_KEPT, math.ceil(_QUIETEST * self._windows))]
        ]
        return kept


def judge_noise(
    quiet: QuietWindows, powers: NDArray[np.float64], floor_dbfs: NDArray[np.float64], active_dbfs: float,
    rate_hz: int, seconds: float, hum: Hum | None,
) -> Noise:  # fmt: skip
    """Whether the quietest of a recording is noise, and how loud it is.

    The quietest windows of 50 ms are noise where sound lies 6 dB and more above them, where they are of one level (a
    fade and a decay pass through), and where they fill each narrow band evenly (notes do not) or are the hum that
    sounds all the time. `powers` are all windows' variances `(windows, channels)`, since an offset is no noise;
    `floor_dbfs` is each channel's quietest twentieth. The bounds are this course's own; the benchmark of faults prints
    how often the verdict is right.
    """
    channel = int(floor_dbfs.argmax())
    floor = float(floor_dbfs[channel])
    if active_dbfs == -math.inf or floor == -math.inf:
        return Noise(floor, hum)
    if seconds < LEAST_PAUSING_SECONDS:
        return Noise(None, hum, "it is too short to tell its noise from its sound.")
    windows = quiet.of(channel).astype(np.float64)
    if len(windows) < _LEAST_KEPT:
        return Noise(None, hum, "it has too few quiet moments to tell its noise from its sound.")
    windows = windows - windows.mean(axis=1, keepdims=True)
    own = np.einsum("wn,wn->w", windows, windows) / windows.shape[1]
    if active_dbfs - floor < _OVER_DB:
        return Noise(None, hum, "it never pauses, so its noise cannot be told from its sound.")
    if not own.min() > 0.0:
        return Noise(-math.inf, hum)
    spread = float(np.percentile(db_from_power(own), 90) - np.percentile(db_from_power(own), 10))
    if spread > _STEADY_DB or not _gathers(powers[:, channel]):
        return Noise(None, hum, "it fades and never rests, so its noise cannot be told from its sound.")
    if hum is not None and hum.level_dbfs > floor - 3.0:
        return Noise(floor, hum)
    if _evenness_db(windows, rate_hz) < _FLAT_DB:
        return Noise(None, hum, "its quietest moments are soft notes, so its noise cannot be told.")
    return Noise(floor, hum)


def _gathers(powers: NDArray[np.float64]) -> bool:
    """Whether windows gather at the lowest level, as a floor makes them, rather than pass through it."""
    levels = 10.0 * np.log10(powers[powers > 0])
    lowest = float(np.percentile(levels, 1))
    at, above = (
        np.count_nonzero(levels <= lowest + 2.0),
        np.count_nonzero((levels > lowest + 2.0) & (levels <= lowest + 6.0)),
    )
    return bool(at >= _LEAST_KEPT and at >= above / 2)


def _evenness_db(windows: NDArray[np.float64], rate_hz: int) -> float:
    """How evenly the lines of narrow bands are filled, in dB, the bands weighted by their power; 0 is white."""
    width = windows.shape[1]
    spectra = np.abs(np.fft.rfft(windows * np.hanning(width), axis=1)) ** 2
    power = spectra.mean(axis=0)
    lines_hz = np.fft.rfftfreq(width, 1.0 / rate_hz)
    top_hz = min(16_000.0, 0.45 * rate_hz)
    least = _LEAST_LINES * rate_hz / width
    low, total, sum_ = 60.0, 0.0, 0.0
    while low < top_hz:
        high = max(low * 2.0 ** (1 / 3), low + least)
        band = power[(lines_hz >= low) & (lines_hz < min(high, top_hz))]
        low = high
        mean = float(band.mean()) if len(band) >= _LEAST_LINES // 2 else 0.0
        if mean > 0.0:
            sum_ += mean * len(band) * (float(np.log(band + 1e-30).mean()) - math.log(mean + 1e-30))
            total += mean * len(band)
    return 10.0 / math.log(10.0) * sum_ / total if total else -math.inf


def find_hum(envelope: NDArray[np.floating], active_dbfs: float) -> Hum | None:
    """Mains hum in a recording, from its low end at 1000 values a second; None where there is none.

    A line at 50 or 60 Hz, or a multiple of it, stands 12 dB above its neighbours even in the quietest tenth of frames
    of 2 s and is as loud in half of them, bar 6 dB: notes come and go, hum does not. Two lines are wanted, or one that
    stands out by 20 dB. *Common practice* (mains hum and its multiples); the bounds are this course's own.
    """
    length = round(_HUM_SECONDS * 1000)
    if len(envelope) < _LEAST_HUM_SECONDS * 1000:
        return None
    frames = np.lib.stride_tricks.sliding_window_view(envelope, length)[:: length // 2].astype(np.float64)
    rest = np.count_nonzero(frames.reshape(len(frames), 40, -1).any(axis=2), axis=1) == 40
    frames = frames[rest]  # digital silence has no hum and says nothing of it
    if len(frames) < 3:
        return None
    window = np.hanning(length)
    # Scaled so that a line's height is its sine's power against a full-scale sine's.
    spectra = (
        np.abs(np.fft.rfft((frames - frames.mean(axis=1, keepdims=True)) * window, axis=1)) / (window.sum() / 2)
    ) ** 2
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
