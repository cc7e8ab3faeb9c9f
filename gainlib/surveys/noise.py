"""What the quiet of a recording is: noise in its pauses or under its music, or soft music, which is none."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft

from gainlib.decibels import db_from_power, rms_dbfs_from_power
from gainlib.meters.hum import Hum
from gainlib.meters.windows import LEAST_PAUSING_SECONDS, away_from_silence

__all__ = ["BandWindows", "Noise", "QuietWindows", "judge_noise"]

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

_LOWEST_HZ, _HIGHEST_HZ = 100.0, 16_000.0
_MOST_WINDOWS, _LEAST_WINDOWS = 800, 80
_LEAST_WIDTH = 200  # samples: of less than 4 kHz nothing is told
_LEAST_TOLD_LINES = 20
"""In a band of fewer lines, below 1.4 kHz, chance scatters noise as widely as music moves."""
_WHITE_DB, _WHITE_WITHIN_DB = -2.51, 0.35
"""Of white noise the geometric mean of a periodogram's lines lies so far below their arithmetic mean (e to the power of
minus Euler's constant, derived); of notes 3.5 to 12 dB."""
_SCATTER_DB = 5.57
"""The standard deviation of one such line, in decibels: 10 / ln 10 times pi / sqrt 6, derived."""
_LOWEST_SHARE = 0.1
_STILL_DB = 1.2
_SHORT_STILL_DB, _BANDS_OF_SHORT = 1.0, 5


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


