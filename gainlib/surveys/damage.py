"""What an ear finds first in one recording: drop-outs, frozen and repeated blocks, clicks, sound that is cut off."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Samples
from gainlib.decibels import db_from_ratio, ratio_from_db

__all__ = ["Damage", "DamageMeter"]

Kind = Literal["drop-out", "frozen", "repeated", "click", "cut"]

_RUN_SECONDS = 0.001
"""A value that stands still so long is no wave: above a few hertz none does, bar silence and clipped tops."""
_WIDE_SECONDS = 0.05
_TORN_SHARE = 0.1
"""A wave is torn where it stops at a tenth and more of its RMS over 50 ms; the last sample of any fade is far lower."""
_EDGE_SECONDS, _EDGE_DB, _EDGE_LEAST_DBFS = 0.0005, -6.0, -50.0
_LEAST_VALUES, _COARSE_STEP = 64, 2.0**-11
_SOUNDING_DBFS = -60.0
_BACK_DB = -20.0
_SLOPE_SECONDS, _SLOPE_SHARE = 0.0005, 0.4
"""A wave that stops on its zero crossing is as steep up to there as it was, where a fade of a millisecond flattens."""
_HELD_SHARE, _LONGEST_CREST_SECONDS = 0.03, 0.025
"""Nothing but a freeze keeps a wave at a value that is not zero and lets it go on through that, or for 25 ms."""
_HARD_SHARE, _LESS_STEEP_SHARE = 0.3, 0.2
"""Where the sound comes back so hard, it need be but so steep before: no fade is."""
_ON_SECONDS, _LEAST_STEEP_SHARE = 0.5, 0.05
"""Less steep yet where it had gone on so long without a rest: beats and staccato notes rest more often."""
_SWING_LIKENESS, _SWING_DB, _SWING_REST_DB = 0.9, 2.0, -12.0
"""A wave that lies flat where it ends was cut off there, if it is as high as a period before, and does not rest there.
A fade of 3 ms and more leaves it lower."""
_LONGEST_SMOOTH_SECONDS = 0.1
"""Between two zero crossings a longer silence may be a rest between tones that were made to begin and end there."""
_LONGEST_GAP_SECONDS = 3.5  # after Mühlbauer's upper bound for gaps: what is longer is a pause, or the end

_BUFFERS = (64, 96, 128, 192, 256, 441, 480, 512, 882, 960, 1024, 2048, 4096)
_LAGS = np.array(_BUFFERS)
_STRIDE = 16

_ISOLATED_SECONDS = 0.03
_LOW_RATE_HZ = 16_000
_LEAST_BEND = 1e-3
_CLICK_SIGMA, _CLICK_ALONE, _ONE_SIDED = 14.0, 0.5, 0.01
_CLICK_LEFT = 0.08
"""Without a click's few samples hardly any of the error is left; a hit, a plosive and the pulse of a voice go on."""
_ORDER = 24
_APART = np.abs(np.subtract.outer(np.arange(_ORDER), np.arange(_ORDER)))
_CONTEXT = 12_288
_MOST_KEPT = 2000


@dataclass(frozen=True)
class _Clicks:
    """How clicks are looked for at one rate: what changes within milliseconds, as speech does, leaves few samples.

    In windows of `width`, of which one bends `times` as sharply as those around; within `reach` lies the sound that is
    to lead to the samples within `hole` of the click's middle, of which at most `widest` are off: a pulse of a voice is
    four samples wide at 8 kHz.
    """

    width: int
    times: float
    reach: int
    hole: int
    widest: int

    @classmethod
    def at(cls, rate_hz: int) -> _Clicks:
        return cls(64, 1.6, 384, 5, 3) if rate_hz < _LOW_RATE_HZ else cls(256, 8 / 3, 768, 8, 4)


@dataclass(frozen=True)
class Damage:
    """One damaged place: what it is, its first sample, how many samples, which channel (from 0).

    For a click `size_db` is how far it stands above the sample that the sound around it leads to expect.
    """

    kind: Kind
    start: int
    length: int
    channel: int
    size_db: float = 0.0


