"""Clipped runs: where a recording hit a ceiling, how long, how often; also when it was turned down afterwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.audio import checked_samples
from gainlib.decibels import ratio_from_db
from gainlib.errors import GainError

__all__ = ["ClippedRuns", "ClippedRunsMeter", "FlatTopsMeter", "clipped_runs", "flat_runs", "flat_tops"]

Indices = NDArray[np.int64]


@dataclass(frozen=True)
class ClippedRuns:
    """Runs of neighbouring samples at a ceiling: first sample, length in samples and channel of each, in order of time.

    >>> runs = clipped_runs(np.array([0.0, 1.0, 1.0, 1.0, 0.0]))
    >>> len(runs), runs.start.tolist(), runs.length.tolist(), runs.channel.tolist()
    (1, [1], [3], [0])
    """

    start: Indices
    length: Indices
    channel: Indices

    def __len__(self) -> int:
        return len(self.start)

    @property
    def samples(self) -> int:
        """How many samples are clipped in all."""
        return int(self.length.sum())

    @property
    def longest(self) -> int:
        """The length of the longest run in samples, 0 where there is none."""
        return int(self.length.max(initial=0))


def clipped_runs(samples: ArrayLike, *, ceiling_dbfs: float = 0.0, least_samples: int = 3) -> ClippedRuns:
    """Where three neighbouring samples and more stand at the ceiling: the trace of a clipped converter or file.

    Takes float samples `(n,)` or `(n, channels)`. The ceiling is full scale unless `ceiling_dbfs` says otherwise; one
    step of a 16-bit file below it counts, since the highest code of a fixed-point file is a step short of +1.0. One or
    two samples at full scale may be an honest peak. Raises GainError for samples that cannot be read and for
    `least_samples` below 1. Source: *common practice* (three samples in a row).

    >>> len(clipped_runs(np.clip(2 * np.sin(np.arange(480) / 10), -1, 1)))
    16
    """
    edge = full_scale_edge(ceiling_dbfs)
    return _runs(checked_samples(samples, "samples"), lambda channel: (-edge, edge), least_samples)


def full_scale_edge(ceiling_dbfs: float = 0.0) -> float:
    """The smallest |sample| that counts as standing at the ceiling: one step of a 16-bit file below it."""
    return ratio_from_db(ceiling_dbfs) * (1.0 - 2.0**-15)


class ClippedRunsMeter:
    """Counts clipped runs in blocks of any size: `push` each; runs that cross from block to block count once.

    The counts are those of `clipped_runs` of the whole, exactly; where each run is, only the whole can say without
    keeping a growing list. There is none for `flat_runs`, which has to know the recording's extremes first. Raises
    GainError for a block whose channels differ in number, and as `clipped_runs` does.

    >>> meter = ClippedRunsMeter(1)
    >>> meter.push(np.array([0.0, 1.0, 1.0]))
    >>> meter.push(np.array([1.0, 0.0]))
    >>> meter.runs.tolist(), meter.samples.tolist(), meter.longest.tolist()
    ([1], [3], [3])
    """

    def __init__(self, channels: int, *, ceiling_dbfs: float = 0.0, least_samples: int = 3) -> None:
        if channels < 1:
            raise GainError(f"channels is {channels}; a meter needs at least one.")
        if least_samples < 1:
            raise GainError(f"least_samples is {least_samples}; it must be 1 or above.")
        self._edge, self._least = full_scale_edge(ceiling_dbfs), least_samples
        self._runs, self._samples, self._longest = np.zeros((3, channels), dtype=np.int64)
        # The run that reaches the end of what was pushed: its side (+1, -1, 0 for none) and its length.
        self._side, self._open = np.zeros((2, channels), dtype=np.int64)

    @property
    def runs(self) -> Indices:
        """How many runs there are so far, one count a channel; a run that goes on counts once it is long enough."""
        return self._runs + (self._open >= self._least)

    @property
    def samples(self) -> Indices:
        """How many samples are clipped in all, one count a channel."""
        return self._samples + np.where(self._open >= self._least, self._open, 0)

    @property
    def longest(self) -> Indices:
        """The longest run in samples, one a channel, 0 where there is none."""
        return np.maximum(self._longest, np.where(self._open >= self._least, self._open, 0))

    def push(self, block: ArrayLike) -> None:
        """Take the next samples, `(n,)` or `(n, channels)`."""
        checked = checked_samples(block, "block")
        if checked.shape[1] != len(self._open):
            raise GainError(f"block has {checked.shape[1]} channels; this meter was made for {len(self._open)}.")
        for index in range(checked.shape[1]):
            channel = checked[:, index]
            starts, lengths = loops.runs_beyond(channel, -self._edge, self._edge, 1)
            joined = len(starts) > 0 and starts[0] == 0 and np.sign(channel[0]) == self._side[index]
            if joined:
                lengths[0] += self._open[index]
            elif self._open[index]:
                starts, lengths = np.append(starts, 0), np.append(lengths, self._open[index])
                starts, lengths = np.roll(starts, 1), np.roll(lengths, 1)
            goes_on = abs(channel[-1]) >= self._edge
            self._side[index] = np.sign(channel[-1]) if goes_on else 0
            self._open[index] = lengths[-1] if goes_on else 0
            closed = lengths[:-1] if goes_on else lengths
            kept = closed[closed >= self._least]
            self._runs[index] += len(kept)
            self._samples[index] += kept.sum()
            self._longest[index] = max(int(self._longest[index]), int(kept.max(initial=0)))


def flat_runs(samples: ArrayLike, *, least_samples: int = 3) -> ClippedRuns:
    """Where three neighbouring samples and more stand at the recording's own extreme: clipped, then turned down.

    A take that clipped and was lowered afterwards keeps its flat tops; they no longer touch full scale, so
    `clipped_runs` is silent and this is not. Each channel is compared with its own highest and lowest sample, to a
    part in 10⁷. A square wave or a constant is flat by nature and is found as well. Raises as `clipped_runs` does.
    Source: *common practice*.

    >>> len(flat_runs(0.1 * np.clip(2 * np.sin(np.arange(480) / 10), -1, 1)))
    16
    """
    checked = checked_samples(samples, "samples")

    def extremes(channel: NDArray[np.floating]) -> tuple[float, float]:
        low, high = (float(each[0]) for each in loops.extremes(channel, 1))
        near = 1e-7 * max(abs(low), abs(high))
        # A side that the channel never visits (all samples positive, say) has no tops of its own.
        return (low + near if low < 0 else -np.inf, high - near if high > 0 else np.inf)

    return _runs(checked, extremes, least_samples)


# A top is flat within a thousandth of its height, or within four steps of a 16-bit file, which hold its dither.
_FLAT_PART = 1e-3
_FLAT_STEPS = 4 * 2.0**-15
# The crest of a sine falls by 9 to 16 times what counts as flat as far away again as its top is wide (a parabola, by
# whole samples); a cut one falls steeply. Two tops at one height are no chance.
_STEEP = 25.0
_LEAST_TOPS = 2
_CONTEXT = 1024
_MOST_KEPT = 20_000


def flat_tops(samples: ArrayLike, *, least_samples: int = 3) -> ClippedRuns:
    """Where crests are cut off at one height, the recording's own extreme: clipped, then turned down, also dithered.

    Takes float samples `(n,)` or `(n, channels)`. A top counts where three neighbouring samples and more lie within a
    thousandth of each channel's highest (or lowest) sample, or within four steps of 16 bits, where the wave falls off
    steeply on both sides (25 times that within the top's own width, a round crest falls by 9 to 16), and where at least
    two such tops are there. Unlike `flat_runs` it does not take the crest of a low, slow wave for a cut one, and does
    not ask for samples that are equal. A square wave is flat by nature and is found. Raises as `clipped_runs` does.
    The rule is this course's own.

    >>> wave = 1.5 * np.sin(np.arange(4800) / 10)
    >>> len(flat_tops(0.1 * np.clip(wave, -1, 1))), len(flat_tops(0.1 * wave))
    (152, 0)
    """
    checked = checked_samples(samples, "samples")
    meter = FlatTopsMeter(checked.shape[1], least_samples=least_samples)
    meter.push_checked(checked)
    return meter.reading()


class _Tops:
    """The flat tops near the highest sample so far, of one side of one channel."""

    def __init__(self) -> None:
        self.highest = 0.0
        self.beyond = 0  # more than are kept
        self.start: Indices = np.empty(0, dtype=np.int64)
        self.length: Indices = np.empty(0, dtype=np.int64)
        self.height: NDArray[np.float64] = np.empty(0)

    def copy(self) -> _Tops:
        made = _Tops()
        made.__dict__.update(self.__dict__)
        return made

    @staticmethod
    def flat(height: float) -> float:
        return max(height * _FLAT_PART, _FLAT_STEPS)

    def look(self, side: NDArray[np.floating], highest: float, offset: int, first: int, end: int, least: int) -> None:
        """Add the tops of a stretch that start from index `first` up to `end`; it begins at sample `offset`."""
        if highest > self.highest:
            lifted = self.highest < highest - 2 * self.flat(highest)
            self.highest = highest
            kept = self.height >= highest - 2 * self.flat(highest)
            self.start, self.length, self.height = self.start[kept], self.length[kept], self.height[kept]
            self.beyond = 0 if lifted else self.beyond
        flat = self.flat(self.highest)
        if highest < self.highest - 2 * flat or self.highest <= 3 * flat:
            return
        starts, lengths, heights, falls = loops.find_flat_tops(side, self.highest - 3 * flat, _FLAT_PART, _FLAT_STEPS)
        good = (starts >= first) & (starts < end) & (lengths >= least) & (heights >= self.highest - 2 * flat)
        good &= falls >= _STEEP * np.maximum(heights * _FLAT_PART, _FLAT_STEPS)
        room = _MOST_KEPT - len(self.start)
        self.beyond += max(0, int(good.sum()) - room)
        self.start = np.concatenate((self.start, starts[good][:room] + offset))
        self.length = np.concatenate((self.length, lengths[good][:room]))
        self.height = np.concatenate((self.height, heights[good][:room]))


class FlatTopsMeter:
    """`flat_tops` of blocks of any size: `push` each, ask `reading` at any time.

    Keeps the last two thousand samples and at most 20 000 tops a side and channel; `counts` has them all. A top of
    five hundred samples and more (10 ms at 48 kHz) that a seam of blocks cuts may be told shorter, or not at all.
    Raises GainError for a block whose channels differ in number, and as `flat_tops` does.

    >>> meter = FlatTopsMeter(1)
    >>> for block in np.split(0.1 * np.clip(1.5 * np.sin(np.arange(4800) / 10), -1, 1), 4):
    ...     meter.push(block)
    >>> len(meter.reading()), meter.counts.tolist()
    (152, [152])
    """

    def __init__(self, channels: int, *, least_samples: int = 3) -> None:
        if channels < 1:
            raise GainError(f"channels is {channels}; a meter needs at least one.")
        if least_samples < 1:
            raise GainError(f"least_samples is {least_samples}; it must be 1 or above.")
        self._least = least_samples
        self._sides = [(_Tops(), _Tops()) for _ in range(channels)]
        self._recent: NDArray[np.floating] = np.empty((channels, 0), dtype=np.float32)
        self._samples = 0
        self._looked = 0  # tops that start before this sample were found already

    def push(self, block: ArrayLike) -> None:
        """Take the next samples, `(n,)` or `(n, channels)`."""
        self.push_checked(checked_samples(block, "block"))

    def push_checked(self, block: NDArray[np.floating]) -> None:
        """`push` of samples that were checked before, `(n, channels)`."""
        if block.shape[1] != len(self._sides):
            raise GainError(f"block has {block.shape[1]} channels; this meter was made for {len(self._sides)}.")
        stretch = np.concatenate((self._recent, block.T), axis=1)
        self._samples += len(block)
        self._look(self._sides, stretch, stretch.shape[1] - _CONTEXT)
        self._looked = max(self._looked, self._samples - _CONTEXT)
        self._recent = stretch[:, -2 * _CONTEXT :].copy()

    def _look(self, sides: list[tuple[_Tops, _Tops]], stretch: NDArray[np.floating], end: int) -> None:
        offset = self._samples - stretch.shape[1]
        first = self._looked - offset
        for channel, (upper, lower) in zip(stretch, sides, strict=True):
            # What may still come to lie in the middle of a later stretch counts for the extreme, not yet as a top.
            upper.look(channel, float(channel.max()), offset, first, end, self._least)
            low = float(channel.min())
            if -low >= lower.highest - 2 * lower.flat(lower.highest):
                lower.look(-channel, -low, offset, first, end, self._least)

    def _whole(self) -> list[tuple[_Tops, _Tops]]:
        sides = [(upper.copy(), lower.copy()) for upper, lower in self._sides]
        if self._samples:
            self._look(sides, self._recent, self._recent.shape[1])
        nothing = _Tops()
        return [
            (
                upper if len(upper.start) >= _LEAST_TOPS else nothing,
                lower if len(lower.start) >= _LEAST_TOPS else nothing,
            )
            for upper, lower in sides
        ]

    @property
    def counts(self) -> Indices:
        """How many flat tops there are so far, one count a channel."""
        return np.array([sum(len(each.start) + each.beyond for each in pair) for pair in self._whole()], dtype=np.int64)

    def reading(self) -> ClippedRuns:
        """The flat tops up to now, in order of time."""
        sides = self._whole()
        start = np.concatenate([each.start for pair in sides for each in pair])
        length = np.concatenate([each.length for pair in sides for each in pair])
        channel = np.repeat(np.arange(len(sides)), [sum(len(each.start) for each in pair) for pair in sides])
        order = np.argsort(start, kind="stable")
        return ClippedRuns(start[order], length[order], channel[order].astype(np.int64))


def _runs(checked: NDArray[np.floating], edges_of, least_samples: int) -> ClippedRuns:  # type: ignore[no-untyped-def]
    if least_samples < 1:
        raise GainError(f"least_samples is {least_samples}; it must be 1 or above.")
    starts, lengths, channels = [], [], []
    for index in range(checked.shape[1]):
        channel = checked[:, index]
        low, high = edges_of(channel)
        start, length = loops.runs_beyond(channel, low, high, least_samples)
        starts.append(start)
        lengths.append(length)
        channels.append(np.full(len(start), index, dtype=np.int64))
    start = np.concatenate(starts)
    order = np.argsort(start, kind="stable")
    return ClippedRuns(start[order], np.concatenate(lengths)[order], np.concatenate(channels)[order])
