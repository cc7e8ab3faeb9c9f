"""Clipped runs: where a recording hit a ceiling, how long, how often; also when it was turned down afterwards."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import kernels
from gainlib.audio import checked_samples
from gainlib.decibels import ratio_from_db
from gainlib.errors import GainError

__all__ = ["ClippedRuns", "ClippedRunsMeter", "clipped_runs", "flat_runs"]

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
    edge = _edge(ceiling_dbfs)
    return _runs(checked_samples(samples, "samples"), lambda channel: (-edge, edge), least_samples)


def _edge(ceiling_dbfs: float) -> float:
    return float(ratio_from_db(ceiling_dbfs)) * (1.0 - 2.0**-15)


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
        self._edge, self._least = _edge(ceiling_dbfs), least_samples
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
            starts, lengths = kernels.runs_beyond(channel, -self._edge, self._edge, 1)
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
        low, high = (float(each[0]) for each in kernels.extremes(channel, 1))
        near = 1e-7 * max(abs(low), abs(high))
        # A side that the channel never visits (all samples positive, say) has no tops of its own.
        return (low + near if low < 0 else -np.inf, high - near if high > 0 else np.inf)

    return _runs(checked, extremes, least_samples)


def _runs(checked: NDArray[np.floating], edges_of, least_samples: int) -> ClippedRuns:  # type: ignore[no-untyped-def]
    if least_samples < 1:
        raise GainError(f"least_samples is {least_samples}; it must be 1 or above.")
    starts, lengths, channels = [], [], []
    for index in range(checked.shape[1]):
        channel = checked[:, index]
        low, high = edges_of(channel)
        start, length = kernels.runs_beyond(channel, low, high, least_samples)
        starts.append(start)
        lengths.append(length)
        channels.append(np.full(len(start), index, dtype=np.int64))
    start = np.concatenate(starts)
    order = np.argsort(start, kind="stable")
    return ClippedRuns(start[order], np.concatenate(lengths)[order], np.concatenate(channels)[order])