def _level(samples: NDArray[np.floating]) -> float:
    """The RMS of a stretch about its mean: an offset is no sound."""
    return _rms(samples - samples.mean()) if len(samples) else 0.0


def _rms(samples: NDArray[np.floating]) -> float:
    return float(np.sqrt(np.dot(samples, samples) / len(samples))) if len(samples) else 0.0


@dataclass(frozen=True)
class _Edge:
    """The sound on one side of a run: its level, how far its nearest sample stands above the run's value, how steep."""

    level: float = 0.0
    above: float = 0.0
    steepness: float = 0.0
    in_swing: bool = False

    @property
    def jump(self) -> float:
        return abs(self.above)

    @property
    def torn(self) -> bool:
        return self.jump >= _TORN_SHARE * self.level

    @property
    def steep(self) -> bool:
        return self.steepness >= _SLOPE_SHARE or self.in_swing

    @classmethod
    def of(cls, sound: NDArray[np.floating], value: float, nearest: int) -> _Edge:
        """Of the samples beside a run, the nearest one last; so many of them tell how steep it is."""
        if not len(sound):
            return cls()
        bends = np.diff(sound, append=value)
        whole = _rms(bends)
        steepness = _rms(bends[-nearest:]) / whole if len(sound) > 2 * nearest and whole > 0.0 else 0.0
        edge = cls(_level(sound), float(sound[-1]) - value, steepness)
        if edge.level < ratio_from_db(_SOUNDING_DBFS) or edge.torn or edge.steep:
            return edge
        return replace(edge, in_swing=_in_swing(sound))


def _in_swing(sound: NDArray[np.floating]) -> bool:
    """Whether sound is up to its end, its last sample, what it was a period before; a fade of 3 ms and more is not."""
    width = len(sound) // 5
    nearest, longest = width // 4, len(sound) // 2
    if nearest < 8:
        return False
    sound = sound.astype(np.float64) - sound.mean()
    last = sound[-width:]
    # The latest first: a lag of one sample, of two, and so on.
    before = np.lib.stride_tricks.sliding_window_view(sound[-width - longest : -1], width)[::-1]
    powers = np.einsum("wn,wn->w", before, before)
    alike = before @ last / np.sqrt(powers * np.dot(last, last) + 1e-30)
    turned = alike < 0.0
    if not turned.any():
        return False
    turn = int(turned.argmax())
    best = turn + int(alike[turn:].argmax())
    if alike[best] < _SWING_LIKENESS:
        return False
    end, was = last[-nearest:], before[best][-nearest:]
    if _rms(end) < _rms(last) * ratio_from_db(_SWING_REST_DB):
        return False
    most = ratio_from_db(_SWING_DB)
    return all(a <= most * b and b <= most * a for a, b in ((_rms(last), _rms(before[best])), (_rms(end), _rms(was))))


def _stands_still(before: NDArray[np.floating], value: float, jump: float) -> bool:
    """Whether words of so few bits, in whatever file, stay at this value by themselves, as on one of their steps.

    So does sound that is held for several samples each.
    """
    if np.count_nonzero((before[1:] == before[:-1]) & (before[1:] != 0.0)) > len(before) / 2:
        return True
    values = np.unique(before)
    step = float(np.diff(values).min()) if len(values) > 1 else 0.0
    if value == 0.0:
        return step > _COARSE_STEP and jump < 3.0 * step
    return len(values) < _LEAST_VALUES or step > _COARSE_STEP


