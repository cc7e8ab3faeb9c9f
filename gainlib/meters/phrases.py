"""Where somebody plays and where not: phrases between pauses, their levels, and the level while playing."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.audio import checked_samples
from gainlib.decibels import db_from_ratio, power_from_db, power_from_rms_dbfs, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.meters.levels import (
    checked_peaks_and_powers,
    checked_window_powers,
    finite_powers,
    floor_of_windows_dbfs,
    window_powers,
)
from gainlib.meters.statistics import LevelHistogram, histogram_of_windows

__all__ = ["Phrase", "WindowMeter", "active_rms_dbfs", "phrases", "silence_threshold_dbfs"]

Readings = NDArray[np.float64]

_WINDOW_SECONDS = 0.05
_ABSOLUTE_GATE_DBFS = -70.0


@dataclass(frozen=True)
class Phrase:
    """One phrase: when it starts and ends, and its sample peak and AES17 RMS, of several channels the highest.

    >>> Phrase(0.5, 2.0, -6.0, -18.0).seconds
    1.5
    """

    start_seconds: float
    end_seconds: float
    peak_dbfs: float
    rms_dbfs: float

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return self.end_seconds - self.start_seconds


def active_rms_dbfs(samples: ArrayLike, rate_hz: int, *, gate_db: float = 20.0) -> Readings:
    """The AES17 RMS level while somebody plays: pauses do not count.

    Takes float samples `(n,)` or `(n, channels)`, gives one reading a channel. Windows of 50 ms; those above -70 dBFS
    are averaged, then those less than `gate_db` below that average are averaged again: the two gates of BS.1770 on
    plain RMS, with a wider second one. -inf where nothing passes. Raises GainError for samples that cannot be read, a
    rate below 1 Hz and a gate that is not above 0 dB. The choice of window and gates is this course's own.

    >>> from gainlib.meters import rms_dbfs
    >>> take = np.concatenate([np.zeros(48000), 0.1 * np.sin(np.arange(48000) / 10)])
    >>> active_rms_dbfs(take, 48000).round(1).tolist(), rms_dbfs(take).round(1).tolist()
    ([-20.0], [-23.0])
    """
    if not gate_db > 0:
        raise GainError(f"gate_db is {gate_db}; it must be above 0 dB.")
    return active_of_windows_dbfs(window_powers(samples, rate_hz, _WINDOW_SECONDS), gate_db)


def active_of_windows_dbfs(powers: Readings, gate_db: float = 20.0) -> Readings:
    """`active_rms_dbfs` from the mean squares of windows, `(windows, channels)`."""
    readings = np.full(powers.shape[1], -np.inf)
    gate = power_from_rms_dbfs(_ABSOLUTE_GATE_DBFS)
    for channel, column in enumerate(powers.T):
        loud = column[column > gate]
        if len(loud):
            kept = loud[loud > loud.mean() * power_from_db(-gate_db)]
            readings[channel] = rms_dbfs_from_power(kept.mean())
    return readings


class WindowMeter:
    """Noise floor, active level and histogram of blocks of any size: `push` each, read at any time.

    They need every window of 50 ms at the end: the meter sets aside room for 24 hours once, 14 MB a channel, and
    refuses what comes after. The readings are those of `noise_floor_dbfs`, `active_rms_dbfs` and `level_histogram` of
    the whole, bar rounding in the last place. Raises GainError for a rate below 20 Hz, for a block whose channels
    differ in number, and for samples that cannot be read.

    >>> meter = WindowMeter(48000, 1)
    >>> meter.push(np.full(4800, 0.001))
    >>> meter.noise_floor_dbfs.round(2).tolist(), meter.active_rms_dbfs.round(2).tolist()
    ([-56.99], [-56.99])
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        if not 20 <= rate_hz <= 10_000_000:
            raise GainError(f"rate_hz is {rate_hz}; a window of 50 ms needs 20 Hz to 10 MHz.")
        if channels < 1:
            raise GainError(f"channels is {channels}; a meter needs at least one.")
        self._width = round(_WINDOW_SECONDS * rate_hz)
        self._powers = np.empty((24 * 72_000, channels))
        self._windows = 0
        self._open: NDArray[np.floating] = np.empty((0, channels))

    def push(self, block: ArrayLike) -> None:
        """Take the next samples, `(n,)` or `(n, channels)`."""
        checked = checked_samples(block, "block")
        if checked.shape[1] != self._powers.shape[1]:
            raise GainError(f"block has {checked.shape[1]} channels; this meter was made for {self._powers.shape[1]}.")
        waiting = np.concatenate((self._open, checked))
        full = len(waiting) // self._width
        if self._windows + full > len(self._powers):
            raise GainError("the meter has run for 24 hours; start a new WindowMeter for what follows.")
        if full:
            parts = waiting[: full * self._width].reshape(full, self._width, -1)
            powers = finite_powers(np.einsum("wnc,wnc->wc", parts, parts, dtype=np.float64) / self._width)
            self._powers[self._windows : self._windows + full] = powers
            self._windows += full
        self._open = waiting[full * self._width :].copy()

    @property
    def noise_floor_dbfs(self) -> Readings:
        """The level of the quietest twentieth of the windows so far, -inf before there was any sound."""
        return floor_of_windows_dbfs(self._read(), 0.05)

    @property
    def active_rms_dbfs(self) -> Readings:
        """The level while somebody plays so far, -inf where nothing passes the gates."""
        return active_of_windows_dbfs(self._read())

    def level_histogram(self, *, step_db: float = 1.0, lowest_dbfs: float = -90.0) -> LevelHistogram:
        """How much of the time so far each level took."""
        return histogram_of_windows(self._read(), step_db, lowest_dbfs)

    def _read(self) -> Readings:
        if self._windows:
            return self._powers[: self._windows]
        if len(self._open):
            return np.asarray((self._open**2).mean(axis=0, keepdims=True))
        return np.zeros((1, self._powers.shape[1]))


