"""Noise under sound that never rests: what stands still in the gaps of its treble."""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.audio import Samples
from gainlib.decibels import db_from_power, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.meters.streaming import Readings, StreamMeter, WindowFigures, finite_powers, read_whole
from gainlib.meters.windows import away_from_silence, window_samples

__all__ = ["NoiseUnderSoundMeter", "noise_under_sound_dbfs"]

_LEAST_LINES = 8
_LOWEST_HZ, _HIGHEST_HZ = 100.0, 16_000.0
_MOST_WINDOWS, _LEAST_WINDOWS = 800, 80
_AT_ONCE = 50
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


class NoiseUnderSoundMeter(StreamMeter):
    """The noise under a stream's sound: `push` each block, read at any time.

    It keeps how windows of 50 ms fill thirds of an octave, at most 800 of them, evenly spread however long the stream
    is: when there are more, every other one goes.

    Parameters
    ----------
    rate_hz : int
        The sample rate, 1 Hz or above.
    channels : int
        How many channels each block has.

    Raises
    ------
    GainError
        For a rate below 1 Hz, and as `LevelMeter` does.

    Examples
    --------
    >>> meter = NoiseUnderSoundMeter(48000, 1)
    >>> meter.push(np.random.default_rng(1).uniform(-0.001, 0.001, 5 * 48000))
    >>> meter.noise_under_sound_dbfs.round().tolist()
    [-63.0]
    """

    by_channel = True

    def __init__(self, rate_hz: int, channels: int) -> None:
        super().__init__(channels)
        if rate_hz < 1:
            raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
        self._width = window_samples(rate_hz)
        self._edges, self._lines, self._window, self._scale = _bands(rate_hz, self._width)
        self._early: list[NDArray[np.floating]] = []
        self._stride, self._next, self._windows, self._looked = 1, 0, 0, 0
        self._kept: list[NDArray[np.float32]] = []  # of each block (windows, 2, channels, bands)
        self._count = 0
        self._open: NDArray[np.floating] = np.empty((0, channels))

    def expect(self, samples: int) -> None:
        """Say how many samples a channel are to come, so that no window is looked at only to go again."""
        while math.ceil(samples // self._width / self._stride) > _MOST_WINDOWS:
            self._stride *= 2

    def take(self, checked: Samples) -> None:
        """`push` of samples that were checked before."""
        waiting = np.concatenate((self._open, checked)) if len(self._open) else checked
        full = len(waiting) // self._width
        for first in range(0, full, _AT_ONCE):
            last = min(first + _AT_ONCE, full)
            self._take(waiting[first * self._width : last * self._width].T, last - first)
        self._open = waiting[full * self._width :].copy()

    def take_known(self, checked: Samples, figures: WindowFigures) -> None:
        """`take` of a block whose windows are the meter's own."""
        if len(self._open) or figures.width != self._width:
            self.take(checked)
            return
        self._take(checked[: figures.full * self._width].T, figures.full)
        self._open = checked[figures.full * self._width :].copy()

    def _take(self, rows: NDArray[np.floating], full: int) -> None:
        """The next full windows: samples `(channels, full * width)`."""
        self._windows += full
        if self._width < _LEAST_WIDTH:
            return
        if self._windows < _LEAST_WINDOWS:  # of fewer nothing is told, so that a short file waits for no spectra
            self._early.append(rows.copy())
            return
        for each in self._early:
            self._look(each)
        self._early.clear()
        self._look(rows)

    def _look(self, rows: NDArray[np.floating]) -> None:
        full = rows.shape[1] // self._width
        chosen = np.arange(self._next - self._looked, full, self._stride)
        self._looked += full
        if not len(chosen):
            return
        self._next += self._stride * len(chosen)
        windows = rows.reshape(len(rows), full, self._width)[:, chosen]
        with np.errstate(over="ignore", invalid="ignore"):
            lines = np.fft.rfft(windows * self._window, axis=2)
            powers = (lines.real**2 + lines.imag**2).astype(np.float32)
            sums = finite_powers(np.add.reduceat(powers, self._edges, axis=2))
        logs = np.add.reduceat(np.log(powers + np.float32(1e-30)), self._edges, axis=2) / self._lines
        evenness = logs - np.log(sums / self._lines + np.float32(1e-30))
        self._kept.append(np.stack((sums * self._scale, evenness)).transpose(2, 0, 1, 3).astype(np.float32))
        self._count += len(chosen)
        while self._count > _MOST_WINDOWS:
            every = np.concatenate(self._kept)[::2]
            self._kept, self._count, self._stride = [every], len(every), 2 * self._stride
            self._next = self._stride * self._count

    @property
    def noise_under_sound_dbfs(self) -> Readings:
        """The level of the noise under each channel's sound so far, -inf where none is seen."""
        return np.asarray(rms_dbfs_from_power(np.array([self._floor_power(each) for each in range(self.channels)])))

    def _floor_power(self, channel: int) -> float:
        """The mean square of the noise that stands under one channel's sound all the time, 0 where none is seen."""
        if not self._kept:
            return 0.0
        both = np.concatenate(self._kept)[:, :, channel].astype(np.float64)
        powers, evenness = both[:, 0], both[:, 1] * 10.0 / math.log(10.0)
        # Digital silence holds no noise, nor does a window that it reaches into.
        whole = powers.sum(axis=1)
        inside = away_from_silence(np.where(whole > 1e-14, whole, 0.0))
        powers, evenness = powers[inside], evenness[inside]
        if len(powers) < _LEAST_WINDOWS:
            return 0.0
        count = max(_LEAST_LINES, math.ceil(_LOWEST_SHARE * len(powers)))
        quietest = np.argsort(powers, axis=0)[:count]
        floors = np.take_along_axis(powers, quietest, axis=0).mean(axis=0)
        uneven = np.take_along_axis(evenness, quietest, axis=0).mean(axis=0)
        levels = db_from_power(np.maximum(powers, 1e-30))
        first, low, tenth, quarter = np.percentile(levels, [1, 5, 10, 25], axis=0)
        chance = 10.0 / math.log(10.0) / np.sqrt(self._lines / 1.6)
        white = np.abs(uneven - _WHITE_DB) < _WHITE_WITHIN_DB + _SCATTER_DB / np.sqrt(count * self._lines / 1.5)
        white &= self._lines >= _LEAST_TOLD_LINES
        white[0] = white[-1] = False
        told = white & (quarter - low < _STILL_DB + 0.75 * chance)
        short = white & (tenth - first < _SHORT_STILL_DB + chance)
        if np.convolve(short, np.ones(_BANDS_OF_SHORT), "valid").max(initial=0) >= _BANDS_OF_SHORT:
            told |= short
        if not told.any():
            return 0.0
        density = floors / self._lines
        nearest = np.flatnonzero(told)[np.abs(np.arange(len(told))[:, None] - np.flatnonzero(told)).argmin(axis=1)]
        return float(np.minimum(floors, density[nearest] * self._lines)[~told].sum() + floors[told].sum())


@functools.lru_cache(maxsize=8)
def _bands(rate_hz: int, width: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.float32], float]:
    """The first line of each band, how many it has, the window, and what makes its powers mean squares.

    The first band lies below them all, the last above.
    """
    top_hz, low_hz = min(_HIGHEST_HZ, 0.45 * rate_hz), _LOWEST_HZ
    edges_hz = [0.0]
    while low_hz < top_hz:
        edges_hz.append(low_hz)
        low_hz = max(low_hz * 2.0 ** (1 / 3), low_hz + _LEAST_LINES * rate_hz / width)
    edges_hz[-1] = top_hz  # of which the last band is the wider
    lines = width // 2 + 1
    edges = np.unique(np.clip(np.ceil(np.array(edges_hz) * width / rate_hz).astype(np.int64), 0, lines - 1))
    window = np.hanning(width).astype(np.float32)
    scale = 2.0 / max(float((window.astype(np.float64) ** 2).sum()), 1e-30) / width
    return edges, np.diff(np.append(edges, lines)), window, scale