class DamageMeter:
    """The damage in a stream: `push` each block `(n, channels)`, ask `reading` at its end.

    A *drop-out* is a stretch of 1 ms to 3.5 s at one value (zero, or frozen at another) that tears a wave in the
    middle: the last sample before it stands a tenth and more of the sound's RMS away (behind a fade it does not), or
    the sound is as steep up to there as it was, or as high as a period before, and ends torn or, within 0.1 s, just so
    without turning back (frozen at another value, a tenth as steep will do, and longer than 25 ms also on a crest); or
    it is half as steep, or an eighth where nothing rested for 0.5 s, and comes back with a jump of 0.3 of its RMS; and
    the sound goes on afterwards. A *repeated* block is a stretch of one of the usual buffer lengths that equals, bit
    for bit, the one before it, and neither more nor less than that. A *click* is up to 4 samples (3 below 16 kHz) that
    a prediction from both sides (24 coefficients) misses by 14 times what it misses around, and without which 0.92 of
    the power of what it misses there is gone, alone within 30 ms. A *cut* is sound that stops in the middle of a wave,
    torn, steep or as high as a period before, and is followed by nothing but digital silence, or by the end of the
    file, or that is there in full with the file's first sample and does not rise from zero there. Sound each of whose
    samples is held for several stands still by itself and is none of these. All bounds are this course's own; the
    benchmark of faults prints how often each is right.
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._rate_hz, self._channels = rate_hz, channels
        self._least = max(16, round(_RUN_SECONDS * rate_hz))
        self._wide = max(32, round(_WIDE_SECONDS * rate_hz))
        self._steep = max(8, round(_SLOPE_SECONDS * rate_hz))
        self._edge = max(4, round(_EDGE_SECONDS * rate_hz))
        self._search = _Clicks.at(rate_hz)
        self._recent: NDArray[np.floating] = np.empty((channels, 0), dtype=np.float32)
        self._samples = 0
        self._looked = 0
        self._found: list[Damage] = []
        # The run that goes on: first sample, value, and what was heard just before it.
        self._open: list[tuple[int, float, _Edge] | None] = [None] * channels
        self._rested = [0] * channels
        """Up to which sample nothing but a rest was heard last."""
        self._first: NDArray[np.floating] | None = None
        self._tops = np.zeros(channels)

    def take(self, block: Samples, peaks: Samples | None = None) -> None:
        """The next samples, finite; `peaks` are the largest of each channel, where they are known."""
        rows = np.ascontiguousarray(block.T)
        if self._first is None:
            self._first = rows[:, : self._wide].copy()
        stretch = np.concatenate((self._recent, rows), axis=1) if self._recent.shape[1] else rows
        self._samples += len(block)
        np.maximum(self._tops, np.abs(rows).max(axis=1) if peaks is None else peaks, out=self._tops)
        self._look(stretch, self._samples - self._wide)
        self._recent = stretch[:, -_CONTEXT:].copy()

    def _look(self, stretch: NDArray[np.floating], until: int) -> None:
        """Look at what lies from the sample looked at last up to `until`."""
        if until <= self._looked:
            return
        base = self._samples - stretch.shape[1]
        for index, channel in enumerate(stretch):
            self._runs(channel, base, index, until)
            self._repeats(channel, base, index, until)
            self._clicks(channel, base, index, until)
        self._looked = until

    def _add(self, damage: Damage) -> None:
        if len(self._found) < _MOST_KEPT:
            self._found.append(damage)

    # Runs of one value

    def _runs(self, channel: NDArray[np.floating], base: int, index: int, until: int) -> None:
        starts, ends = loops.constant_runs(channel, self._least)
        open_ = self._open[index]
        self._open[index] = None
        for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
            first, value = start + base, float(channel[start])
            sound = channel[max(0, start - self._wide) : start]
            before = _Edge.of(sound, value, self._steep)
            if _stands_still(sound, value, before.jump):
                before = _Edge()
            if open_ is not None and start <= max(0, open_[0] - base) and open_[1] == value:
                first, value, before = open_
            if end == len(channel) or end + base > until:
                if self._open[index] is None:
                    self._open[index] = (first, value, before)
            elif end + base > self._looked:
                after = _Edge.of(channel[end : end + self._wide][::-1], value, self._steep)
                self._judge(index, first, end + base, value, before, after)
                self._rested[index] = end + base

    def _judge(self, index: int, first: int, end: int, value: float, before: _Edge, after: _Edge) -> None:
        sounding = ratio_from_db(_SOUNDING_DBFS)
        if before.level < sounding:
            return
        # A wave that freezes stands still where it was, and is torn where it goes on.
        torn = before.torn or (value != 0.0 and after.jump >= _TORN_SHARE * before.level)
        length, sounds_on = end - first, after.level >= before.level * ratio_from_db(_BACK_DB)
        if length > _LONGEST_GAP_SECONDS * self._rate_hz:
            if (torn or before.steep) and value == 0.0:
                self._add(Damage("cut", first, 0, index, float(db_from_ratio(before.level))))
        elif torn:
            if sounds_on or (after.level >= sounding and (after.torn or before.steep)):
                self._add(Damage("frozen" if value else "drop-out", first, length, index, abs(value)))
        elif after.level >= sounding:
            short = length <= _LONGEST_SMOOTH_SECONDS * self._rate_hz
            # Where it comes back hard it tore, also where it is soft there.
            hard = after.jump >= _HARD_SHARE * after.level and (sounds_on or before.steep)
            # A wave that turns back where it stands still was clipped there, but for longer than half a wave that one
            # hears; one that goes on through it was held.
            crest = value != 0.0 and before.above * after.above >= 0.0
            through = not crest or length > _LONGEST_CREST_SECONDS * self._rate_hz
            held = value != 0.0 and min(before.steepness, after.steepness) >= _HELD_SHARE
            soft = after.torn or (short and through and (after.steep or held))
            went_on = short and first - self._rested[index] >= _ON_SECONDS * self._rate_hz
            steep = before.steepness >= (_LEAST_STEEP_SHARE if went_on else _LESS_STEEP_SHARE)
            if (hard and steep) or (sounds_on and (before.steep or held) and soft):
                self._add(Damage("frozen" if value else "drop-out", first, length, index, abs(value)))

    # Blocks that come twice

    def _repeats(self, channel: NDArray[np.floating], base: int, index: int, until: int) -> None:
        lows = max(0, self._looked - base - max(_BUFFERS))
        part = channel[lows:]
        for number, middle in loops.repeated_stretches(part, _LAGS, _STRIDE).tolist():
            lag = _BUFFERS[number]
            start, end = _grown(part, middle, lag)
            if not lag <= end - start < 2.2 * lag or end + lows + base <= self._looked or end + lows + base > until:
                continue
            block = part[start:end]
            if _rms(block) < ratio_from_db(_SOUNDING_DBFS) or len(np.unique(block[:lag])) < lag // 4:
                continue
            if self._found and self._found[-1].kind == "repeated" and self._found[-1].start == start + lows + base:
                continue
            self._add(Damage("repeated", start + lows + base, end - start, index))

    # Clicks

    def _clicks(self, channel: NDArray[np.floating], base: int, index: int, until: int) -> None:
        search, width = self._search, self._search.width
        margin = search.reach + width
        low = max(0, self._looked - base - margin)
        high = min(len(channel), until - base + self._wide)
        part = channel[low:high]
        apart = max(2, round(_ISOLATED_SECONDS * self._rate_hz / width))
        for window in loops.sharp_bends(part, width, apart, search.times, _LEAST_BEND).tolist():
            # The sharpest bend of the window, by its middle sample.
            bent = part[window * width : (window + 1) * width + 2]
            at = int(np.abs(bent[2:] - 2 * bent[1:-1] + bent[:-2]).argmax()) + window * width + 1
            where = at + low + base
            if not self._looked - 48 <= where < until - 48:
                continue
            found = _click(channel, at + low, search)
            if found is not None:
                start, length, size_db = found
                if any(
                    each.kind == "click" and each.channel == index and abs(each.start - start - base) < 16
                    for each in self._found[-4:]
                ):
                    continue
                self._add(Damage("click", start + base, length, index, size_db))

    def reading(self) -> list[Damage]:
        """All that was found, in order of time; asked once, after the last block."""
        self._look(self._recent, self._samples)
        for index, channel in enumerate(self._recent):
            open_ = self._open[index]
            sounding = ratio_from_db(_SOUNDING_DBFS)
            if open_ is not None:
                first, value, before = open_
                if value == 0.0 and before.level >= sounding and (before.torn or before.steep):
                    self._add(Damage("cut", first, 0, index, float(db_from_ratio(before.level))))
            elif self._is_full(channel[-self._wide :], 4 * self._edge):
                self._add(Damage("cut", self._samples, 0, index, _level_dbfs(channel[-self._wide :])))
            if self._first is not None and self._is_full(self._first[index][::-1], self._edge):
                self._add(Damage("cut", 0, 0, index, _level_dbfs(self._first[index])))
        # What stands still at the channel's own height is a clipped top, and told as such.
        found = [
            each for each in self._found if each.kind != "frozen" or each.size_db < 0.97 * self._tops[each.channel]
        ]
        return sorted(found, key=lambda each: (each.start, each.channel))

    def _is_full(self, edge: NDArray[np.floating], near: int) -> bool:
        """Whether 50 ms up to an edge of the file, the edge last, sound on through its last `near`, and tear there."""
        if len(edge) < self._wide:
            return False
        level, last = _level(edge), _rms(edge[-near:] - edge.mean())
        if level < ratio_from_db(_EDGE_LEAST_DBFS):
            return False
        if last < level * ratio_from_db(_EDGE_DB):
            return _in_swing(edge)
        beside = _Edge.of(edge, 0.0, self._steep)
        return beside.torn or beside.steep


def _level_dbfs(samples: NDArray[np.floating]) -> float:
    return float(db_from_ratio(_level(samples)))


def _grown(part: NDArray[np.floating], at: int, lag: int) -> tuple[int, int]:
    """How far samples equal those `lag` before them, on both sides of one place."""
    at = min(at, len(part) - 1)
    reach = int(2.5 * lag)
    low, high = max(lag, at - reach), min(len(part), at + reach)
    alike = part[low:high] == part[low - lag : high - lag]
    middle = at - low
    if not alike[middle]:
        return at, at
    back = ~alike[: middle + 1][::-1]
    forward = ~alike[middle:]
    start = middle + 1 - (int(back.argmax()) if back.any() else middle + 1)
    end = middle + (int(forward.argmax()) if forward.any() else len(forward))
    return start + low, end + low


def _click(channel: NDArray[np.floating], at: int, search: _Clicks) -> tuple[int, int, float] | None:
    """A few samples near one place that the sound on both sides does not lead to expect: where, how many, how far."""
    low, high = max(0, at - search.reach), min(len(channel), at + search.reach)
    if at - low < 128 or high - at < 128:
        return None
    around = channel[low:high].astype(np.float64)
    middle = at - low
    hole = slice(max(0, middle - search.hole), middle + search.hole + 1)
    known = around.copy()
    known[hole] = 0.0
    lags = np.array([np.dot(known[: len(known) - lag], known[lag:]) for lag in range(_ORDER + 1)])
    if lags[0] <= 0.0:
        return (at, 1, 99.0) if abs(around[middle]) > ratio_from_db(-60.0) else None
    lags[0] *= 1.0 + 1e-9
    kernel = np.concatenate(([1.0], -np.linalg.solve(lags[_APART], lags[1:])))
    error = np.convolve(around, kernel)[: len(around)]
    within = error[hole.start : hole.stop + _ORDER]
    outside = np.abs(np.concatenate((error[_ORDER : hole.start], error[hole.stop + _ORDER :])))
    if len(within) < hole.stop - hole.start + _ORDER or len(outside) < 200:
        return None
    if outside.max() > _CLICK_ALONE * np.abs(within).max():
        return None
    sides = _rms(error[: hole.start][-search.width :]), _rms(error[hole.stop + _ORDER :][: search.width])
    if min(sides) < _ONE_SIDED * max(sides):
        return None
    # Of all neighbours in the hole those without which least of the error is left, and by how much each is off.
    weights = np.correlate(kernel, kernel, "full")[_ORDER : _ORDER + search.widest]
    pulls = np.lib.stride_tricks.sliding_window_view(np.correlate(within, kernel), search.widest)
    off = np.linalg.solve(weights[_APART[: search.widest, : search.widest]], pulls.T).T
    first = int((pulls * off).sum(axis=1).argmax())
    if np.dot(pulls[first], off[first]) < (1.0 - _CLICK_LEFT) * np.dot(within, within):
        return None
    sizes = np.abs(off[first])
    step = max(1.4826 * float(np.median(outside)), 2.0**-20)
    top = float(sizes.max())
    if top < _CLICK_SIGMA * step:
        return None
    wide = np.flatnonzero(sizes > 0.25 * top)
    start = hole.start + low + first + int(wide[0])
    return start, int(wide[-1] - wide[0] + 1), float(db_from_ratio(top / step))
