"""What the quiet of a recording is: noise in its pauses or under its sound, or soft music, which is none."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import db_from_power
from gainlib.meters.hum import Hum
from gainlib.meters.windows import LEAST_PAUSING_SECONDS, away_from_silence

__all__ = ["Noise", "QuietWindows", "judge_noise"]

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


@dataclass(frozen=True)
class Noise:
    """The noise of a recording, AES17 dBFS, and its hum; None where it is not told, `why` says why not in pauses.

    `floor_dbfs` is the noise of its pauses; where they tell none, `under_sound_dbfs` may be told under its sound.
    Softer hum than `hum_told_from_dbfs` would not have been found.
    """

    floor_dbfs: float | None
    hum: Hum | None = None
    why: str = ""
    under_sound_dbfs: float | None = None
    hum_told_from_dbfs: float | None = None

    @property
    def level_dbfs(self) -> float | None:
        """Of its pauses or else under its sound."""
        return self.under_sound_dbfs if self.floor_dbfs is None else self.floor_dbfs


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
            inside = away_from_silence(column)
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
    quiet: QuietWindows, under_sound_dbfs: float, powers: NDArray[np.float64], floor_dbfs: NDArray[np.float64],
    active_dbfs: float, rate_hz: int, seconds: float, hum: Hum | None,
) -> Noise:  # fmt: skip
    """Whether the quietest of a recording is noise, and how loud it is.

    The quietest windows of 50 ms are noise where sound lies 6 dB and more above them, where they are of one level (a
    fade and a decay pass through), and where they fill each narrow band evenly (notes do not) or are the hum that
    sounds all the time. Of a recording that does not pause noise is what is seen under its sound, `under_sound_dbfs`,
    where that lies 6 dB and more below it. `powers` are all windows' variances `(windows, channels)`, since an offset
    is no noise; `floor_dbfs` is each channel's quietest twentieth. The bounds are this course's own; the benchmark of
    faults prints how often the verdict is right.
    """
    paused = _in_pauses(quiet, powers, floor_dbfs, active_dbfs, rate_hz, seconds, hum)
    if paused.floor_dbfs is None and -math.inf < under_sound_dbfs < active_dbfs - _OVER_DB:
        return replace(paused, under_sound_dbfs=under_sound_dbfs)
    return paused


def _in_pauses(
    quiet: QuietWindows, powers: NDArray[np.float64], floor_dbfs: NDArray[np.float64], active_dbfs: float,
    rate_hz: int, seconds: float, hum: Hum | None,
) -> Noise:  # fmt: skip
    """The noise in a recording's pauses, or why it cannot be told."""
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