def silence_threshold_dbfs(samples: ArrayLike, rate_hz: int) -> float:
    """The level that parts playing from pause: half-way from the noise floor to the active level.

    At least 10 and at most 30 dB below the active level, so that a take without pauses is one phrase and one with
    digital silence keeps its soft endings. Of several channels the loudest counts; -inf for silence. Raises GainError
    as `active_rms_dbfs` does. The rule is this course's own.

    >>> take = np.concatenate([np.zeros(48000), 0.1 * np.sin(np.arange(48000) / 10)])
    >>> round(silence_threshold_dbfs(take, 48000), 1)
    -50.0
    """
    return _threshold_dbfs(window_powers(samples, rate_hz, _WINDOW_SECONDS))


def _threshold_dbfs(powers: Readings) -> float:
    active = float(active_of_windows_dbfs(powers).max())
    if active == -math.inf:
        return -math.inf
    floor = float(floor_of_windows_dbfs(powers, 0.05).max())
    return active - min(max((active - floor) / 2.0, 10.0), 30.0)


def phrases(
    samples: ArrayLike,
    rate_hz: int,
    *,
    silence_dbfs: float | None = None,
    pause_seconds: float = 0.3,
    least_seconds: float = 0.1,
) -> tuple[Phrase, ...]:
    """The phrases of a take in order, cut at its pauses, each with its levels.

    Takes float samples `(n,)` or `(n, channels)`. A phrase is where windows of 10 ms lie above `silence_dbfs`, by
    default `silence_threshold_dbfs`; gaps shorter than `pause_seconds` belong to it, and what is shorter than
    `least_seconds` is none. Silence has no phrases. Raises GainError as `active_rms_dbfs` does, and for times below 0.
    The rule is this course's own.

    >>> tone = 0.1 * np.sin(np.arange(48000) / 10)
    >>> [round(each.seconds, 2) for each in phrases(np.concatenate([tone, np.zeros(24000), tone]), 48000)]
    [1.0, 1.0]
    """
    return checked_phrases(
        checked_samples(samples, "samples"),
        rate_hz,
        silence_dbfs=silence_dbfs,
        pause_seconds=pause_seconds,
        least_seconds=least_seconds,
    )


def checked_phrases(
    checked: NDArray[np.floating],
    rate_hz: int,
    *,
    silence_dbfs: float | None = None,
    pause_seconds: float = 0.3,
    least_seconds: float = 0.1,
    windows: Readings | None = None,
) -> tuple[Phrase, ...]:
    """`phrases` of samples that were checked before, and of their mean squares of 50 ms where they are at hand."""
    if rate_hz < 1:
        raise GainError(f"rate_hz is {rate_hz}; it must be 1 Hz or above.")
    if not (pause_seconds >= 0 and least_seconds >= 0):
        raise GainError(f"pause_seconds is {pause_seconds}, least_seconds {least_seconds}; give 0 s or more.")
    if silence_dbfs is None:
        if windows is None:
            windows = checked_window_powers(checked, rate_hz, _WINDOW_SECONDS)
        silence_dbfs = _threshold_dbfs(windows)
    if math.isnan(silence_dbfs):
        raise GainError("silence_dbfs is not a number; give a level in dBFS, or leave it out.")
    width = min(max(1, round(0.01 * rate_hz)), len(checked))
    powers = checked_window_powers(checked, rate_hz, 0.01).max(axis=1)
    playing = powers > power_from_rms_dbfs(silence_dbfs)
    if not playing.any():
        return ()
    at = np.flatnonzero(playing)
    cuts = np.flatnonzero((np.diff(at) - 1) * width >= max(pause_seconds * rate_hz, 1))
    first, last = at[np.concatenate(([0], cuts + 1))], at[np.concatenate((cuts, [len(at) - 1]))]
    found = []
    for start, end in zip((first * width).tolist(), ((last + 1) * width).tolist(), strict=True):
        if end - start >= least_seconds * rate_hz:
            peaks, means = checked_peaks_and_powers(checked[start:end])
            peak_dbfs = float(db_from_ratio(peaks).max())
            rms_dbfs = float(rms_dbfs_from_power(means).max())
            found.append(Phrase(start / rate_hz, end / rate_hz, peak_dbfs, rms_dbfs))
    return tuple(found)
