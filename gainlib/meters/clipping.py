"""Clipped runs: where a recording hit a ceiling, how long, how often; also when it was turned down afterwards."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib import loops
from gainlib.audio import Samples
from gainlib.decibels import db_from_ratio, ratio_from_db
from gainlib.errors import GainError
from gainlib.meters.streaming import StreamMeter, WindowFigures, read_whole

__all__ = ["ClippedRuns", "ClippedRunsMeter", "FlatTopsMeter", "clipped_runs", "flat_tops"]

Indices = NDArray[np.int64]


@dataclass(frozen=True)
class ClippedRuns:
    """Runs of neighbouring samples at a ceiling: first sample, length in samples and channel of each, in order of time.

    `clipped_runs` and `flat_tops` give it.

    Attributes
    ----------
    start : ndarray of int, `(runs,)`
        The number of each run's first sample, from 0.
    length : ndarray of int, `(runs,)`
        How many samples each run holds.
    channel : ndarray of int, `(runs,)`
        The channel that each run is in, from 0.

    Examples
    --------
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

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    ceiling_dbfs : float
        The ceiling, full scale unless said otherwise. One step of a 16-bit file below it counts, since the highest code
        of a fixed-point file is a step short of +1.0.
    least_samples : int
        How many neighbouring samples make a run; one or two at full scale may be an honest peak.

    Returns
    -------
    ClippedRuns
        First sample, length and channel of each run, in order of time.

    Raises
    ------
    GainError
        For samples that are empty, not floats or not finite, and for `least_samples` below 1.

    References
    ----------
    *Common practice* (three samples in a row).

    Examples
    --------
    >>> len(clipped_runs(np.clip(2 * np.sin(np.arange(480) / 10), -1, 1)))
    16
    """
    make = functools.partial(ClippedRunsMeter, ceiling_dbfs=ceiling_dbfs, least_samples=least_samples)
    return read_whole(make, samples).reading()


class ClippedRunsMeter(StreamMeter):
    """`clipped_runs` of a stream: `push` each block, ask `reading` at any time; a run across blocks is one.

    The reading is that of the whole, exactly. With `most_kept` it knows the places of so many runs a channel at most,
    while `counts` has them all.

    Parameters
    ----------
    channels : int
        How many channels each block has.
    ceiling_dbfs : float
        The ceiling; one step of a 16-bit file below it counts.
    least_samples : int
        How many neighbouring samples make a run, 1 or more.
    most_kept : int, optional
        How many runs a channel are kept with their places; all, unless given.

    Raises
    ------
    GainError
        For `least_samples` below 1, and as `LevelMeter` does.

    Examples
    --------
    >>> meter = ClippedRunsMeter(1)
    >>> meter.push(np.array([0.0, 1.0, 1.0]))
    >>> meter.push(np.array([1.0, 0.0]))
    >>> meter.counts.tolist(), meter.reading().start.tolist(), meter.reading().longest
    ([1], [1], 3)
    """

    by_channel = True

    def __init__(
        self, channels: int, *, ceiling_dbfs: float = 0.0, least_samples: int = 3, most_kept: int | None = None
    ) -> None:
        super().__init__(channels)
        _require_samples(least_samples)
        # The highest code of a fixed-point file is a step short of +1.0.
        self._edge = ratio_from_db(ceiling_dbfs) * (1.0 - 2.0**-15)
        self._least, self._most = least_samples, most_kept
        self._counts: Indices = np.zeros(channels, dtype=np.int64)
        self._starts: list[list[Indices]] = [[] for _ in range(channels)]
        self._lengths: list[list[Indices]] = [[] for _ in range(channels)]
        self._kept = [0] * channels
        # The run that reaches the end of what was pushed: first sample, length, side (+1, -1, 0 for none).
        self._open: list[tuple[int, int, float]] = [(0, 0, 0.0)] * channels
        self._samples = 0

    def take(self, checked: Samples) -> None:
        """`push` of samples that were checked before."""
        for index in range(self.channels):
            channel = checked[:, index]
            starts, lengths = loops.runs_beyond(channel, -self._edge, self._edge, 1)
            starts = starts + self._samples
            first, length, side = self._open[index]
            if side:
                if len(starts) and starts[0] == self._samples and np.sign(channel[0]) == side:
                    starts[0], lengths[0] = first, lengths[0] + length
                else:
                    starts, lengths = np.concatenate(([first], starts)), np.concatenate(([length], lengths))
            self._open[index] = (0, 0, 0.0)
            if abs(channel[-1]) >= self._edge:
                self._open[index] = (int(starts[-1]), int(lengths[-1]), float(np.sign(channel[-1])))
                starts, lengths = starts[:-1], lengths[:-1]
            long = lengths >= self._least
            if long.any():
                self._keep(index, starts[long], lengths[long])
        self._samples += len(checked)

    def take_known(self, checked: Samples, figures: WindowFigures) -> None:
        """`take`, which looks at a block only where it reaches the ceiling or a run goes on."""
        if figures.peaks.max() >= self._edge or any(side for _, _, side in self._open):
            self.take(checked)
        else:
            self._samples += figures.samples

    def _keep(self, index: int, starts: Indices, lengths: Indices) -> None:
        self._counts[index] += len(starts)
        room = None if self._most is None else max(0, self._most - self._kept[index])
        if room == 0:
            return
        self._starts[index].append(starts[:room])
        self._lengths[index].append(lengths[:room])
        self._kept[index] += len(starts[:room])

    def _last(self, index: int) -> tuple[list[int], list[int]]:
        """The run that goes on, where it is long enough already."""
        first, length, side = self._open[index]
        return ([first], [length]) if side and length >= self._least else ([], [])

    @property
    def counts(self) -> Indices:
        """How many runs there are so far, one count a channel; a run that goes on counts once it is long enough."""
        return np.array([self._counts[index] + len(self._last(index)[0]) for index in range(self.channels)], np.int64)

    def reading(self) -> ClippedRuns:
        """The runs up to now, in order of time."""
        starts, lengths = (
            [np.concatenate((*kept[index], np.array(self._last(index)[part], dtype=np.int64)))
             for index in range(self.channels)]
            for part, kept in enumerate((self._starts, self._lengths))
        )  # fmt: skip
        return _in_order(starts, lengths)


def _in_order(starts: list[Indices], lengths: list[Indices]) -> ClippedRuns:
    """The runs of all channels, one array each, in order of time."""
    start = np.concatenate(starts)
    channel = np.repeat(np.arange(len(starts)), [len(each) for each in starts])
    order = np.argsort(start, kind="stable")
    return ClippedRuns(start[order], np.concatenate(lengths)[order], channel[order].astype(np.int64))


def _require_samples(least_samples: int) -> None:
    if least_samples < 1:
        raise GainError(f"least_samples is {least_samples}; it must be 1 or above.")


# A top is flat within a thousandth of its height, or within four steps of a 16-bit file, which hold its dither.
_FLAT_PART = 1e-3
_FLAT_STEPS = 4 * 2.0**-15
# The crest of a sine falls by 9 to 16 times what counts as flat as far away again as its top is wide (a parabola, by
# whole samples); a cut one falls steeply. Two tops at one height are no chance.
_STEEP = 25.0
_LEAST_TOPS = 2
_CONTEXT = 1024
_MOST_KEPT = 20_000
# Below the extreme chance has more room, so more is asked for. In 45 songs at most 3 tops of one side had a height in
# common within three steps of 16 bits, which is as far as dither spreads the tops of one ceiling.
_SHARED_STEPS = 3 * 2.0**-15
_LEAST_SHARED, _LEAST_LENGTHS = 6, 3
_SHARED_PART, _AROUND = 0.6, 10
# Of a steady tone all are of one length. A clipped wave runs into its ceiling, where a square wave jumps there.
_LEAST_STEADY, _JUMP = 12, 0.5
_LEAST_HEIGHT = 0.01
_WINDOW = 96
_REACH, _LONGEST_TOP = 768, 560  # so far is looked to either side; 3 dB over at 30 Hz cut 400 samples off a crest
_BESIDE = np.arange(1, 200)
_CRESTS_AT_ONCE = 1024  # each with its 400 samples, sorted
# Sound that is held for two samples stands still at every other; what is clipped stands still at its tops.
_LOOKED_AT, _HELD_BELOW, _HELD_SHARE = 4, 0.9, 0.4
_LEAST_VALUES = 64  # among the 400 samples beside a top; a word of few bits has fewer, and stands still by itself


def flat_tops(samples: ArrayLike, *, least_samples: int = 3) -> ClippedRuns:
    """Where crests are cut off at one height: clipped, then turned down, also dithered.

    A top counts where three neighbouring samples and more lie within a thousandth of each channel's highest (or lowest)
    sample, or within four steps of 16 bits, which hold its dither; where the wave falls off steeply on both sides (25
    times that within the top's own width, where a round crest falls by 9 to 16); and where at least two such tops are
    there. A square wave is flat by nature and is found. Where nothing is flat at the extreme, since a passage that was
    clipped stands lower than one that is whole, tops further down count: six and more whose heights lie within three
    steps of 16 bits, and few others near that height: of three lengths and more, or, as of a steady tone, twelve and
    more on both sides into which the wave does not jump. This is the one definition: `measure`,
    lessons, exercises, the waveform and the survey all ask it.

    What no such search finds is a clip whose tops were bent afterwards, by an anti-alias filter, a coupling capacitor,
    an equaliser or lossy coding: none found does not prove that a recording is whole. Measured on the course's ten
    stems driven over full scale by 1, 3 and 6 dB, 25 files with 11 756 clipped places:

    ===================================================  ===========  ======
    what stands behind the clip                          files of 25  places
    ===================================================  ===========  ======
    turned down by 0.1 to 20 dB, plain or dithered                25    98 %
    turned down by 7 dB, one whole peak at −3 dBFS                19    92 %
    anti-alias filter at 20 kHz, at 15 kHz                     10, 1  3, 0 %
    coupling capacitor of 1 Hz, of 5 Hz and above              20, 0  4, 0 %
    equaliser, 1 dB at 10 kHz, 3 dB at 200 Hz or 3 kHz          5, 0  2, 0 %
    resampled to 44.1 kHz, to 96 kHz                            9, 4     1 %
    MP3, Vorbis, at high rates                                  5, 0  1, 0 %
    ===================================================  ===========  ======

    No whole stem was accused, in any of these 23 ways (`python tests/benchmarks/bench_flat_tops.py`).

    Parameters
    ----------
    samples : array of float, `(n,)` or `(n, channels)`
        Full scale is ±1.0.
    least_samples : int
        How many samples make a top.

    Returns
    -------
    ClippedRuns
        First sample, length and channel of each top, in order of time; of more than 20 000 a side and channel the
        first.

    Raises
    ------
    GainError
        As `clipped_runs` does.

    References
    ----------
    The rule is this course's own.

    Examples
    --------
    >>> wave = 1.5 * np.sin(np.arange(4800) / 10)
    >>> len(flat_tops(0.1 * np.clip(wave, -1, 1))), len(flat_tops(0.1 * wave))
    (152, 0)
    """
    return read_whole(functools.partial(FlatTopsMeter, least_samples=least_samples), samples).reading()


def _held(side: NDArray[np.floating], starts: Indices, lengths: Indices) -> bool:
    """Whether the sound about most of these tops stands still as well, each of its samples held for some, as by a
    rate made higher without a filter."""
    some = slice(None, None, max(1, len(starts) // _LOOKED_AT))
    held = 0
    for start, length in zip(starts[some].tolist(), lengths[some].tolist(), strict=True):
        around = side[max(0, start - len(_BESIDE)) : start + length + len(_BESIDE)]
        lower = (around[1:] != 0.0) & (np.abs(around[1:]) < _HELD_BELOW * side[start])
        still = lower & (around[1:] == around[:-1])
        held += int(np.count_nonzero(still) > _HELD_SHARE * np.count_nonzero(lower))
    return held > len(starts[some]) / 2


class _Tops:
    """The flat tops near the highest sample so far, of one side of one channel."""

    def __init__(self) -> None:
        self.highest = 0.0
        self.beyond = 0  # more than are kept
        self.start: Indices = np.empty(0, dtype=np.int64)
        self.length: Indices = np.empty(0, dtype=np.int64)
        self.height: NDArray[np.float64] = np.empty(0)
        self.steady = False  # of one length: as a steady tone's, or one crest's that comes again

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
        if good.any() and _held(side, starts[good], lengths[good]):
            return
        room = _MOST_KEPT - len(self.start)
        self.beyond += max(0, int(good.sum()) - room)
        self.start = np.concatenate((self.start, starts[good][:room] + offset))
        self.length = np.concatenate((self.length, lengths[good][:room]))
        self.height = np.concatenate((self.height, heights[good][:room]))


class _LowerTops:
    """The flat tops of one side of one channel at any height, each over what lies near it in time."""

    def __init__(self) -> None:
        self.start: Indices = np.empty(0, dtype=np.int64)
        self.length: Indices = np.empty(0, dtype=np.int64)
        self.height: NDArray[np.float64] = np.empty(0)
        self.jumps: NDArray[np.bool_] = np.empty(0, dtype=np.bool_)  # whether the wave jumps there

    def add(self, side: NDArray[np.floating], crests: Indices, offset: int, least: int) -> None:
        """Add those of these crests, `(found, 3)`, that are long enough and no word of few bits standing still.

        `side` are the samples that they are in, upside down for troughs, the first of them sample `offset`.
        """
        if len(self.start) >= _MOST_KEPT:
            return
        start, length, middle = crests.T
        # A top across two windows is one.
        good = (length >= least) & (np.diff(start + offset, prepend=self.start[-1] if len(self.start) else -1) > 0)
        start, length, middle = start[good], length[good], middle[good]
        for some in range(0, len(middle), _CRESTS_AT_ONCE):
            part = slice(some, some + _CRESTS_AT_ONCE)
            before, after = start[part, None] - _BESIDE, start[part, None] + length[part, None] - 1 + _BESIDE
            around = np.sort(side[np.concatenate((before, after), axis=1)], axis=1)
            many = np.count_nonzero(np.diff(around, axis=1), axis=1) >= _LEAST_VALUES
            first, count = start[part][many], length[part][many]
            height = side[middle[part][many]].astype(np.float64)
            beside = np.minimum(side[first - 1], side[first + count])
            self.start, self.length = np.concatenate((self.start, first + offset)), np.concatenate((self.length, count))
            self.height = np.concatenate((self.height, height))
            self.jumps = np.concatenate((self.jumps, height - beside > _JUMP * height))

    def at_one_height(self) -> _Tops | None:
        """Those whose height most have in common, None where that may be chance."""
        order = np.argsort(self.height, kind="stable")
        heights = self.height[order]
        counts = np.searchsorted(heights, heights + _SHARED_STEPS, side="right") - np.arange(len(heights))
        if counts.max(initial=0) < _LEAST_SHARED:
            return None
        best = int(counts.argmax())
        middle, reach = heights[best] + _SHARED_STEPS / 2, _AROUND * _SHARED_STEPS / 2
        near = np.count_nonzero(np.abs(heights - middle) <= reach)
        kept = np.sort(order[best : best + counts[best]])
        steady = len(np.unique(self.length[kept])) < _LEAST_LENGTHS
        if counts[best] < _SHARED_PART * near or (
            steady and (len(kept) < _LEAST_STEADY or self.jumps[kept].mean() > 0.1)
        ):
            return None
        found = _Tops()
        found.start, found.length, found.height = self.start[kept], self.length[kept], self.height[kept]
        found.steady = steady
        return found


def _steady_on_both_sides(pair: list[_Tops]) -> tuple[_Tops, ...]:
    """Without tops of one length on one side alone: a clipped tone has them on both, a sampler's crest has not."""
    upper, lower = (float(np.median(each.height)) if len(each.start) else 0.0 for each in pair)
    alike = abs(upper - lower) <= 2 * _SHARED_STEPS
    return tuple(_Tops() if each.steady and not alike else each for each in pair)


class FlatTopsMeter(StreamMeter):
    """`flat_tops` of blocks of any size: `push` each, ask `reading` at any time.

    Keeps the last two thousand samples and at most 20 000 tops a side and channel; `counts` has them all. A top of
    five hundred samples and more (10 ms at 48 kHz) that a seam of blocks cuts may be told shorter, or not at all.

    Parameters
    ----------
    channels : int
        How many channels each block has.
    least_samples : int
        How many samples a top has at least.

    Raises
    ------
    GainError
        For a block whose channels differ in number, and as `flat_tops` does.

    Examples
    --------
    >>> meter = FlatTopsMeter(1)
    >>> for block in np.split(0.1 * np.clip(1.5 * np.sin(np.arange(4800) / 10), -1, 1), 4):
    ...     meter.push(block)
    >>> len(meter.reading()), meter.counts.tolist()
    (152, [152])
    """

    by_channel = True

    def __init__(self, channels: int, *, least_samples: int = 3) -> None:
        super().__init__(channels)
        _require_samples(least_samples)
        self._least = least_samples
        self._sides = [(_Tops(), _Tops()) for _ in range(channels)]
        self._lower = [(_LowerTops(), _LowerTops()) for _ in range(channels)]
        self._recent: NDArray[np.floating] = np.empty((channels, 0), dtype=np.float32)
        self._samples = 0
        self._looked = 0  # tops that start before this sample were found already
        self._told: list[tuple[_Tops, ...]] | None = None

    def take(self, checked: Samples) -> None:
        """`push` of samples that were checked before."""
        stretch = np.concatenate((self._recent, checked.T), axis=1)
        self._told = None
        self._samples += len(checked)
        until = max(self._looked, (self._samples - _CONTEXT) // _WINDOW * _WINDOW)
        offset = self._samples - stretch.shape[1]
        self._look(self._sides, stretch, until - offset)
        first = self._looked - offset
        count = (until - self._looked) // _WINDOW
        for channel, pair in zip(stretch, self._lower, strict=True):
            if count > 0:
                crests = loops.flat_crests(
                    channel,
                    first,
                    count,
                    _WINDOW,
                    _REACH,
                    _LONGEST_TOP,
                    _LEAST_HEIGHT,
                    _SHARED_STEPS,
                    _FLAT_STEPS,
                    _STEEP * _FLAT_STEPS,
                )
                for side, tops in enumerate(pair):
                    own = crests[crests[:, 0] == side, 1:]
                    if len(own):
                        tops.add(-channel if side else channel, own, offset, self._least)
        self._looked = until
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

    def _whole(self) -> list[tuple[_Tops, ...]]:
        """The tops of both sides of each channel so far, found once for all that ask."""
        if self._told is None:
            self._told = self._all_told()
        return self._told

    def _all_told(self) -> list[tuple[_Tops, ...]]:
        sides = [(upper.copy(), lower.copy()) for upper, lower in self._sides]
        if self._samples:
            self._look(sides, self._recent, self._recent.shape[1])
        return [
            _steady_on_both_sides([
                tops if len(tops.start) >= _LEAST_TOPS else lower.at_one_height() or _Tops()
                for tops, lower in zip(pair, lowers, strict=True)
            ])
            for pair, lowers in zip(sides, self._lower, strict=True)
        ]  # fmt: skip

    @property
    def counts(self) -> Indices:
        """How many flat tops there are so far, one count a channel."""
        return np.array([sum(len(each.start) + each.beyond for each in pair) for pair in self._whole()], dtype=np.int64)

    def reading(self) -> ClippedRuns:
        """The flat tops up to now, in order of time."""
        sides = self._whole()
        starts = [np.concatenate((upper.start, lower.start)) for upper, lower in sides]
        return _in_order(starts, [np.concatenate((upper.length, lower.length)) for upper, lower in sides])

    @property
    def height_dbfs(self) -> float:
        """How high the flat tops so far stand, -inf where there are none; of two sides or channels the higher."""
        heights = [float(each.height.max(initial=0.0)) for pair in self._whole() for each in pair]
        return float(db_from_ratio(max(heights, default=0.0)))
