"""Meters with inertia: the VU meter, quasi-peak programme meters of type I and II, the sample-peak meter."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.audio import Samples, checked_samples
from gainlib.decibels import Alignment, alignment, db_from_ratio
from gainlib.errors import GainError
from gainlib.meters.streaming import Readings, StreamMeter

__all__ = [
    "DIGITAL_SCALE",
    "PPM_1_SCALE",
    "PPM_2A_SCALE",
    "PPM_2B_SCALE",
    "VU_SCALE",
    "Deflection",
    "NeedleMeter",
    "PpmMeter",
    "SamplePeakMeter",
    "Scale",
    "VuMeter",
    "ppm",
    "sample_peak_meter",
    "vu",
]

PpmType = Literal["I", "II"]

# 99 % after 300 ms and 1.25 % overshoot, the middle of what the standard allows: solved for both.
_VU_DAMPING = 0.81272
_VU_RADIANS_A_SECOND = 13.512

# Two detectors each, charging and falling: time constants in ms (fitted to the burst tables), fall in dB a second.
_PPM: dict[str, tuple[tuple[float, float], float]] = {
    "I": ((0.84, 2.29), 20.0 / 1.7),
    "II": ((1.02, 6.35), 24.0 / 2.8),
}
_SAMPLE_PEAK_FALL_DB_A_SECOND = 20.0 / 1.7


@dataclass(frozen=True)
class Scale:
    """The scale of a meter: its marks, where each stands, and which level its zero is.

    Parameters
    ----------
    name : str
        What the scale is called.
    marks : tuple of (str, float)
        What is printed at each mark, and where it stands in dB relative to the zero.
    zero_dbu : float or None
        The zero in dBu; None for a digital meter whose zero is full scale.
    even_in : "amplitude" or "decibels"
        What moves the pointer evenly: amplitude as on a moving-coil VU, or decibels.

    Examples
    --------
    >>> VU_SCALE.position(3.0), PPM_2A_SCALE.position(0.0), PPM_2A_SCALE.marks[3]
    (1.0, 0.5, ('4', 0.0))
    """

    name: str
    marks: tuple[tuple[str, float], ...]
    zero_dbu: float | None
    even_in: Literal["amplitude", "decibels"]

    def position(self, level_db: float) -> float:
        """Where the pointer stands for a level relative to the zero: 0 at the left end, 1 at the last mark.

        Beyond the ends it stays there, as a pointer does at its stop.
        """
        first, last = self.marks[0][1], self.marks[-1][1]
        if self.even_in == "amplitude":
            return float(min(10.0 ** ((level_db - last) / 20.0), 1.0))
        return min(max((level_db - first) / (last - first), 0.0), 1.0)

    def level_db(self, level_dbfs: float, aligned: str | float | Alignment | None = None) -> float:
        """What the meter shows for a level in dBFS, relative to its zero.

        An analogue scale needs the alignment of dBu to dBFS, by its published name or as the dBu that make 0 dBFS;
        raises GainError without.

        >>> VU_SCALE.level_db(-20.0, "SMPTE RP 155"), PPM_2A_SCALE.level_db(-18.0, "EBU R 68")
        (0.0, 0.0)
        """
        if self.zero_dbu is None:
            return level_dbfs
        if aligned is None:
            raise GainError(f"the {self.name} scale stands for dBu; say how many dBu make 0 dBFS, or 'EBU R 68'.")
        return alignment(aligned).dbu_from_dbfs(level_dbfs) - self.zero_dbu


def _marks(*levels_db: int) -> tuple[tuple[str, float], ...]:
    return tuple((f"{each:+d}".replace("-", "−") if each else "0", float(each)) for each in levels_db)


VU_SCALE = Scale("VU", _marks(-20, -10, -7, -5, -3, -2, -1, 0, 1, 2, 3), 4.0, "amplitude")
"""IEC 60268-17: 0 VU is +4 dBu (1.228 V), published; the marks from memory; deflection goes with the average."""
PPM_1_SCALE = Scale("PPM type I", _marks(-50, -40, -30, -20, -10, -5, 0, 5), 6.0, "decibels")
"""IEC 60268-10 type I: -50 to +5 dB, 0 dB at +6 dBu (from memory); here evenly spaced, which the originals are not."""
PPM_2A_SCALE = Scale("PPM type IIa", tuple((str(mark), 4.0 * (mark - 4)) for mark in range(1, 8)), 0.0, "decibels")
"""IEC 60268-10 type IIa: marks 1 to 7, mark 4 at 0 dBu, mark 6 at +8 dBu (published); 4 dB a mark throughout, though
one handbook has 6 dB between 1 and 2."""
PPM_2B_SCALE = Scale("PPM type IIb", _marks(-12, -8, -4, 0, 4, 8, 12), 0.0, "decibels")
"""IEC 60268-10 type IIb: -12 to +12 dB about the test level, 0 dBu (from memory)."""
DIGITAL_SCALE = Scale("sample peak", _marks(-60, -50, -40, -30, -20, -10, 0), None, "decibels")
"""IEC 60268-18: dB below full scale (the range and even spacing are this course's own)."""


@dataclass(frozen=True)
class Deflection:
    """How a meter moved: its reading at the end of each frame and the highest within each.

    In dBFS, so that a steady sine of 1 kHz reads its own peak level; -inf where the meter rests.

    Attributes
    ----------
    frames_a_second : int
        How often the meter was read.
    level_dbfs : ndarray `(frames, channels)`
        The reading at the end of each frame.
    top_dbfs : ndarray `(frames, channels)`
        The highest reading within each frame.
    highest_dbfs : ndarray `(channels,)`
        The highest of the whole recording, also of what follows the last full frame. A VU meter's pointer swings out:
        a hit at the end of a recording reads as high as one with silence behind it.

    Examples
    --------
    >>> moved = sample_peak_meter(np.array([1.0] + [0.0] * 95999), 48000, frames_a_second=2)
    >>> moved.level_dbfs.shape, moved.highest_dbfs.tolist()
    ((4, 1), [0.0])
    """

    frames_a_second: int
    level_dbfs: Readings
    top_dbfs: Readings
    highest_dbfs: Readings

    @property
    def seconds(self) -> Readings:
        """The time of each frame's end."""
        return (np.arange(len(self.level_dbfs)) + 1) / self.frames_a_second

    def held_dbfs(self, seconds: float = 1.0) -> Readings:
        """What a peak hold shows: the highest of the last second, `(frames, channels)`. *Published*, IEC 60268-18.

        >>> sample_peak_meter(np.array([1.0] + [0.0] * 95999), 48000, frames_a_second=2).held_dbfs().round(1).tolist()
        [[0.0], [0.0], [-5.9], [-11.8]]
        """
        frames = max(1, round(seconds * self.frames_a_second))
        padded = np.concatenate((np.full((frames - 1, self.top_dbfs.shape[1]), -np.inf), self.top_dbfs))
        if len(padded) < frames:
            return self.top_dbfs
        return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, frames, axis=0).max(axis=-1))


