"""What windows of 50 ms tell: the level while somebody plays, the noise in the pauses, how long each level lasts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.audio import Samples, checked_samples
from gainlib.decibels import db_from_ratio, power_from_db, power_from_rms_dbfs, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.meters.streaming import Growing, Readings, StreamMeter, WindowFigures, finite_powers, read_whole

__all__ = [
    "LEAST_PAUSING_SECONDS",
    "MOMENT_SECONDS",
    "NOBODY_PLAYS_DBFS",
    "PAUSE_DB",
    "QUIETEST",
    "WINDOW_SECONDS",
    "LevelHistogram",
    "WindowMeter",
    "active_rms_dbfs",
    "away_from_silence",
    "floor_dbfs_of",
    "level_histogram",
    "momentary_levels",
    "noise_floor_dbfs",
    "noise_in_pauses_dbfs",
    "window_powers",
    "window_samples",
]

WINDOW_SECONDS = 0.05
"""How long a window is: short beside a syllable, long beside the period of the lowest note."""

MOMENT_SECONDS = 0.01
"""What an eye takes for one moment: shorter than a picture of a moving mark stands."""

NOBODY_PLAYS_DBFS = -70.0
"""AES17 RMS below which nobody plays: the absolute gate of BS.1770, on plain RMS."""

PAUSE_DB = 20.0
"""A quietest twentieth that is not so far below the level while playing is no pause, and says nothing of noise."""

LEAST_PAUSING_SECONDS = 2.0
"""What is shorter has no pause that could be told from its sound."""

QUIETEST = 0.05
"""The share of the windows that is asked for noise."""

_OFFSET_DB = 3.0
"""An offset (DC) that is half of what the quietest windows hold, or more, is one, and no noise."""


@dataclass(frozen=True)
class LevelHistogram:
    """How much of the time each level takes; with what lies below the lowest edge all shares together are 1.

    `level_histogram` gives it.

    Attributes
    ----------
    edges_dbfs : ndarray `(steps + 1,)`
        The edges between which levels were counted, AES17 dBFS.
    share : ndarray `(steps, channels)`
        The share of the time, 0 to 1, between neighbours of the edges.
    below_share : ndarray `(channels,)`
        The share below the lowest edge, silence included.

    Examples
    --------
    >>> read = LevelHistogram(np.array([-60.0, -30.0, 0.0]), np.array([[0.2], [0.7]]), np.array([0.1]))
    >>> round(float(read.share.sum() + read.below_share.sum()), 6)
    1.0
    """

    edges_dbfs: Readings
    share: Readings
    below_share: Readings


class WindowMeter(StreamMeter):
    """Noise floor, level while playing and histogram of a stream: `push` each block, read at any time.

    All need every window of 50 ms at the end, so the meter grows by 16 bytes a window and channel, 28 MB in 24 hours.
    The readings are those of the whole recording, bar rounding below 1e-11 dB. A last window that is not full is left
    out; a stream shorter than one window is one window.

    Parameters
    ----------
    rate_hz : int
        The sample rate, 1 Hz or above.
    channels : int
        How many channels each block has.
    window_seconds : float
        How long a window is.

    Raises
    ------
    GainError
        For a rate below 1 Hz and a window that is not above 0 s, and as `LevelMeter` does.

    Examples
    --------
    >>> meter = WindowMeter(48000, 1)
    >>> meter.push(np.resize([0.001, -0.001], 4800))
    >>> meter.noise_floor_dbfs.round(2).tolist(), meter.active_rms_dbfs().round(2).tolist()
    ([-56.99], [-56.99])
    """

    by_channel = True

    def __init__(self, rate_hz: int, channels: int, *, window_seconds: float = WINDOW_SECONDS) -> None:
        super().__init__(channels)
        if rate_hz < 1:
            raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
        if not (window_seconds > 0 and math.isfinite(window_seconds)):
            raise GainError(f"window_seconds is {window_seconds}; it must be above 0 s.")
        self.width = window_samples(rate_hz, window_seconds)
        """How many samples a window has."""
        self._rate_hz = rate_hz
        self._powers, self._means = Growing((channels,), np.float64), Growing((channels,), np.float64)
        self._open: NDArray[np.floating] = np.empty((0, channels))
        self._samples = 0

    def take(self, checked: Samples) -> None:
        """`push` of samples that were checked before."""
        self._samples += len(checked)
        waiting = np.concatenate((self._open, checked)) if len(self._open) else checked
        full = len(waiting) // self.width
        if full:
            self._powers.add(_mean_squares(waiting[: full * self.width], self.width))
            self._means.add(_means(waiting[: full * self.width], self.width))
        self._open = waiting[full * self.width :].copy()

    def take_known(self, checked: Samples, figures: WindowFigures) -> None:
        """`take` by the block's figures, where its windows are the meter's own."""
        if len(self._open) or figures.width != self.width:
            self.take(checked)
            return
        self._samples += figures.samples
        self._powers.add(finite_powers(figures.squares[: figures.full]) / self.width)
        self._means.add(figures.sums[: figures.full] / self.width)
        self._open = checked[figures.full * self.width :].copy()

    @property
    def windows(self) -> int:
        """How many full windows there are so far."""
        return len(self._powers)

    @property
    def powers(self) -> Readings:
        """The mean square of each full window so far, side by side, `(windows, channels)`."""
        if len(self._powers):
            return self._powers.all()
        return _mean_squares(self._open, len(self._open)) if len(self._open) else np.zeros((1, self.channels))

    def active_rms_dbfs(self, gate_db: float = 20.0) -> Readings:
        """The level while somebody plays so far, -inf where nobody does."""
        return _active_dbfs(self.powers, gate_db)

    @property
    def variances(self) -> Readings:
        """The mean square of each window about its mean: what sounds in it, without an offset."""
        means = self._means.all() if len(self._powers) else _means(self._open, len(self._open))
        return np.maximum(self.powers - means**2, 0.0)

    @property
    def noise_floor_dbfs(self) -> Readings:
        """The level of the quietest twentieth of the windows so far."""
        floor, without = floor_dbfs_of(self.powers), floor_dbfs_of(self.variances)
        return np.where(floor > without + _OFFSET_DB, without, floor)

    @property
    def noise_in_pauses_dbfs(self) -> float | None:
        """The noise floor so far where there was a pause to hear it in, else None."""
        floor, active = float(self.noise_floor_dbfs.max()), float(_active_dbfs(self.powers).max())
        if active == -math.inf:  # nobody plays: all of it is a pause
            return floor
        return floor if floor <= active - PAUSE_DB and self._samples >= LEAST_PAUSING_SECONDS * self._rate_hz else None

    def level_histogram(self, *, step_db: float = 1.0, lowest_dbfs: float = -90.0) -> LevelHistogram:
        """How much of the time so far each level took."""
        if not (0 < step_db < math.inf) or not math.isfinite(lowest_dbfs):
            raise GainError(
                f"step_db is {step_db}, lowest_dbfs {lowest_dbfs}; give a step above 0 dB and a finite level."
            )
        levels = rms_dbfs_from_power(self.powers)
        highest = max(float(levels.max()), 3.01)
        steps = max(1, math.floor((highest - lowest_dbfs) / step_db) + 1)
        edges: Readings = lowest_dbfs + step_db * np.arange(steps + 1, dtype=np.float64)
        which = np.searchsorted(edges, levels, side="right")
        counts = np.stack([np.bincount(column, minlength=steps + 2) for column in which.T], axis=1) / len(levels)
        return LevelHistogram(edges, counts[1 : steps + 1], counts[0])


def window_samples(rate_hz: int, window_seconds: float = WINDOW_SECONDS) -> int:
    """How many samples a window has.

    >>> window_samples(44100)
    2205
    """
    return max(1, round(window_seconds * rate_hz))


def _mean_squares(samples: NDArray[np.floating], width: int) -> Readings:
    """The mean square of each window of `width` samples; their number is a whole one."""
    # Channel by channel, in double precision before it is squared: neighbours in memory of one kind are summed fastest.
    channels = [samples[:, each].reshape(-1, width).astype(np.float64) for each in range(samples.shape[1])]
    sums = [np.einsum("wn,wn->w", each, each) for each in channels]
    return finite_powers(np.stack(sums, axis=1) / width)


def _means(samples: NDArray[np.floating], width: int) -> Readings:
    """The mean of each window of `width` samples; their number is a whole one."""
    if not len(samples):
        return np.zeros((1, samples.shape[1]))
    rows = [samples[:, each].reshape(-1, width).mean(axis=1, dtype=np.float64) for each in range(samples.shape[1])]
    return np.stack(rows, axis=1)


def _active_dbfs(powers: Readings, gate_db: float = 20.0) -> Readings:
    readings = np.full(powers.shape[1], -np.inf)
    gate = power_from_rms_dbfs(NOBODY_PLAYS_DBFS)
    for channel, column in enumerate(powers.T):
        loud = column[column > gate]
        if len(loud):
            kept = loud[loud > loud.mean() * power_from_db(-gate_db)]
            readings[channel] = rms_dbfs_from_power(kept.mean())
    return readings


def away_from_silence(powers: Readings) -> NDArray[np.bool_]:
    """Which windows of one channel sound and have none beside them that is digital silence.

    >>> away_from_silence(np.array([1.0, 1.0, 0.0, 1.0])).tolist()
    [True, False, False, False]
    """
    sounds = powers > 0
    away: NDArray[np.bool_] = sounds.copy()
    away[1:] &= sounds[:-1]
    away[:-1] &= sounds[1:]
    return away


def floor_dbfs_of(powers: Readings) -> Readings:
    """`noise_floor_dbfs` from the mean squares of windows side by side, `(windows, channels)`.

    >>> floor_dbfs_of(np.full((40, 1), 5e-7)).round(2).tolist()
    [-60.0]
    """
    readings = np.full(powers.shape[1], -np.inf)
    for channel, active in enumerate(_active_dbfs(powers)):
        # Digital silence is no noise: what stands before the first sound of an export must not hide the room's. Nor is
        # a window beside it, into which the last samples of a sound may reach.
        sounding = np.sort(powers[away_from_silence(powers[:, channel]), channel])
        if len(sounding) == 0:
            continue
        quietest = rms_dbfs_from_power(float(sounding[: math.ceil(QUIETEST * len(sounding))].mean()))
        # All that sounds is loud, and the rest is silent: pauses that were emptied have no floor. Silence before the
        # first sound and after the last is no pause.
        heard = np.flatnonzero(powers[:, channel])
        within = int(heard[-1] - heard[0]) + 1
        emptied = within - len(heard) >= QUIETEST * within and -math.inf < active < quietest + PAUSE_DB
        readings[channel] = -math.inf if emptied else quietest
    return readings


def window_powers(samples: ArrayLike, rate_hz: int, window_seconds: float = WINDOW_SECONDS) -> Readings:
    """The mean square of each full window, side by side, `(windows, channels)`; a short recording is one window.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate, 1 Hz or above.
    window_seconds : float
        How long a window is, above 0 s.

    Returns
    -------
    ndarray `(windows, channels)`
        Mean squares, 1.0 for a full-scale square; what does not fill a window at the end is left out.

    Raises
    ------
    GainError
        For samples that are empty, not floats or not finite, and for a rate or a window out of range.

    Examples
    --------
    >>> window_powers(np.array([1.0, -1.0, 0.0, 0.0]), 2, 1.0).tolist()
    [[1.0], [0.0]]
    """
    return read_whole(lambda channels: WindowMeter(rate_hz, channels, window_seconds=window_seconds), samples).powers


def momentary_levels(
    samples: ArrayLike, rate_hz: int, window_seconds: float = MOMENT_SECONDS
) -> tuple[Readings, Readings]:
    """The sample peak and the AES17 RMS level of each moment of 10 ms, side by side.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate, 1 Hz or above.
    window_seconds : float
        How long a moment is, above 0 s.

    Returns
    -------
    tuple of two ndarrays `(windows, channels)`
        Peaks and RMS levels, dBFS, -inf for silence; what does not fill a window at the end is left out, a recording
        shorter than one is one window.

    Raises
    ------
    GainError
        As `window_powers` does.

    References
    ----------
    *Published*: AES17 (full scale, and the zero of the RMS level).

    Examples
    --------
    >>> peaks, levels = momentary_levels(np.array([0.5, -1.0, 0.0, 0.0]), 200)
    >>> peaks.round(2).tolist(), levels.round(2).tolist()
    ([[0.0], [-inf]], [[0.97], [-inf]])
    """
    checked = checked_samples(samples, "samples")
    meter = WindowMeter(rate_hz, checked.shape[1], window_seconds=window_seconds)
    meter.take(checked)
    powers = meter.powers
    whole = checked[: meter.width * len(powers)]
    ends = [loops.extremes(whole[:, each], len(powers)) for each in range(whole.shape[1])]
    peaks = np.stack([np.maximum(-low, high) for low, high in ends], axis=1)
    return db_from_ratio(peaks), rms_dbfs_from_power(powers)


def active_rms_dbfs(samples: ArrayLike, rate_hz: int, *, gate_db: float = 20.0) -> Readings:
    """The AES17 RMS level while somebody plays: pauses do not count.

    Windows of 50 ms; those above -70 dBFS are averaged, then those less than `gate_db` below that average are averaged
    again: the two gates of BS.1770 on plain RMS, with a wider second one.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate, 1 Hz or above.
    gate_db : float
        How far below the first average a window may lie, above 0 dB.

    Returns
    -------
    ndarray `(channels,)`
        dBFS; -inf where nothing passes.

    Raises
    ------
    GainError
        As `window_powers` does, and for a gate that is not above 0 dB.

    References
    ----------
    The choice of window and gates is this course's own, after ITU-R BS.1770-5.

    Examples
    --------
    >>> from gainlib.meters import rms_dbfs
    >>> take = np.concatenate([np.zeros(48000), 0.1 * np.sin(np.arange(48000) / 10)])
    >>> active_rms_dbfs(take, 48000).round(1).tolist(), rms_dbfs(take).round(1).tolist()
    ([-20.0], [-23.0])
    """
    if not gate_db > 0:
        raise GainError(f"gate_db is {gate_db}; it must be above 0 dB.")
    return read_whole(lambda channels: WindowMeter(rate_hz, channels), samples).active_rms_dbfs(gate_db)


def noise_floor_dbfs(samples: ArrayLike, rate_hz: int) -> Readings:
    """The level of the quietest moments: the AES17 RMS of the quietest twentieth of what sounds, in windows of 50 ms.

    Digital silence does not count, as long as there is something quiet beside it: an export that starts with silence
    keeps the floor of its room. Of a recording that never pauses these are its quietest notes, so ask
    `noise_in_pauses_dbfs` before you call the number noise. An offset (DC) that is half of it and more is left out.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate, 1 Hz or above.

    Returns
    -------
    ndarray `(channels,)`
        dBFS; -inf for silence, and where every pause is digital silence.

    Raises
    ------
    GainError
        As `window_powers` does.

    References
    ----------
    *Common practice* (the noise is read where nobody plays); the share of a twentieth is this course's own.

    Examples
    --------
    >>> noise_floor_dbfs(np.resize([0.001, -0.001], 48000), 48000).round(2).tolist()
    [-56.99]
    """
    return read_whole(lambda channels: WindowMeter(rate_hz, channels), samples).noise_floor_dbfs


def noise_in_pauses_dbfs(samples: ArrayLike, rate_hz: int) -> float | None:
    """The noise floor of a take where it pauses; None says that it never pauses, so its noise cannot be told.

    It pauses where `noise_floor_dbfs` lies 20 dB and more below `active_rms_dbfs`. Level diagram, sentences and survey
    all ask this, and print a floor only where there is one.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0; of several channels the one with the highest floor counts.
    rate_hz : int
        The sample rate, 1 Hz or above.

    Returns
    -------
    float or None
        dBFS, AES17 RMS; -inf where the pauses are digital silence; None where there is no pause, and for a take of
        less than 2 s in which somebody plays.

    Raises
    ------
    GainError
        As `window_powers` does.

    References
    ----------
    *Common practice* (noise is read in pauses); the 20 dB are this course's own.

    Examples
    --------
    >>> tone, hiss = 0.1 * np.sin(np.arange(96000) / 10), 0.0001 * np.ones(48000)
    >>> round(noise_in_pauses_dbfs(np.concatenate([tone, hiss]), 48000), 2), noise_in_pauses_dbfs(tone, 48000)
    (-76.99, None)
    """
    return read_whole(lambda channels: WindowMeter(rate_hz, channels), samples).noise_in_pauses_dbfs


def level_histogram(
    samples: ArrayLike,
    rate_hz: int,
    *,
    window_seconds: float = WINDOW_SECONDS,
    step_db: float = 1.0,
    lowest_dbfs: float = -90.0,
) -> LevelHistogram:
    """How much of the time a recording spends at each level: AES17 RMS in windows of 50 ms, in steps of 1 dB.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate, 1 Hz or above.
    window_seconds, step_db, lowest_dbfs : float
        How long a window is, how far the edges stand apart, and where the first one is. Steps run up to the first edge
        above the loudest window and above +3 dBFS.

    Returns
    -------
    LevelHistogram
        Shares of the time; a last window that is not full is left out.

    Raises
    ------
    GainError
        As `window_powers` does, and for settings that are not above 0 or not finite.

    Examples
    --------
    >>> found = level_histogram(0.105 * np.sin(np.arange(48000) / 10), 48000)
    >>> float(found.edges_dbfs[found.share[:, 0].argmax()]), float(found.share.sum().round(6))
    (-20.0, 1.0)
    """
    meter = read_whole(lambda channels: WindowMeter(rate_hz, channels, window_seconds=window_seconds), samples)
    return meter.level_histogram(step_db=step_db, lowest_dbfs=lowest_dbfs)