class BandWindows:
    """How the windows of a stream fill thirds of an octave, of each channel: what tells noise under music.

    At most 800 windows are kept, evenly spread however long the stream is: when there are more, every other one goes.
    """

    def __init__(self, rate_hz: int, channels: int, width: int) -> None:
        self._width, self._rate_hz, self._channels = width, rate_hz, channels
        top_hz, low_hz = min(_HIGHEST_HZ, 0.45 * rate_hz), _LOWEST_HZ
        edges_hz = [0.0]
        while low_hz < top_hz:
            edges_hz.append(low_hz)
            low_hz = max(low_hz * 2.0 ** (1 / 3), low_hz + _LEAST_LINES * rate_hz / width)
        edges_hz[-1] = top_hz  # of which the last band is the wider
        lines = width // 2 + 1
        self._edges = np.unique(np.clip(np.ceil(np.array(edges_hz) * width / rate_hz).astype(np.int64), 0, lines - 1))
        self.lines = np.diff(np.append(self._edges, lines))
        """How many lines of the spectrum each band has; the first lies below them all, the last above."""
        self._window = np.hanning(width).astype(np.float32)
        self._scale = 2.0 / float((self._window.astype(np.float64) ** 2).sum()) / width
        self._stride, self._next, self._windows = 1, 0, 0
        self._kept: list[NDArray[np.float32]] = []  # of each block (windows, 2, channels, bands)
        self._count = 0

    def take(self, rows: NDArray[np.floating]) -> None:
        """The next full windows: samples `(channels, windows * width)`."""
        full = rows.shape[1] // self._width if self._width >= _LEAST_WIDTH else 0
        chosen = np.arange(self._next - self._windows, full, self._stride)
        self._windows += full
        if not len(chosen):
            return
        self._next += self._stride * len(chosen)
        windows = rows.reshape(len(rows), full, self._width)[:, chosen]
        lines = fft.rfft(windows * self._window, axis=2)
        powers = (lines.real**2 + lines.imag**2).astype(np.float32)
        sums = np.add.reduceat(powers, self._edges, axis=2)
        logs = np.add.reduceat(np.log(powers + np.float32(1e-30)), self._edges, axis=2) / self.lines
        evenness = logs - np.log(sums / self.lines + np.float32(1e-30))
        self._kept.append(np.stack((sums * self._scale, evenness)).transpose(2, 0, 1, 3).astype(np.float32))
        self._count += len(chosen)
        while self._count > _MOST_WINDOWS:
            every = np.concatenate(self._kept)[::2]
            self._kept, self._count, self._stride = [every], len(every), 2 * self._stride
            self._next = self._stride * self._count

    def floor_power(self, channel: int) -> float | None:
        """The mean square of the noise that stands under one channel's sound all the time, None where none is seen.

        In the bands above 1.4 kHz, where music leaves gaps, the quietest tenth of windows is noise where its lines are
        as uneven as white noise's, no more and no less, and where a quarter of all windows comes as near to it as
        chance allows: minimum statistics, as R. Martin (IEEE Trans. Speech Audio Process. 9, 2001) reads the noise
        under speech (*published*); evenness and bounds are this course's own. In bands that the music fills noise is
        taken to be as dense as in the next band that tells it, and not above the lowest that was there.
        """
        if not self._kept:
            return None
        both = np.concatenate(self._kept)[:, :, channel].astype(np.float64)
        powers, evenness = both[:, 0], both[:, 1] * 10.0 / math.log(10.0)
        # Digital silence holds no noise, nor does a window that it reaches into.
        whole = powers.sum(axis=1)
        inside = away_from_silence(np.where(whole > 1e-14, whole, 0.0))
        powers, evenness = powers[inside], evenness[inside]
        if len(powers) < _LEAST_WINDOWS:
            return None
        count = max(_LEAST_LINES, math.ceil(_LOWEST_SHARE * len(powers)))
        quietest = np.argsort(powers, axis=0)[:count]
        floors = np.take_along_axis(powers, quietest, axis=0).mean(axis=0)
        uneven = np.take_along_axis(evenness, quietest, axis=0).mean(axis=0)
        levels = db_from_power(np.maximum(powers, 1e-30))
        first, low, tenth, quarter = np.percentile(levels, [1, 5, 10, 25], axis=0)
        chance = 10.0 / math.log(10.0) / np.sqrt(self.lines / 1.6)
        white = np.abs(uneven - _WHITE_DB) < _WHITE_WITHIN_DB + _SCATTER_DB / np.sqrt(count * self.lines / 1.5)
        white &= self.lines >= _LEAST_TOLD_LINES
        white[0] = white[-1] = False
        told = white & (quarter - low < _STILL_DB + 0.75 * chance)
        short = white & (tenth - first < _SHORT_STILL_DB + chance)
        if np.convolve(short, np.ones(_BANDS_OF_SHORT), "valid").max(initial=0) >= _BANDS_OF_SHORT:
            told |= short
        if not told.any():
            return None
        density = floors / self.lines
        nearest = np.flatnonzero(told)[np.abs(np.arange(len(told))[:, None] - np.flatnonzero(told)).argmin(axis=1)]
        return float(np.minimum(floors, density[nearest] * self.lines)[~told].sum() + floors[told].sum())


def judge_noise(
    quiet: QuietWindows, bands: BandWindows, powers: NDArray[np.float64], floor_dbfs: NDArray[np.float64],
    active_dbfs: float, rate_hz: int, seconds: float, hum: Hum | None,
) -> Noise:  # fmt: skip
    """Whether the quietest of a recording is noise, and how loud it is.

    The quietest windows of 50 ms are noise where sound lies 6 dB and more above them, where they are of one level (a
    fade and a decay pass through), and where they fill each narrow band evenly (notes do not) or are the hum that
    sounds all the time. Of a recording that does not pause they are what `bands` sees under its sound. `powers` are all
    windows' variances `(windows, channels)`, since an offset is no noise; `floor_dbfs` is each channel's quietest
    twentieth. The bounds are this course's own; the benchmark of faults prints how often the verdict is right.
    """
    paused = _in_pauses(quiet, powers, floor_dbfs, active_dbfs, rate_hz, seconds, hum)
    if paused.floor_dbfs is not None or seconds < LEAST_PAUSING_SECONDS:
        return paused
    under = [power for channel in range(len(floor_dbfs)) if (power := bands.floor_power(channel)) is not None]
    under_dbfs = float(rms_dbfs_from_power(max(under, default=0.0)))
    return Noise(under_dbfs, hum) if -math.inf < under_dbfs < active_dbfs - _OVER_DB else paused


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