def noise_under_sound_dbfs(samples: ArrayLike, rate_hz: int) -> Readings:
    """The AES17 RMS level of the noise under sound that never rests; -inf where none is seen. It wants 4 s.

    In the bands above 1.4 kHz, where music leaves gaps, the quietest tenth of windows is noise where its lines are as
    uneven as white noise's, no more and no less, and where a quarter of all windows comes as near to it as chance
    allows. In bands that the music fills noise is taken to be as dense as in the next band that tells it, and not
    above the lowest that was there. So noise with nothing over it reads 1.2 dB low, as its quietest tenth lies, and
    under music that leaves few gaps up to 1.5 dB high. Of a recording that pauses `noise_floor_dbfs` tells more.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate, 1 Hz or above; below 4 kHz nothing is seen.

    Returns
    -------
    ndarray `(channels,)`
        dBFS; -inf where no noise is seen.

    Raises
    ------
    GainError
        As `LevelMeter` does, and for a rate below 1 Hz.

    References
    ----------
    *Published*: R. Martin, IEEE Trans. Speech Audio Process. 9, 2001 (minimum statistics: noise under speech). Evenness
    and bounds are this course's own; the benchmark of faults prints how often they are right.

    Examples
    --------
    >>> noise = np.random.default_rng(1).standard_normal(5 * 48000) * 10 ** (-53.01 / 20)
    >>> noise_under_sound_dbfs(noise, 48000).round().tolist()
    [-51.0]
    """
    return read_whole(lambda channels: NoiseUnderSoundMeter(rate_hz, channels), samples).noise_under_sound_dbfs
