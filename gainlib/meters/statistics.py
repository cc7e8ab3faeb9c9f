"""How levels are spread over frequency, and over the gain reduction of a compressor."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.audio import checked_samples
from gainlib.decibels import db_from_power, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.meters.streaming import within_reach

__all__ = [
    "GainReduction",
    "GainReductionMeter",
    "OctaveBands",
    "Spectrum",
    "gain_reduction",
    "octave_bands",
    "short_time_spectrum",
]

Series = NDArray[np.float64]


@dataclass(frozen=True)
class GainReduction:
    """What a compressor took away: the most, the mean while it worked, and the share of time it worked.

    `gain_reduction` gives it.

    Attributes
    ----------
    largest_db : float
        The most, in dB; 3.0 means turned down by 3 dB.
    mean_while_working_db : float
        The mean in dB of the time in which it worked.
    working_share : float
        That time as a share of the whole, 0 to 1.

    Examples
    --------
    >>> GainReduction(largest_db=6.0, mean_while_working_db=3.5, working_share=0.4).largest_db
    6.0
    """

    largest_db: float
    mean_while_working_db: float
    working_share: float


def gain_reduction(reduction_db: ArrayLike, *, working_above_db: float = 0.1) -> GainReduction:
    """How hard a compressor worked: its largest reduction, the mean while working, and how much of the time that was.

    Parameters
    ----------
    reduction_db : array of float, any shape
        The reduction of each sample or frame, 0 dB or more.
    working_above_db : float
        It works where the reduction is above this.

    Returns
    -------
    GainReduction
        A compressor that never works has a mean of 0 dB.

    Raises
    ------
    GainError
        For an empty array, and for values below 0 or not finite.

    References
    ----------
    *Common practice*: less than 0.1 dB is not seen on a meter.

    Examples
    --------
    >>> gain_reduction([0.0, 0.0, 3.0, 5.0])
    GainReduction(largest_db=5.0, mean_while_working_db=4.0, working_share=0.5)
    """
    meter = GainReductionMeter(working_above_db=working_above_db)
    meter.push(reduction_db)
    return meter.reading()


class GainReductionMeter:
    """`gain_reduction` of a stream: `push` each block, ask `reading` at any time; keeps four numbers.

    The largest and the share are those of the whole; the mean may differ by rounding, some 1e-12 dB.

    Parameters
    ----------
    working_above_db : float
        It works where the reduction is above this.

    Raises
    ------
    GainError
        As `gain_reduction` does, and when asked before anything was pushed.

    Examples
    --------
    >>> meter = GainReductionMeter()
    >>> meter.push([0.0, 3.0])
    >>> meter.push([0.0, 5.0])
    >>> meter.reading().mean_while_working_db
    4.0
    """

    def __init__(self, *, working_above_db: float = 0.1) -> None:
        if not (working_above_db >= 0 and math.isfinite(working_above_db)):
            raise GainError(f"working_above_db is {working_above_db}; it must be 0 dB or more.")
        self._working_above_db = working_above_db
        self._largest = self._sum = 0.0
        self._working = self._count = 0

    def push(self, reduction_db: ArrayLike) -> None:
        """Take the next values in dB, any shape."""
        reduction = np.asarray(reduction_db, dtype=np.float64).ravel()
        if reduction.size == 0:
            raise GainError("reduction_db is empty; give the reduction of at least one sample.")
        if not np.isfinite(reduction).all() or (reduction < 0).any():
            bad = reduction[~(np.isfinite(reduction) & (reduction >= 0))][0]
            raise GainError(f"reduction_db holds {bad:g}; give the reduction as finite dB, 0 or more.")
        working = reduction[reduction > self._working_above_db]
        self._largest = max(self._largest, float(reduction.max()))
        self._sum += float(working.sum())
        self._working += working.size
        self._count += reduction.size

    def reading(self) -> GainReduction:
        """The statistics up to now."""
        if self._count == 0:
            raise GainError("nothing was pushed yet; push the reduction of at least one sample.")
        mean = self._sum / self._working if self._working else 0.0
        return GainReduction(self._largest, mean, self._working / self._count)


@dataclass(frozen=True)
class Spectrum:
    """Level over time and frequency.

    `short_time_spectrum` gives it.

    Attributes
    ----------
    seconds : ndarray `(frames,)`
        The middle of each frame.
    frequency_hz : ndarray `(frequencies,)`
        From 0 to half the rate, Hz.
    level_dbfs : ndarray `(frames, frequencies, channels)`
        The level; a full-scale sine reads 0 dBFS.

    Examples
    --------
    >>> Spectrum(np.array([0.5]), np.array([0.0, 1000.0]), np.full((1, 2, 1), -np.inf)).level_dbfs.shape
    (1, 2, 1)
    """

    seconds: Series
    frequency_hz: Series
    level_dbfs: Series


def short_time_spectrum(
    samples: ArrayLike, rate_hz: int, *, window_seconds: float = 0.04, frames_a_second: float = 50.0
) -> Spectrum:
    """What sounds when: the spectrum of windows of 40 ms, fifty times a second; a full-scale sine reads 0 dBFS.

    Hann window; between two bins a sine reads up to 1.42 dB less. Full windows only; a shorter recording is one window
    filled up with silence.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate.
    window_seconds, frames_a_second : float
        How long a window is, and how often one starts.

    Returns
    -------
    Spectrum
        Level by frame, frequency and channel.

    Raises
    ------
    GainError
        For samples that cannot be read, a rate below 1 Hz, and settings that are not above 0 or not finite.

    References
    ----------
    *Published*: the Hann window's scalloping loss, Harris, Proc. IEEE 66(1), 1978.

    Examples
    --------
    >>> found = short_time_spectrum(np.sin(2 * np.pi * 1000 / 48000 * np.arange(48000)), 48000)
    >>> loudest = found.frequency_hz[found.level_dbfs[0, :, 0].argmax()]
    >>> found.level_dbfs.shape, round(float(found.level_dbfs.max()), 2), float(loudest)
    ((49, 961, 1), 0.0, 1000.0)
    """
    checked = within_reach(checked_samples(samples, "samples"))
    if rate_hz < 1:
        raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
    if not (0 < window_seconds < math.inf and 0 < frames_a_second < math.inf):
        raise GainError(
            f"window_seconds is {window_seconds}, frames_a_second {frames_a_second}; both must be above 0 and finite."
        )
    width = max(4, round(window_seconds * rate_hz))
    if len(checked) < width:
        checked = np.concatenate((checked, np.zeros((width - len(checked), checked.shape[1]))))
    count = math.floor((len(checked) - width) * frames_a_second / rate_hz) + 1
    starts = np.round(np.arange(count) * rate_hz / frames_a_second).astype(np.int64)
    starts = starts[starts + width <= len(checked)]
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * np.arange(width) / width)
    shape = (len(starts), width // 2 + 1, checked.shape[1])
    level = np.empty(shape)
    # A sine of 1 has half of the window's sum in its bin; the two ends of the spectrum have no mirror image.
    scale = np.full((shape[1], 1), 2.0 / window.sum())
    scale[0] /= 2.0
    if width % 2 == 0:
        scale[-1] /= 2.0
    for frame, start in enumerate(starts.tolist()):
        lines = np.fft.rfft(checked[start : start + width] * window[:, None], axis=0)
        level[frame] = db_from_power((np.abs(lines) * scale) ** 2)
    frequency_hz: Series = np.arange(shape[1], dtype=np.float64) * rate_hz / width
    return Spectrum((starts + width / 2) / rate_hz, frequency_hz, level)


@dataclass(frozen=True)
class OctaveBands:
    """Levels in octaves: the middle of each band and its level.

    `octave_bands` gives it.

    Attributes
    ----------
    middle_hz : ndarray `(bands,)`
        The middle of each band, Hz.
    level_dbfs : ndarray `(bands, channels)`
        Its RMS level, AES17 dBFS.

    Examples
    --------
    >>> OctaveBands(np.array([500.0, 1000.0]), np.array([[-40.0], [-20.0]])).level_dbfs.max(axis=1).tolist()
    [-40.0, -20.0]
    """

    middle_hz: Series
    level_dbfs: Series

    @property
    def names(self) -> list[str]:
        """The bands as the trade calls them, from 31.5 Hz to 16 kHz; `middle_hz` has their exact middles.

        >>> OctaveBands(np.array([31.623, 1000.0, 7943.3]), np.zeros((3, 1))).names
        ['31.5 Hz', '1 kHz', '8 kHz']
        """
        tenths = [round(10.0 * math.log10(each)) for each in self.middle_hz]
        hertz = [_NOMINAL[each % 10] * 10.0 ** (each // 10) for each in tenths]
        return [f"{each / 1000:g} kHz" if each >= 1000 else f"{each:g} Hz" for each in hertz]


_NOMINAL = (1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0)  # IEC 61260-1, as others quote it


def octave_bands(samples: ArrayLike, rate_hz: int, *, parts: int = 1) -> OctaveBands:
    """The level in each octave from 31.5 Hz to 16 kHz, or in each third of one with `parts=3`.

    Bands that reach beyond half the rate are left out. Their edges are sharp, cut in the spectrum of the whole
    recording, which a filter bank after the standard is not.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate.
    parts : int
        1 for octaves, 3 for thirds.

    Returns
    -------
    OctaveBands
        AES17 RMS by band and channel: a full-scale sine reads 0 dBFS in its band.

    Raises
    ------
    GainError
        For samples that cannot be read, a rate below 1 Hz, and `parts` other than 1 or 3.

    References
    ----------
    *Published*: IEC 61260-1 (middle frequencies, base ten).

    Examples
    --------
    >>> found = octave_bands(np.sin(2 * np.pi * 1000 / 48000 * np.arange(48000)), 48000)
    >>> found.middle_hz.round(1).tolist()[:3], found.level_dbfs[5].round(2).tolist() == [0.0]
    ([31.6, 63.1, 125.9], True)
    """
    checked = within_reach(checked_samples(samples, "samples"))
    if rate_hz < 1:
        raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
    if parts not in (1, 3):
        raise GainError(f"parts is {parts}; give 1 for octaves or 3 for thirds.")
    ratio = 10.0**0.3
    middle = 1000.0 * ratio ** (np.arange(-5 * parts, 4 * parts + 1) / parts)
    middle = middle[middle * ratio ** (0.5 / parts) <= rate_hz / 2]
    powers = np.abs(np.fft.rfft(checked, axis=0)) ** 2 * (2.0 / len(checked) ** 2)
    powers[0] /= 2.0
    if len(checked) % 2 == 0:
        powers[-1] /= 2.0
    lines = np.fft.rfftfreq(len(checked), 1.0 / rate_hz)
    low = np.searchsorted(lines, middle * ratio ** (-0.5 / parts)).tolist()
    high = np.searchsorted(lines, middle * ratio ** (0.5 / parts)).tolist()
    bands = np.array([powers[first:last].sum(axis=0) for first, last in zip(low, high, strict=True)])
    bands = bands.reshape(len(middle), checked.shape[1])  # also where the rate is too low for any band
    return OctaveBands(middle, rms_dbfs_from_power(bands))
