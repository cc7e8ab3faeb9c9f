"""Gain that changes with time: clip gain by region, and rides drawn as breakpoints."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gainlib.audio import Audio
from gainlib.decibels import ratio_from_db
from gainlib.errors import GainError
from gainlib.meters import find_phrases
from gainlib.stages.base import (
    MOST_DB,
    Floats,
    Signal,
    Stage,
    StageResult,
    frozen,
    is_number,
    require_gain,
    require_within,
    setting,
)
from gainlib.text import describe_value

__all__ = ["ClipGain", "Ride", "gain_line", "proposed_ride", "ridden"]

Points = tuple[tuple[float, float], ...]


def gain_line(places: Sequence[int], gains_db: Sequence[float], count: int) -> Floats:
    """A gain for each of `count` samples: straight in dB from place to place, held before the first and after the last.

    `places` are sample numbers in rising order; each sample gets a gain of its own, so that nothing moves in steps.
    Gives amplitude ratios `(count,)`.

    >>> gain_line([0, 2], [0.0, -40.0], 4).round(3).tolist()
    [1.0, 0.1, 0.01, 0.01]
    """
    line = np.interp(np.arange(count), places, gains_db)
    return ratio_from_db(line)


def ridden(signal: Signal, gains: Floats) -> Signal:
    """The signal times a gain for each sample; its noise floor rises by the mean power of that gain."""
    samples = frozen(signal.samples * gains[:, None])
    power = signal.noise_power * float(np.dot(gains, gains)) / len(gains)
    return dataclasses.replace(signal, samples=samples, noise_power=power)


def checked_points(stage: Stage, name: str, width: int) -> tuple[tuple[float, ...], ...]:
    """The rows of a setting such as `points` as tuples of finite numbers, or a GainError that names the row."""
    rows = getattr(stage, name)
    what = "(seconds, gain_db)" if width == 2 else "(start_seconds, end_seconds, gain_db)"
    checked = []
    for row in rows if isinstance(rows, Iterable) and not isinstance(rows, str | bytes) else [rows]:
        if (
            not isinstance(row, list | tuple)
            or len(row) != width
            or not all(map(is_number, row))
            or not np.isfinite(row).all()
        ):
            raise GainError(
                f"{name} of the {stage.kind.lower()} holds {describe_value(row)}; give {what} in finite numbers."
            )
        if abs(row[-1]) > MOST_DB:
            wanted = f"from {-MOST_DB:g} to {MOST_DB:g} dB"
            raise GainError(f"{name} of the {stage.kind.lower()} holds {row[-1]:g} dB; it must be {wanted}.")
        if row[0] < 0:
            raise GainError(f"{name} of the {stage.kind.lower()} starts at {row[0]:g} s; times start at 0 s.")
        checked.append(tuple(float(each) for each in row))
    return tuple(checked)


def checked_ride(stage: Stage, name: str) -> Points:
    """Breakpoints as pairs in rising order of time, or a GainError."""
    points = checked_points(stage, name, 2)
    for (before, _), (after, _) in itertools.pairwise(points):
        if after <= before:
            raise GainError(
                f"{name} of the {stage.kind.lower()} goes from {before:g} s to {after:g} s; times must rise."
            )
    return points  # type: ignore[return-value]


def ride_gains(points: Points, signal: Signal) -> Floats:
    """The gain of a ride for each sample of a signal."""
    places = [round(seconds * signal.rate_hz) for seconds, _ in points]
    return gain_line(places, [gain_db for _, gain_db in points], len(signal.samples))


@dataclass(frozen=True)
class ClipGain(Stage):
    """A gain for each region of a recording: the loud word down, the swallowed line up, before anything else hears it.

    Parameters
    ----------
    regions : rows of (start_seconds, end_seconds, gain_db)
        In any order, not overlapping; times go to the nearest sample. Outside them every sample passes bit for bit.
    fade_ms : float, 0 to 1000 ms
        In this time the gain moves from 0 dB and back to it inside a region, straight in dB. Where two regions meet it
        moves from the one gain to the other; in a region shorter than two fades they meet in its middle.
    gain_db : float, -200 to 200 dB
        Added to the gain of every region; together at most 200 dB up or down.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For regions that overlap, end before they start or are not numbers.

    References
    ----------
    *Derived*: every sample times 10^(gain / 20).

    Examples
    --------
    >>> ClipGain(regions=((0.5, 1.0, -6.0),)).regions
    ((0.5, 1.0, -6.0),)
    """

    kind: ClassVar[str] = "Clip gain"
    cache_output: ClassVar[bool] = True

    regions: tuple[tuple[float, float, float], ...] = ()
    fade_ms: float = 5.0
    gain_db: float = setting(0.0, label="Clip gain", low=-24.0, high=24.0, step=0.5)

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "fade_ms", 0.0, 1000.0)
        require_gain(self, "gain_db")
        regions = tuple(sorted(checked_points(self, "regions", 3)))
        for start, end, gain_db in regions:
            if end <= start:
                raise GainError(f"a region of the clip gain runs from {start:g} s to {end:g} s; it must end later.")
            if abs(gain_db + self.gain_db) > MOST_DB:
                whole = f"{gain_db:g} dB and {self.gain_db:g} dB for all"
                raise GainError(
                    f"a region of the clip gain has {whole}; together they go from {-MOST_DB:g} to {MOST_DB:g} dB."
                )
        for before, after in itertools.pairwise(regions):
            if after[0] < before[1]:
                raise GainError(
                    f"two regions of the clip gain overlap: one ends at {before[1]:g} s, "
                    f"the next starts at {after[0]:g} s; leave each moment to one region."
                )
        object.__setattr__(self, "regions", regions)

    def process(self, signal: Signal) -> StageResult:
        """The signal with each region at its gain."""
        rate_hz, count = signal.rate_hz, len(signal.samples)
        gain = self.gain_db
        edges = [(round(start * rate_hz), round(end * rate_hz), own + gain) for start, end, own in self.regions]
        edges = [(start, end, gain_db) for start, end, gain_db in edges if start < min(end, count)]
        if not edges:
            return StageResult(signal)
        fade = round(self.fade_ms * rate_hz / 1000)
        places: list[int] = []
        gains_db: list[float] = []
        for index, (start, end, gain_db) in enumerate(edges):
            met_before = index > 0 and edges[index - 1][1] == start
            met_after = index + 1 < len(edges) and edges[index + 1][0] == end
            short = min(fade, (end - start - 1) // 2)
            # Sample `start` is the first that moves, sample `end` the first that is untouched again. Where regions
            # meet, the next one moves from this one's gain.
            places += [] if met_before else [start - 1]
            gains_db += [] if met_before else [0.0]
            places += [start + short, end - 1 if met_after else end - 1 - short]
            gains_db += [gain_db, gain_db]
            places += [] if met_after else [end]
            gains_db += [] if met_after else [0.0]
        return StageResult(ridden(signal, gain_line(places, gains_db, count)))


@dataclass(frozen=True)
class Ride(Stage):
    """Drawn gain automation: breakpoints joined by lines that are straight in dB, a gain of its own for each sample.

    Parameters
    ----------
    points : rows of (seconds, gain_db)
        In rising order of time; each time goes to the nearest sample. Before the first point its gain holds, after the
        last one the last. No points is no change.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For times that do not rise and for values that are not finite.

    References
    ----------
    *Derived*: linear interpolation in dB between the points' samples.

    Examples
    --------
    >>> Ride(points=((0.0, 0.0), (1.0, -6.0))).points
    ((0.0, 0.0), (1.0, -6.0))
    """

    cache_output: ClassVar[bool] = True
    cost_ms: ClassVar[float] = 4.0

    points: Points = ()

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "points", checked_ride(self, "points"))

    def process(self, signal: Signal) -> StageResult:
        """The signal, ridden."""
        if not self.points:
            return StageResult(signal)
        return StageResult(ridden(signal, ride_gains(self.points, signal)))


def proposed_ride(take: Audio, target_dbfs: float, *, most_db: float = 12.0) -> Ride:
    """A ride that brings each phrase to the same RMS level (AES17), to compare with one's own.

    The phrases are those of `find_phrases`, as the ride's picture shows them and `phrase_range_db` measures them. The
    gain holds through each phrase and moves in the pauses.

    Parameters
    ----------
    take : Audio
        `(n, channels)`, full scale ±1.0.
    target_dbfs : float
        The level that each phrase is to have, AES17 dBFS.
    most_db : float
        No phrase is moved by more, up or down, dB.

    Returns
    -------
    Ride
        Two points a phrase, (seconds, dB).

    Raises
    ------
    GainError
        For a recording without a phrase.

    References
    ----------
    The course's own; *common practice* is to do it by ear.

    Examples
    --------
    >>> tone = np.sin(np.arange(48000) / 10)
    >>> take = Audio(np.concatenate([0.5 * tone, 0 * tone, 0.05 * tone]), 48000)
    >>> [round(gain_db) for _, gain_db in proposed_ride(take, -20.0).points]
    [-12, -12, 6, 6]
    """
    found = find_phrases(take.samples, take.rate_hz)
    if not found:
        raise GainError(f"{take.name or 'the recording'} holds no phrase to ride; it is silent.")
    points = []
    for phrase in found:
        gain_db = max(-most_db, min(most_db, target_dbfs - phrase.rms_dbfs))
        points += [(phrase.start_seconds, gain_db), (phrase.end_seconds - 1 / take.rate_hz, gain_db)]
    return Ride(points=tuple(points))