class NeedleMeter(StreamMeter):
    """What the meters with inertia share: `push` gives the frames that a block completes.

    Takes blocks of any size; the readings are those of the whole to the last bit. Keeps a few numbers a channel.
    """

    def __init__(self, rate_hz: int, channels: int, frames_a_second: int, states: int) -> None:
        super().__init__(channels)
        if not 1 <= rate_hz <= 10_000_000:
            raise GainError(f"rate_hz is {rate_hz}; it must be from 1 Hz to 10 MHz.")
        if not 1 <= frames_a_second <= rate_hz:
            raise GainError(f"frames_a_second is {frames_a_second}; give 1 up to the rate, {rate_hz}.")
        self._rate_hz, self._frames_a_second = rate_hz, frames_a_second
        self._states = np.zeros((channels, states))
        self._highest = np.zeros(channels)
        self._samples = self._frames = 0

    @property
    def highest_dbfs(self) -> Readings:
        """The highest reading so far, one a channel, -inf at rest."""
        return db_from_ratio(self._highest * self._calibration)

    def push(self, block: ArrayLike) -> Deflection:
        """Take the next samples, `(n,)` or `(n, channels)`; gives the frames that they complete."""
        moved = super().push(block)
        assert isinstance(moved, Deflection)
        return moved

    def take(self, checked: Samples) -> Deflection:
        """`push` of samples that were checked before."""
        channels = self.channels
        rows = loops.as_rows(checked)
        last = self._samples + len(rows)
        due = np.arange(self._frames + 1, last * self._frames_a_second // self._rate_hz + 2, dtype=np.int64)
        edges = (due * self._rate_hz + self._frames_a_second // 2) // self._frames_a_second
        ends = edges[edges <= last] - self._samples

        def one(channel: int) -> tuple[Readings, Readings]:
            return self._moved(rows, channel, self._states[channel], ends)

        moved = loops.each_channel(one, channels, len(rows))
        self._samples, self._frames = last, self._frames + len(ends)
        levels, tops = (np.stack([each[part] for each in moved], axis=1) for part in (0, 1))
        open_tops = self._states[:, -1]
        self._highest = np.maximum(self._highest, np.maximum(open_tops, tops.max(axis=0, initial=0.0)))
        scaled = [db_from_ratio(np.maximum(each, 0.0) * self._calibration) for each in (levels, tops)]
        return Deflection(self._frames_a_second, scaled[0], scaled[1], self.highest_dbfs)

    _calibration: float

    def _moved(
        self, rows: NDArray[np.floating], channel: int, state: Readings, ends: NDArray[np.int64]
    ) -> tuple[Readings, Readings]:
        raise NotImplementedError


class VuMeter(NeedleMeter):
    """The VU meter: the full-wave average through a pointer that needs 300 ms to 99 % and overshoots by 1.25 %.

    Calibrated so that a steady sine reads its peak level in dBFS; other waveforms read their average, which is not
    their RMS: a square +0.91 dB, Gaussian noise -1.05 dB. `VU_SCALE` turns the reading into VU.

    Parameters
    ----------
    rate_hz : int
        The sample rate.
    channels : int
        How many channels each block has.
    frames_a_second : int
        How often it is read, 1 up to the rate.

    Raises
    ------
    GainError
        For a rate outside 1 Hz to 10 MHz, and as `LevelMeter` does.

    References
    ----------
    *Published*: IEC 60268-17 (time and overshoot); a mass, a spring and a damper is the usual model.

    Examples
    --------
    >>> meter = VuMeter(48000, 1, frames_a_second=10)
    >>> moved = meter.push(np.sin(2 * np.pi * 1000 / 48000 * np.arange(48000)))
    >>> (10 ** (moved.level_dbfs[2] / 20)).round(2).tolist()
    [0.99]
    """

    _calibration = math.pi / 2

    def __init__(self, rate_hz: int, channels: int, *, frames_a_second: int = 50) -> None:
        super().__init__(rate_hz, channels, frames_a_second, 3)
        self._step = _spring_step(_VU_RADIANS_A_SECOND, _VU_DAMPING, 1.0 / rate_hz)

    @property
    def highest_dbfs(self) -> Readings:
        """The highest reading so far, one a channel, also where the pointer still swings out behind the last sample.

        *Derived*: let go at deflection y with speed v > 0, the damped spring turns back where its speed is 0 again.
        """
        decay = _VU_DAMPING * _VU_RADIANS_A_SECOND
        swing = _VU_RADIANS_A_SECOND * math.sqrt(1.0 - _VU_DAMPING**2)
        y, v = self._states[:, 0], np.maximum(self._states[:, 1], 0.0)
        angle = np.arctan2(swing / _VU_RADIANS_A_SECOND**2 * v, y + decay / _VU_RADIANS_A_SECOND**2 * v)
        cosine, sine = (np.exp(-decay / swing * angle) * each(angle) for each in (np.cos, np.sin))
        out = (cosine + decay / swing * sine) * y + sine / swing * v
        return db_from_ratio(np.maximum(self._highest, out) * self._calibration)

    def _moved(
        self, rows: NDArray[np.floating], channel: int, state: Readings, ends: NDArray[np.int64]
    ) -> tuple[Readings, Readings]:
        return loops.vu_ballistics(rows, channel, self._step, state, ends)


class PpmMeter(NeedleMeter):
    """The quasi-peak programme meter of type "I" or "II": quick up, slow down, and short peaks read low on purpose.

    A 10 ms burst reads 1 dB (type I) or 2.5 dB (type II) below the steady tone; it falls 20 dB in 1.7 s or 24 dB in 2.8
    s. Two diode-and-capacitor detectors are added: one alone cannot meet the burst table of type II. Calibrated so that
    a steady sine reads its peak level in dBFS; PPM_1_SCALE, PPM_2A_SCALE and PPM_2B_SCALE turn that into marks.

    Parameters
    ----------
    rate_hz : int
        The sample rate.
    channels : int
        How many channels each block has.
    kind : "I" or "II"
        The type of IEC 60268-10.
    frames_a_second : int
        How often it is read, 1 up to the rate.

    Raises
    ------
    GainError
        For another kind, for a rate outside 1 Hz to 10 MHz, and as `LevelMeter` does.

    References
    ----------
    IEC 60268-10: the readings of type II *published* by a test-set maker, type I and the tolerances *from memory*; the
    time constants are fitted here.

    Examples
    --------
    >>> meter = PpmMeter(48000, 1, kind="II")
    >>> _ = meter.push(np.sin(2 * np.pi * 5000 / 48000 * np.arange(480)))
    >>> meter.highest_dbfs.round(1).tolist()
    [-2.4]
    """

    def __init__(self, rate_hz: int, channels: int, *, kind: PpmType, frames_a_second: int = 50) -> None:
        if kind not in _PPM:
            raise GainError(f"kind is {kind!r}; a programme meter is of type 'I' or 'II'.")
        super().__init__(rate_hz, channels, frames_a_second, 3)
        charging_ms, fall_db_a_second = _PPM[kind]
        self._charge = 1.0 - np.exp(-1000.0 / (np.array(charging_ms) * rate_hz))
        self._hold = np.full(2, 10.0 ** (-fall_db_a_second / 20.0 / rate_hz))
        steady = [_steady(each / 1000.0, fall_db_a_second * math.log(10.0) / 20.0) for each in charging_ms]
        self._calibration = 1.0 / sum(steady)

    def _moved(
        self, rows: NDArray[np.floating], channel: int, state: Readings, ends: NDArray[np.int64]
    ) -> tuple[Readings, Readings]:
        return loops.peak_detector(rows, channel, self._charge, self._hold, state, ends)


class SamplePeakMeter(NeedleMeter):
    """The digital peak meter: up at once to the largest sample, down by 20 dB in 1.7 s.

    `Deflection.held_dbfs` is its peak hold of a second.

    Parameters
    ----------
    rate_hz : int
        The sample rate.
    channels : int
        How many channels each block has.
    frames_a_second : int
        How often it is read, 1 up to the rate.

    Raises
    ------
    GainError
        For a rate outside 1 Hz to 10 MHz, and as `LevelMeter` does.

    References
    ----------
    IEC 60268-18: times as a public manual quotes them, the attribution *from memory*.

    Examples
    --------
    >>> meter = SamplePeakMeter(48000, 1, frames_a_second=1)
    >>> meter.push(np.array([1.0] + [0.0] * 47999)).level_dbfs.round(1).tolist()
    [[-11.8]]
    """

    _calibration = 1.0

    def __init__(self, rate_hz: int, channels: int, *, frames_a_second: int = 50) -> None:
        super().__init__(rate_hz, channels, frames_a_second, 2)
        self._hold = np.full(1, 10.0 ** (-_SAMPLE_PEAK_FALL_DB_A_SECOND / 20.0 / rate_hz))

    def _moved(
        self, rows: NDArray[np.floating], channel: int, state: Readings, ends: NDArray[np.int64]
    ) -> tuple[Readings, Readings]:
        return loops.peak_detector(rows, channel, np.ones(1), self._hold, state, ends)


def vu(samples: ArrayLike, rate_hz: int, *, frames_a_second: int = 50) -> Deflection:
    """How a VU meter moves over a recording, from rest.

    It reads the full-wave average through a slow pointer; see `VuMeter`.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate.
    frames_a_second : int
        How often it is read, 1 up to the rate.

    Returns
    -------
    Deflection
        Its reading at the end of each frame, and the highest within each.

    Raises
    ------
    GainError
        For samples that cannot be read, for a rate below 1 Hz, and for `frames_a_second` below 1 or above the rate.

    References
    ----------
    *Published*: IEC 60268-17 (300 ms to 99 %, 1 to 1.5 % overshoot).

    Examples
    --------
    >>> vu(np.sin(2 * np.pi * 997 / 48000 * np.arange(96000)), 48000).level_dbfs[-1].round(1).tolist()
    [0.0]
    """
    checked = checked_samples(samples, "samples")
    return VuMeter(rate_hz, checked.shape[1], frames_a_second=frames_a_second).take(checked)


def ppm(samples: ArrayLike, rate_hz: int, kind: PpmType, *, frames_a_second: int = 50) -> Deflection:
    """How a programme meter of type I or II moves over a recording, from rest.

    Quick up, slow down; short peaks read low on purpose; see `PpmMeter`.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate.
    kind : "I" or "II"
        The type of IEC 60268-10.
    frames_a_second : int
        How often it is read, 1 up to the rate.

    Returns
    -------
    Deflection
        Its reading at the end of each frame, and the highest within each.

    Raises
    ------
    GainError
        For samples that cannot be read, for a rate below 1 Hz, and for `frames_a_second` below 1 or above the rate, and
        for another kind.

    References
    ----------
    IEC 60268-10: type II as a test-set maker *published* it, type I *from memory*.

    Examples
    --------
    >>> ppm(np.sin(2 * np.pi * 1000 / 48000 * np.arange(96000)), 48000, "II").highest_dbfs.round(1).tolist()
    [0.0]
    """
    checked = checked_samples(samples, "samples")
    return PpmMeter(rate_hz, checked.shape[1], kind=kind, frames_a_second=frames_a_second).take(checked)


def sample_peak_meter(samples: ArrayLike, rate_hz: int, *, frames_a_second: int = 50) -> Deflection:
    """How a digital peak meter moves over a recording, from rest: up at once, down by 20 dB in 1.7 s.

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    rate_hz : int
        The sample rate.
    frames_a_second : int
        How often it is read, 1 up to the rate.

    Returns
    -------
    Deflection
        Its reading at the end of each frame, and the highest within each.

    Raises
    ------
    GainError
        For samples that cannot be read, for a rate below 1 Hz, and for `frames_a_second` below 1 or above the rate.

    References
    ----------
    IEC 60268-18: times as a public manual quotes them, the attribution *from memory*.

    Examples
    --------
    >>> sample_peak_meter(np.array([0.5, 0.0]), 2, frames_a_second=2).highest_dbfs.round(2).tolist()
    [-6.02]
    """
    checked = checked_samples(samples, "samples")
    return SamplePeakMeter(rate_hz, checked.shape[1], frames_a_second=frames_a_second).take(checked)


def _spring_step(radians_a_second: float, damping: float, seconds: float) -> Readings:
    """Distance from a resting target and speed, one step later: the exact solution of the damped spring."""
    decay = damping * radians_a_second
    swing = radians_a_second * math.sqrt(1.0 - damping**2)
    shrunk = math.exp(-decay * seconds)
    cosine, sine = shrunk * math.cos(swing * seconds), shrunk * math.sin(swing * seconds)
    return np.array(
        [
            [cosine + decay / swing * sine, sine / swing],
            [-(radians_a_second**2) / swing * sine, cosine - decay / swing * sine],
        ]
    )


def _steady(charging_seconds: float, fall_nepers_a_second: float) -> float:
    """Where a detector settles on a sine of 1: what it gains around each crest is what it loses in between.

    With the voltage at cos a, it charges from -a to a, by 2 (sin a - a cos a), and falls over the other pi - 2 a.
    """
    low, high = 0.0, math.pi / 2
    for _ in range(60):
        angle = (low + high) / 2
        gained = 2.0 * (math.sin(angle) - angle * math.cos(angle))
        lost = charging_seconds * fall_nepers_a_second * math.cos(angle) * (math.pi - 2.0 * angle)
        low, high = (angle, high) if gained < lost else (low, angle)
    return math.cos((low + high) / 2)
