"""True peak: the highest point of the curve that the samples stand for, between them as well as on them."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.audio import Samples
from gainlib.decibels import db_from_ratio
from gainlib.errors import GainError
from gainlib.loops import windowed_sinc
from gainlib.meters.streaming import Readings, StreamMeter, WindowFigures, read_whole

__all__ = ["TruePeakMeter", "curve_between", "true_peak_dbtp"]

# The values a quarter, a half and three quarters after a sample, from 32 samples on either side. Flat to 0.003 dB up to
# 0.48 of the rate; the annex's printed 12 taps a phase are not to 0.2 dB.
_AROUND = np.arange(-31.0, 33.0)
QUARTERS = windowed_sinc(_AROUND - np.array([[0.25], [0.5], [0.75]]), 32.0, 7.0)
# Half-way on that finer grid, from four of its values on either side, which are alike: the curve fills an eighth of the
# band there, and so few taps are flat to 0.0004 dB.
MIDWAY = windowed_sinc(np.arange(4.0) + 0.5, 4.0, 9.25)
# How far above the largest sample the reading can stand. *Derived*: a value between samples is at most the sum of the
# taps' sizes, 2.87, times the largest sample, with the samples' signs to match; and a parabola's top stands at most an
# eighth of its crest above it. That is 10.2 dB, for a recording of any length. Real ones stay within 6 dB, but legal
# test signals do not: a second of full-scale samples of random sign reaches +8 dBTP.
_MOST = float(np.abs(QUARTERS).sum(axis=1).max()) * 9 / 8
_REACH = QUARTERS.shape[1] // 2
_STRETCH = 512
_AT_ONCE = 2**17  # enough for channels to run side by side
# The first stretch starts where the curve can leave zero; the grid of stretches is the same however blocks arrive.
_START = -(_REACH + 2)
_MARGIN = _REACH + 4


def true_peak_dbtp(samples: ArrayLike) -> Readings:
    """The true peak: what the samples reach when a converter draws the curve between them.

    Four times oversampled by a 64-tap windowed sinc; where the highest point could be, twice more, and parabolas
    through what lies around each crest. The same at every rate, also at 192 kHz and above. Never below the sample peak,
    and with the tails before the first and after the last sample. Within 0.01 dB for steady tones up to 0.45 of the
    rate.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.

    Returns
    -------
    ndarray `(channels,)`
        dBTP; silence reads -inf.

    Raises
    ------
    GainError
        For samples that are empty, not floats or not finite.

    References
    ----------
    *Published*: ITU-R BS.1770-5 Annex 2, which allows better filters than the one it prints.

    Examples
    --------
    >>> quarter = 0.5 * np.sin(np.pi / 4 + np.pi / 2 * np.arange(4800))
    >>> round(float(20 * np.log10(np.abs(quarter).max())), 2)
    -9.03
    >>> fade = np.minimum(1.0, np.minimum(np.arange(4800), np.arange(4800)[::-1]) / 480)
    >>> true_peak_dbtp(fade * quarter).round(2).tolist()
    [-6.02]
    """
    return read_whole(TruePeakMeter, samples).reading_dbtp()


def curve_between(channel: NDArray[np.floating], points: int) -> Readings:
    """The curve that a converter draws through one channel, the same that `true_peak_dbtp` reads.

    With silence before and after; every sample itself lies on it.

    Parameters
    ----------
    channel : array of float, `(n,)`
        Samples, full scale ±1.0.
    points : int
        How many points are drawn for each sample.

    Returns
    -------
    ndarray `(n * points,)`
        Values of the curve, the samples among them.

    References
    ----------
    *Derived*: a windowed sinc of 64 taps.

    Examples
    --------
    >>> quarter = np.tile([0.0, 1.0, 0.0, -1.0], 50)
    >>> curve_between(quarter, 2)[200:205].round(3).tolist()
    [0.0, 0.707, 1.0, 0.707, 0.0]
    """
    wide = np.pad(channel, (-int(_AROUND[0]), int(_AROUND[-1])))
    phases = [windowed_sinc(_AROUND - each / points, 32.0, 7.0) for each in range(points)]
    return np.stack([np.correlate(wide, taps, "valid") for taps in phases], axis=1).ravel()


class TruePeakMeter(StreamMeter):
    """The true peak of a stream: `push` each block, ask `reading_dbtp` at any time.

    The reading is that of the whole to the last bit, whatever the blocks, and asking does not change what follows.
    Keeps fewer than a thousand samples a channel, however long it runs.

    Parameters
    ----------
    channels : int
        How many channels each block has.

    Raises
    ------
    GainError
        As `LevelMeter` does.

    References
    ----------
    *Published*: ITU-R BS.1770-5 Annex 2.

    Examples
    --------
    >>> meter = TruePeakMeter(1)
    >>> meter.push(np.array([0.0, 0.9]))
    >>> meter.push(np.array([0.9, 0.0]))
    >>> meter.reading_dbtp().round(2).tolist() == true_peak_dbtp(np.array([0.0, 0.9, 0.9, 0.0])).round(2).tolist()
    True
    """

    by_channel = True

    def __init__(self, channels: int) -> None:
        super().__init__(channels)
        self._highest = np.zeros(channels)
        self._largest = np.zeros(channels)
        self._begin = _START  # where the next stretch starts
        # What the next stretches still need, the first of it at sample `_first`; before the recording is silence.
        self._first = 0
        self._pending: NDArray[np.floating] = np.empty((channels, 0), dtype=np.float32)

    def take(self, checked: Samples) -> None:
        """`push` of samples that were checked before, a part at a time, since each is copied channel by channel."""
        for start in range(0, len(checked), _AT_ONCE):
            self._take(checked[start : start + _AT_ONCE])

    def take_known(self, checked: Samples, figures: WindowFigures) -> None:
        """`take`, where the largest samples are known."""
        if len(checked) > _AT_ONCE:
            self.take(checked)
        else:
            self._take(checked, figures.peaks)

    def _take(self, checked: Samples, peaks: Samples | None = None) -> None:
        self._pending = np.concatenate((self._pending, checked.T), axis=1)
        if peaks is None:
            peaks = np.maximum(self._pending.max(axis=1), -self._pending.min(axis=1))
        self._largest = np.maximum(self._largest, peaks)
        ready = self._first + self._pending.shape[1] - _MARGIN - 1
        stretches = max(0, (ready - self._begin) // _STRETCH)
        if stretches:
            stop = self._begin + stretches * _STRETCH
            self._highest = self._read(stop)
            self._begin = stop
            gone = max(0, stop - _REACH - self._first)
            self._pending = self._pending[:, gone:].copy()
            self._first += gone

    def reading_dbtp(self) -> Readings:
        """The true peak up to now, one reading a channel, -inf before the first block."""
        if not self._pending.shape[1]:
            return db_from_ratio(self._highest)
        highest = self._read(self._first + self._pending.shape[1] + _MARGIN)
        # What single precision rounds between the samples is less than 1e-5; 1e-300 is where doubles grow coarse.
        for channel in np.flatnonzero(highest > _MOST * self._largest * (1 + 1e-5) + 1e-300):
            read_dbtp, sample_dbfs = db_from_ratio(highest[channel]), db_from_ratio(self._largest[channel])
            raise GainError(
                f"the true peak of channel {channel + 1} reads {read_dbtp:.1f} dBTP over samples of at most "
                f"{sample_dbfs:.1f} dBFS, more than any curve through them can reach; that is a fault of gainlib and "
                f"not of the recording: do not use the figure, and report it with the recording."
            )
        return db_from_ratio(highest)

    def _read(self, stop: int) -> Readings:
        start, end = self._begin - self._first, stop - self._first

        def one(channel: int) -> float:
            before = float(self._highest[channel])
            return loops.interpolated_peak(self._pending[channel], start, end, before, QUARTERS, MIDWAY)

        return np.array(loops.each_channel(one, self.channels, self._pending.shape[1]))
