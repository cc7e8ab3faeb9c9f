"""Sample peak, AES17 RMS, crest factor, DC offset, headroom and noise floor, one reading for each channel."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.audio import checked_samples
from gainlib.decibels import db_from_power, db_from_ratio, rms_dbfs_from_power
from gainlib.errors import GainError

__all__ = ["LevelMeter", "crest_db", "dc_offset_dbfs", "headroom_db", "noise_floor_dbfs", "peak_dbfs", "rms_dbfs"]

Readings = NDArray[np.float64]

_TOO_LARGE = "the recording holds samples so large that"


def _peaks_and_powers(samples: ArrayLike) -> tuple[Readings, Readings]:
    return checked_peaks_and_powers(checked_samples(samples, "samples"))


def checked_peaks_and_powers(checked: NDArray[np.floating]) -> tuple[Readings, Readings]:
    """The largest |sample| and the mean square of each channel, of samples that were checked before."""
    pairs = [loops.peak_and_square_sum(checked[:, channel]) for channel in range(checked.shape[1])]
    peaks, sums = np.array(pairs).T
    return peaks, finite_powers(sums / len(checked))


def finite_powers(powers: Readings) -> Readings:
    """The powers as they are, or a GainError where samples were so large that their squares ran over."""
    if not np.isfinite(powers).all():
        raise GainError(f"{_TOO_LARGE} their squares run over; full scale is ±1.0, so scale them down first.")
    return powers


def within_reach(checked: NDArray[np.floating]) -> NDArray[np.floating]:
    """The samples as they are, or a GainError for ones too large to be squared and added up."""
    if checked.dtype == np.float64 and max(float(checked.max()), -float(checked.min())) > 1e100:
        raise GainError(f"{_TOO_LARGE} their squares run over; full scale is ±1.0, so scale them down first.")
    return checked


def peak_dbfs(samples: ArrayLike) -> Readings:
    """The sample peak: 20 log10 of the largest |sample|; full scale reads 0 dBFS.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel; silence reads -inf. Raises GainError
    for samples that are empty, not floats or not finite. Source: *published*, AES17 (full scale).

    >>> peak_dbfs(np.array([0.0, -0.5])).round(2).tolist()
    [-6.02]
    """
    peaks, _ = _peaks_and_powers(samples)
    return db_from_ratio(peaks)


def rms_dbfs(samples: ArrayLike) -> Readings:
    """The RMS level with the AES17 zero: a full-scale sine reads 0 dBFS, a full-scale square +3.01 dBFS.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel over the whole length; silence reads
    -inf. Raises GainError as `peak_dbfs` does. Source: *published*, AES17 and IEC 61606 (the zero).

    >>> rms_dbfs(np.ones(480)).round(2).tolist()
    [3.01]
    """
    _, powers = _peaks_and_powers(samples)
    return rms_dbfs_from_power(powers)


def crest_db(samples: ArrayLike) -> Readings:
    """The crest factor: peak over mathematical RMS; a square reads 0 dB, a sine 3.01 dB, a snare near 20 dB.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel. Silence has no crest factor and reads
    0 dB. Raises GainError as `peak_dbfs` does. Source: *published*, IEC 60268-1 (crest factor).

    >>> crest_db(np.sin(2 * np.pi * np.arange(48000) / 48)).round(2).tolist()
    [3.01]
    """
    return crest_of_db(*_peaks_and_powers(samples))


def crest_of_db(peaks: Readings, powers: Readings) -> Readings:
    """The crest factor from peaks and mean squares."""
    silent = powers == 0.0
    return db_from_power(np.where(silent, 1.0, peaks**2 / np.where(silent, 1.0, powers)))


def headroom_db(samples: ArrayLike, *, ceiling_dbfs: float = 0.0) -> Readings:
    """What is left from the sample peak up to a ceiling, full scale unless said otherwise; negative when over it.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel; silence reads +inf. Raises GainError as
    `peak_dbfs` does, and for a ceiling that is not a number. *Derived*: ceiling minus peak.

    >>> headroom_db(np.array([0.0, -0.5]), ceiling_dbfs=-1.0).round(2).tolist()
    [5.02]
    """
    if not math.isfinite(ceiling_dbfs):
        raise GainError(f"ceiling_dbfs is {ceiling_dbfs}; it must be a finite level, 0 for full scale.")
    return np.asarray(ceiling_dbfs - peak_dbfs(samples))


def dc_offset_dbfs(samples: ArrayLike) -> Readings:
    """How far the middle of the waveform is from zero: 20 log10 of |mean sample|; 0.001 of full scale is -60 dBFS.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel; no offset at all reads -inf. It is a
    peak level: an offset of 1.0 reads 0 dBFS here and +3.01 dBFS as AES17 RMS. Raises GainError as `peak_dbfs` does.
    *Derived* from the definition of the mean.

    >>> dc_offset_dbfs(np.full(480, -0.001)).round(2).tolist()
    [-60.0]
    """
    return checked_dc_offset_dbfs(checked_samples(samples, "samples"))


def checked_dc_offset_dbfs(checked: NDArray[np.floating]) -> Readings:
    """`dc_offset_dbfs` of samples that were checked before, as those of an Audio are."""
    return db_from_ratio(np.abs(_sums(checked) / len(checked)))


def _sums(checked: NDArray[np.floating]) -> Readings:
    # Channel by channel: adding up rows of two is ten times slower.
    checked = within_reach(checked)
    return np.array([checked[:, channel].sum(dtype=np.float64) for channel in range(checked.shape[1])])


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
    if not 0 < share <= 1:
        raise GainError(f"share is {share}; give the part of the windows that count as pauses, above 0 up to 1.")
    return floor_of_windows_dbfs(window_powers(samples, rate_hz, window_seconds), share)


def window_powers(samples: ArrayLike, rate_hz: int, window_seconds: float) -> Readings:
    """The mean square of each full window, side by side, `(windows, channels)`; a short recording is one window."""
    checked = checked_samples(samples, "samples")
    if rate_hz < 1:
        raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
    if not (window_seconds > 0 and math.isfinite(window_seconds)):
        raise GainError(f"window_seconds is {window_seconds}; it must be above 0 s.")
    return checked_window_powers(checked, rate_hz, window_seconds)


def checked_window_powers(checked: NDArray[np.floating], rate_hz: int, window_seconds: float) -> Readings:
    """`window_powers` of samples that were checked before, as those of an Audio are."""
    width = min(max(1, round(window_seconds * rate_hz)), len(checked))
    count = len(checked) // width
    # Channel by channel: squares of neighbours in memory are summed four times as fast.
    channels = [checked[: count * width, each].reshape(count, width) for each in range(checked.shape[1])]
    sums = [np.einsum("wn,wn->w", each, each, dtype=np.float64) for each in channels]
    return finite_powers(np.stack(sums, axis=1) / width)


def floor_of_windows_dbfs(powers: Readings, share: float) -> Readings:
    """The AES17 level of the quietest share of windows `(windows, channels)`, one reading a channel."""
    quietest: Readings = np.sort(powers, axis=0)[: max(1, math.ceil(share * len(powers)))].mean(axis=0)
    return rms_dbfs_from_power(quietest)


class LevelMeter:
    """Peak, RMS, crest factor and DC offset of blocks of any size: `push` each, read at any time.

    The peak is that of the whole to the last bit; the sums behind RMS and offset are added block by block, so their
    levels may differ from the whole's by rounding, some 1e-12 dB. Keeps three numbers a channel. Raises GainError for
    a block whose channels differ in number, and as `peak_dbfs` does.

    >>> meter = LevelMeter(1)
    >>> meter.push(np.array([0.5, -0.5]))
    >>> meter.peak_dbfs.round(2).tolist(), meter.crest_db.round(2).tolist()
    ([-6.02], [0.0])
    """

    def __init__(self, channels: int) -> None:
        if channels < 1:
            raise GainError(f"channels is {channels}; a meter needs at least one.")
        self._peaks, self._squares, self._sums = np.zeros((3, channels))
        self._samples = 0

    def push(self, block: ArrayLike) -> None:
        """Take the next samples, `(n,)` or `(n, channels)`."""
        checked = checked_samples(block, "block")
        if checked.shape[1] != len(self._peaks):
            raise GainError(f"block has {checked.shape[1]} channels; this meter was made for {len(self._peaks)}.")
        peaks, powers = checked_peaks_and_powers(checked)
        self._peaks = np.maximum(self._peaks, peaks)
        self._squares = self._squares + powers * len(checked)
        self._sums = self._sums + _sums(checked)
        self._samples += len(checked)

    @property
    def peak_dbfs(self) -> Readings:
        """The sample peak so far."""
        return db_from_ratio(self._peaks)

    @property
    def rms_dbfs(self) -> Readings:
        """The AES17 RMS level so far."""
        return rms_dbfs_from_power(self._squares / max(self._samples, 1))

    @property
    def crest_db(self) -> Readings:
        """The crest factor so far, 0 dB for silence."""
        return crest_of_db(self._peaks, self._squares / max(self._samples, 1))

    @property
    def dc_offset_dbfs(self) -> Readings:
        """The DC offset so far."""
        return db_from_ratio(np.abs(self._sums / max(self._samples, 1)))
