"""Sample peak, AES17 RMS, crest factor and DC offset, one reading for each channel."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from gainlib import loops
from gainlib.audio import Samples
from gainlib.decibels import db_from_power, db_from_ratio, rms_dbfs_from_power
from gainlib.meters.streaming import Readings, StreamMeter, WindowFigures, finite_powers, read_whole

__all__ = ["LevelMeter", "crest_db", "dc_offset_dbfs", "peak_dbfs", "rms_dbfs"]


class LevelMeter(StreamMeter):
    """Peak, RMS, crest factor and DC offset of a stream: `push` each block, read at any time.

    The peak is that of the whole to the last bit; the sums behind RMS and offset are added block by block, so their
    levels may differ from the whole's by rounding, below 1e-11 dB. Keeps three numbers a channel.

    Parameters
    ----------
    channels : int
        How many channels each block has.

    Raises
    ------
    GainError
        For a block whose channels differ in number, for samples that are no numbers, and for ones whose squares run
        over.

    Examples
    --------
    >>> meter = LevelMeter(1)
    >>> meter.push(np.array([0.5, -0.5]))
    >>> meter.peak_dbfs.round(2).tolist(), meter.crest_db.round(2).tolist()
    ([-6.02], [0.0])
    """

    by_channel = True

    def __init__(self, channels: int) -> None:
        super().__init__(channels)
        self._peaks, self._squares, self._sums = np.zeros((3, channels))
        self._samples = 0

    def take(self, checked: Samples) -> None:
        """`push` of samples that were checked before."""
        for channel in range(self.channels):
            samples = checked[:, channel]
            peak, squares = loops.peak_and_square_sum(samples)
            self._peaks[channel] = max(self._peaks[channel], peak)
            self._squares[channel] += squares
            finite_powers(self._squares)
            self._sums[channel] += samples.sum(dtype=np.float64)
        self._samples += len(checked)

    def take_known(self, checked: Samples, figures: WindowFigures) -> None:
        """`take` by the block's figures alone."""
        self._peaks = np.maximum(self._peaks, figures.peaks)
        self._squares = finite_powers(self._squares + figures.squares.sum(axis=0))
        self._sums = self._sums + figures.sums.sum(axis=0)
        self._samples += figures.samples

    @property
    def mean_squares(self) -> Readings:
        """The mean square so far."""
        return self._squares / max(self._samples, 1)

    @property
    def peak_dbfs(self) -> Readings:
        """The sample peak so far."""
        return db_from_ratio(self._peaks)

    @property
    def rms_dbfs(self) -> Readings:
        """The AES17 RMS level so far."""
        return rms_dbfs_from_power(self.mean_squares)

    @property
    def crest_db(self) -> Readings:
        """The crest factor so far, 0 dB for silence."""
        silent = self._squares == 0.0
        ratio = self._peaks**2 / np.where(silent, 1.0, self.mean_squares)
        return db_from_power(np.where(silent, 1.0, ratio))

    @property
    def dc_offset_dbfs(self) -> Readings:
        """The DC offset so far."""
        return db_from_ratio(np.abs(self._sums / max(self._samples, 1)))


def peak_dbfs(samples: ArrayLike) -> Readings:
    """The sample peak: 20 log10 of the largest |sample|; full scale reads 0 dBFS.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.

    Returns
    -------
    ndarray `(channels,)`
        dBFS; silence reads -inf.

    Raises
    ------
    GainError
        For samples that are empty, not floats or not finite.

    References
    ----------
    *Published*: AES17 (full scale).

    Examples
    --------
    >>> peak_dbfs(np.array([0.0, -0.5])).round(2).tolist()
    [-6.02]
    """
    return read_whole(LevelMeter, samples).peak_dbfs


def rms_dbfs(samples: ArrayLike) -> Readings:
    """The RMS level with the AES17 zero: a full-scale sine reads 0 dBFS, a full-scale square +3.01 dBFS.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.

    Returns
    -------
    ndarray `(channels,)`
        dBFS over the whole length; silence reads -inf.

    Raises
    ------
    GainError
        As `peak_dbfs` does.

    References
    ----------
    *Published*: AES17 and IEC 61606 (the zero).

    Examples
    --------
    >>> rms_dbfs(np.ones(480)).round(2).tolist()
    [3.01]
    """
    return read_whole(LevelMeter, samples).rms_dbfs


def crest_db(samples: ArrayLike) -> Readings:
    """The crest factor: peak over plain RMS; a square reads 0 dB, a sine 3.01 dB, a snare near 20 dB.

    Plain is the mathematical RMS, without the AES17 zero, which stands 3.01 dB above it: so the crest factor is the
    distance of peak and RMS as they are printed, plus 3.0 dB (peak_dbfs - rms_dbfs + 3.0).

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.

    Returns
    -------
    ndarray `(channels,)`
        dB; silence has no crest factor and reads 0 dB.

    Raises
    ------
    GainError
        As `peak_dbfs` does.

    References
    ----------
    *Published*: IEC 60268-1 (crest factor).

    Examples
    --------
    >>> sine = np.sin(2 * np.pi * np.arange(48000) / 48)
    >>> crest_db(sine).round(2).tolist(), (peak_dbfs(sine) - rms_dbfs(sine)).round(2).tolist()
    ([3.01], [0.0])
    """
    return read_whole(LevelMeter, samples).crest_db


def dc_offset_dbfs(samples: ArrayLike) -> Readings:
    """How far the middle of the waveform is from zero: 20 log10 of |mean sample|; 0.001 of full scale is -60 dBFS.

    It is a peak level: an offset of 1.0 reads 0 dBFS here and +3.01 dBFS as AES17 RMS.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.

    Returns
    -------
    ndarray `(channels,)`
        dBFS; no offset at all reads -inf.

    Raises
    ------
    GainError
        As `peak_dbfs` does.

    References
    ----------
    *Derived* from the definition of the mean.

    Examples
    --------
    >>> dc_offset_dbfs(np.full(480, -0.001)).round(2).tolist()
    [-60.0]
    """
    return read_whole(LevelMeter, samples).dc_offset_dbfs
