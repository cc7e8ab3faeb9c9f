"""How one recording differs from an earlier one: shift, gain, polarity, sides, and from when to when it is another."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import db_from_power, db_from_ratio
from gainlib.surveys.lags import cross_correlation, rival
from gainlib.surveys.stem import Stopped
from gainlib.surveys.stretches import Stretches

__all__ = ["Likeness", "Passage", "find_likeness"]

Floats = NDArray[np.float64]

_STEP_SECONDS = 0.02  # what changed is told in such steps, then to the sample where the ends of a passage are looked at
_EXCERPTS = 8
_EXCERPT_SECONDS = 0.6
_LOWEST_DBFS = -90.0
_SECOND_PEAK = 0.9  # of the first: a sound that repeats itself does not tell where it lies (common practice)
_NEAR = 0.2  # of its power at least, or no other excerpt is tried
_ALIKE = 0.5  # of an excerpt's power must be the other's, or it is another sound
_AS_BEFORE_DBFS = -80.0  # rounding and dither of 16 bits lie below
_AS_BEFORE_DB = -50.0
_OVER = 10.0  # times the power of what differs everywhere: that is a change of its own
_SAME_GAIN = 1e-5
_MOST_PASSAGES = 200


@dataclass(frozen=True)
class Passage:
    """A passage that is not what it was, in samples and seconds of the later recording.

    `what` is "other" sound; "gone", where only the earlier one sounds; "added", where only the later one does; "level",
    the same sound at another level (`gain_db`); "moved", the same sound `later` samples later than in the earlier one;
    "cut off", what of the earlier one lies before the start or behind the end of the later one.
    `difference_db` is the power of the difference against the louder of the two.
    """

    start: int
    end: int
    seconds: tuple[float, float]
    what: str
    difference_db: float
    gain_db: float = 0.0
    later: int = 0


@dataclass(frozen=True)
class Likeness:
    """What became of a recording; `same` where every sample is what it was.

    It comes `later` samples later (at the later recording's rate), with `gains_db` a channel, `turned` where a
    channel's polarity is; `swapped` where left is right. `null_db` is how far the difference then lies below the sound,
    over what is not in `passages`. Where `all_through` is True the whole is processed, or coded, or mixed anew. `other`
    says that it is another sound, or cannot be laid over the earlier one, and why; the rest then says nothing.
    """

    same: bool = False
    later: int = 0
    gains_db: tuple[float, ...] = ()
    turned: tuple[bool, ...] = ()
    swapped: bool = False
    null_db: float = -math.inf
    passages: tuple[Passage, ...] = ()
    all_through: bool = False
    other: str = ""

    @property
    def moved(self) -> bool:
        """Whether it has changed in any way that is heard or that shifts it."""
        louder = any(abs(each) >= 0.005 for each in self.gains_db)
        ways = (self.other, self.passages, self.all_through, self.later, self.swapped, any(self.turned), louder)
        return any(map(bool, ways))


@dataclass(frozen=True)
class _Match:
    """How the earlier one lies in the later one; `share` of the power is the same."""

    later: int
    swapped: bool
    gains: tuple[float, ...]
    share: float
    sure: bool = True


def find_likeness(
    before: Path,
    after: Path,
    rate_hz: int,
    channels: int,
    *,
    guesses: Iterable[int] = (),
    apart_seconds: float = 1.0,
    stop: Callable[[], bool] = lambda: False,
    tick: Callable[[float], None] = lambda share: None,
) -> Likeness:
    """How the recording `after`, of this rate and number of channels, differs from `before`; both are read twice.

    Memory does not grow but by 100 numbers a second. The shift is looked for over the whole length: first by levels in
    steps of 20 ms, then by correlation of up to eight excerpts; `guesses` are shifts in samples that are tried as well.
    Of two peaks of which the second exceeds 0.9 of the first none is taken, unless the first nulls 10 dB deeper.
    Changes less than `apart_seconds` apart are one passage. Raises GainError for a file that cannot be read, Stopped
    when `stop` says so. The method is this course's own; the shift is where the normalised correlation is largest, its
    sign the polarity (Knapp and Carter, IEEE Trans. ASSP 24 (1976) 320, of which the weighting is left out: *derived*,
    it lifts bins that hold noise alone).

    >>> from gainlib.storage import bundled
    >>> kick = bundled("media/kick.flac")
    >>> find_likeness(kick, kick, 48000, 1).same
    True
    """
    old, new = Stretches(before, rate_hz, channels), Stretches(after, rate_hz, channels)
    if old.own_rate_hz != rate_hz:
        # Both at two thirds of the lower rate, where what converters do near half of theirs is not heard.
        common_hz = max(1, 2 * min(old.own_rate_hz, rate_hz) // 3)
        guesses = [round(each * common_hz / rate_hz) for each in guesses]
        old, new = Stretches(before, common_hz, channels), Stretches(after, common_hz, channels)
        found = _laid(old, new, guesses, apart_seconds, stop, tick)
        return _at_rate(found, rate_hz / common_hz)
    return _laid(old, new, guesses, apart_seconds, stop, tick)


def _at_rate(found: Likeness, times: float) -> Likeness:
    """The same with its samples counted at another rate."""
    passages = [
        replace(each, start=round(each.start * times), end=round(each.end * times), later=round(each.later * times))
        for each in found.passages
    ]
    return replace(found, later=round(found.later * times), passages=tuple(passages), same=False)


def _laid(
    old: Stretches,
    new: Stretches,
    guesses: Iterable[int],
    apart_seconds: float,
    stop: Callable[[], bool],
    tick: Callable[[float], None],
) -> Likeness:
    rate_hz, channels = new.rate_hz, new.channels
    step = max(1, round(_STEP_SECONDS * rate_hz))
    levels = [_levels(each, step, stop, lambda share: tick(0.25 * share)) for each in (old, new)]
    candidates = _candidates(levels[0], levels[1], step)
    candidates += [each for each in dict.fromkeys(guesses) if each not in candidates]
    match = _best(old, new, candidates, _excerpts(levels[0], step, rate_hz), step)
    if match is None:
        silent = [bool((each <= _LOWEST_DBFS).all()) for each in levels]
        if all(silent):
            match = _Match(0, False, (1.0,) * channels, 1.0)
        elif any(silent):
            return Likeness(other="it is silent now" if silent[1] else "it was silent before")
        else:
            return Likeness(other="it is another take or another sound")
    elif not match.sure:
        return Likeness(other="its sound repeats itself, so that where it lies cannot be told")
    sums = _differences(old, new, match, step, stop, lambda share: tick(0.25 * share))
    return _told(old, new, match, sums, candidates, step, apart_seconds)


def _levels(sound: Stretches, step: int, stop: Callable[[], bool], tick: Callable[[float], None]) -> Floats:
    """The level of each step in dBFS, all channels together, not below -90."""
    size = step * max(1, 45_000 // step)
    found = []
    for block in sound.blocks(0, sound.frames, size):
        if stop():
            raise Stopped
        powers = np.einsum("ij,ij->i", block, block)
        found.append(np.add.reduceat(powers, np.arange(0, len(powers), step)) / step)
        tick(len(block) / sound.frames)
    with np.errstate(divide="ignore"):
        decibels: Floats = np.maximum(10.0 * np.log10(np.concatenate(found)), _LOWEST_DBFS).astype(np.float32)
    return decibels


def _candidates(old: Floats, new: Floats, step: int) -> list[int]:
    """Shifts in samples at which the levels go alike, none first: the new one comes so much later."""
    size = 1 << (len(old) + len(new)).bit_length()
    found = [0]
    # By how the levels rise and fall, which is sharp, no step louder than the others; then by how they stand.
    one_rises, other_rises = (np.clip(np.diff(each), -6.0, 6.0) for each in (old, new))
    for one, other, most in ((one_rises, other_rises, 6), (old - old.mean(), new - new.mean(), 2)):
        alike = cross_correlation(np.fft.rfft(one, size), np.fft.rfft(other, size), size, 0, size - 1)
        for _ in range(most):
            at = int(alike.argmax())
            if alike[at] <= 0:
                break
            found.append((at if at < len(new) else at - size) * step)
            alike[np.arange(at - 4, at + 5) % size] = 0.0
    return list(dict.fromkeys(found))


def _excerpts(levels: Floats, step: int, rate_hz: int, start: int = 0, end: int | None = None) -> list[tuple[int, int]]:
    """Up to eight excerpts over the steps that sound, in samples, each around the largest rise of its part."""
    chosen = levels[start:end]
    sounding = np.flatnonzero(chosen > max(_LOWEST_DBFS, float(chosen.max(initial=_LOWEST_DBFS)) - 40.0)) + start
    length = max(1, round(_EXCERPT_SECONDS * rate_hz))
    rises = np.diff(levels, prepend=_LOWEST_DBFS)
    found = []
    for part in np.array_split(sounding, _EXCERPTS):
        if len(part):
            middle = int(part[rises[part].argmax()]) * step
            found.append((max(0, middle - length // 3), middle + length))
    return list(dict.fromkeys(found))


def _best(
    old: Stretches, new: Stretches, candidates: Sequence[int], excerpts: Sequence[tuple[int, int]], step: int
) -> _Match | None:
    """The best of the shifts, to the sample; None where nowhere half of the power of an excerpt is the other's."""
    parts = [(start, old.part(start, end)) for start, end in excerpts]
    parts = [(start, part) for start, part in parts if part.any()]
    best: _Match | None = None
    for candidate in candidates:
        match = _fine(new, parts, candidate, 2 * step)
        if match is not None and (best is None or (match.sure, match.share) > (best.sure, best.share + 1e-4)):
            best = match
            if match.sure and match.share > 1.0 - 1e-4:
                break  # it nulls by 40 dB and stands alone: no other can be better
    return best


def _fine(new: Stretches, parts: Sequence[tuple[int, Floats]], guess: int, around: int) -> _Match | None:
    """The shift around a guess at which most of the parts' power is found again."""
    heard: dict[int, Floats] = {}
    found_shares: dict[int, Floats] = {}
    # Half of them first: where none of these comes near, the others need not be tried.
    for first in (0, 1):
        for index in range(first, len(parts), 2):
            start, part = parts[index]
            heard[index] = new.part(start + guess - around, start + guess + len(part) + around)
            found_shares[index] = _shares(part, heard[index])
        if max((float(each.max()) for each in found_shares.values()), default=0.0) < _NEAR:
            return None
    shares = np.stack([found_shares[index] for index in range(len(parts))])
    # Of the excerpts some may be changed: those that fit best have the word.
    means = np.sort(shares, axis=0)[-max(1, len(parts) // 2) :].mean(axis=0)
    swapped = bool(means[1].max() > means[0].max() + 1e-6) if len(means) == 2 else False
    curve = means[int(swapped)]
    at = _nearest_of_the_highest(curve, around - guess)
    share = float(curve[at])
    found = shares[:, int(swapped), at]
    if float(found.max()) < 0.99 and float(np.median(found)) < _ALIKE:
        return None
    gains = _gains(parts, [heard[index] for index in range(len(parts))], at, swapped, found)
    return _Match(guess + at - around, swapped, gains, share, _stands_alone(curve, at))


def _shares(part: Floats, there: Floats) -> Floats:
    """The share of a part's power that is found at each shift, `(ways, shifts)`: as it is, and with sides swapped."""
    shifts = len(there) - len(part) + 1
    size = 1 << (len(there) - 1).bit_length()
    spectra, others = np.fft.rfft(part, size, axis=0), np.fft.rfft(there, size, axis=0)
    running = np.cumsum(np.vstack((np.zeros((1, there.shape[1])), there * there)), axis=0)
    energies = running[len(part) : len(part) + shifts] - running[:shifts]
    own = (part * part).sum(axis=0)
    least = 1e-12 * max(float(energies.max()), 1e-30)
    ways = [range(there.shape[1])] if there.shape[1] != 2 else [(0, 1), (1, 0)]
    found = []
    for way in ways:
        same = np.zeros(shifts)
        for one, other in enumerate(way):
            product = cross_correlation(spectra[:, one], others[:, other], size, 0, shifts - 1)
            energy = energies[:, other]
            same += np.where(energy > least, product**2 / np.maximum(energy, least), 0.0)
        found.append(np.minimum(same / own.sum(), 1.0))
    return np.stack(found)


def _nearest_of_the_highest(curve: Floats, zero: int) -> int:
    """Of the shifts that fit as well as the best, the one nearest to none."""
    as_good = np.flatnonzero(curve >= curve.max() - 1e-9)
    return int(as_good[np.abs(as_good - zero).argmin()])


def _stands_alone(curve: Floats, at: int) -> bool:
    """Whether the next peak is below 0.9 of the first, as correlations, or the first nulls 10 dB deeper."""
    second = rival(curve, at)
    first = float(curve[at])
    if first - second <= 1e-9:
        return True  # a sound that repeats itself exactly: it is taken as lying where it was
    return second < _SECOND_PEAK**2 * first or 1.0 - first < 0.1 * (1.0 - second)


def _gains(
    parts: Sequence[tuple[int, Floats]], heard: Sequence[Floats], at: int, swapped: bool, shares: Floats
) -> tuple[float, ...]:
    """What each channel of the later one is of the earlier one's, by the excerpts that null deepest."""
    rest = 1.0 - shares
    clear = np.flatnonzero(rest <= 10.0 * max(float(rest.min()), 1e-9))
    found: list[list[float]] = []
    channels = parts[0][1].shape[1]
    for index in clear.tolist():
        part = parts[index][1][:, ::-1] if swapped else parts[index][1]
        there = heard[index][at : at + len(part)]
        own = (part * part).sum(axis=0)
        least = 1e-9 * float(own.max())
        found.append([float(part[:, each] @ there[:, each] / own[each]) if own[each] > least else math.nan
                      for each in range(channels)])  # fmt: skip
    gains = []
    for each in zip(*found, strict=True):
        known = [gain for gain in each if math.isfinite(gain)]
        gain = float(np.median(known)) if known else math.nan
        gains.append(math.copysign(1.0, gain) if abs(abs(gain) - 1.0) < _SAME_GAIN else gain)
    # A channel that is silent there goes with the others.
    other = next((gain for gain in gains if math.isfinite(gain)), 1.0)
    return tuple(gain if math.isfinite(gain) and abs(gain) > 1e-6 else other for gain in gains)


def _laid_over(
    old: Stretches, new: Stretches, match: _Match, start: int, end: int, size: int
) -> Iterable[tuple[Floats, Floats]]:
    """The earlier one as it should be in the later one, and the later one, block by block."""
    gains = np.array(match.gains)
    befores, afters = old.blocks(start - match.later, end - match.later, size), new.blocks(start, end, size)
    for before, after in zip(befores, afters, strict=True):
        yield (before[:, ::-1] if match.swapped else before) * gains, after


def _differences(
    old: Stretches, new: Stretches, match: _Match, step: int, stop: Callable[[], bool], tick: Callable[[float], None]
) -> Floats:
    """Sums over each step `(4, steps)`: the difference, before, after, squared; before times after."""
    start, end = _span(old, new, match)
    size = step * max(1, 45_000 // step)
    found = []
    for before, after in _laid_over(old, new, match, start, end, size):
        if stop():
            raise Stopped
        apart = after - before
        edges = np.arange(0, len(after), step)
        found.append(
            np.stack(
                [
                    np.add.reduceat(np.einsum("ij,ij->i", one, other), edges)
                    for one, other in ((apart, apart), (before, before), (after, after), (before, after))
                ]
            )
        )
        tick(2.0 * len(after) / max(1, end - start))
    return np.concatenate(found, axis=1)


def _span(old: Stretches, new: Stretches, match: _Match) -> tuple[int, int]:
    return min(0, match.later), max(new.frames, old.frames + match.later)


def _told(
    old: Stretches, new: Stretches, match: _Match, sums: Floats, candidates: Sequence[int], step: int,
    apart_seconds: float,
) -> Likeness:  # fmt: skip
    apart, before, after, _ = sums
    both = before + after
    sounds = both > 0
    gains_db = tuple(db_from_ratio(abs(each)) for each in match.gains)
    turned = tuple(each < 0 for each in match.gains)
    plain = not match.later and not match.swapped and all(gain == 1.0 for gain in match.gains)
    made_anew = old.own_rate_hz != new.own_rate_hz
    if not apart.any():
        return Likeness(plain and not made_anew, match.later, gains_db, turned, match.swapped)
    limit = _limits(apart, both, sounds, step * new.channels, made_anew)
    changed = apart > limit
    kept = sounds & ~changed
    heard = both > 1e-4 * both.max()
    # All of it, or half of it and the rest not as it was either.
    share = float(changed[heard].mean())
    all_through = share > 0.9 or (share > 0.5 and bool((apart > 1e-9 * both)[heard & kept].mean() > 0.5))
    within = sounds if all_through else kept
    null_db = db_from_power(float(apart[within].sum() / max(float(after[within].sum()), 1e-300)))
    if all_through:
        return Likeness(False, match.later, gains_db, turned, match.swapped, null_db, (), True)
    start, _ = _span(old, new, match)
    found = []
    for first, last in _runs(changed, max(1, round(apart_seconds * new.rate_hz / step)))[:_MOST_PASSAGES]:
        where = (start + first * step, start + last * step)
        found.append(_passage(old, new, match, sums[:, first:last], limit[first:last], where, candidates, step))
    return Likeness(False, match.later, gains_db, turned, match.swapped, null_db, tuple(found))


def _limits(apart: Floats, both: Floats, sounds: NDArray[np.bool_], samples: int, made_anew: bool) -> Floats:
    """Above which power of the difference a step has changed: well above what differs everywhere, as rounding does.

    Of what was converted to another rate as much may differ as anywhere is taken for rounding.
    """
    floor, share = samples * 0.5 * 10 ** (_AS_BEFORE_DBFS / 10), 10 ** (_AS_BEFORE_DB / 10)
    if not made_anew:
        floor = min(floor, float(np.median(apart[sounds])))
        share = min(share, float(np.median(apart[sounds] / both[sounds])))
    # Of single precision, where a gain was taken in it, no more than that is left.
    limits: Floats = _OVER * np.maximum(floor, share * both) + (1e-13 * both if floor else 0.0)
    return limits


def _runs(changed: NDArray[np.bool_], apart: int) -> list[tuple[int, int]]:
    """From which step to which they changed; those with fewer than `apart` steps between them are one run."""
    at = np.flatnonzero(changed)
    if not len(at):
        return []
    cuts = np.flatnonzero(np.diff(at) > apart)
    return list(zip(at[np.concatenate(([0], cuts + 1))].tolist(), (at[np.concatenate((cuts, [-1]))] + 1).tolist(),
                    strict=True))  # fmt: skip


def _passage(
    old: Stretches, new: Stretches, match: _Match, sums: Floats, limit: Floats, where: tuple[int, int],
    candidates: Sequence[int], step: int,
) -> Passage:  # fmt: skip
    start = _first_of(old, new, match, where[0], where[0] + step, float(limit[0]), 1)
    end = _first_of(old, new, match, where[1] - step, where[1], float(limit[-1]), -1)
    apart, before, after, product = (float(each) for each in sums.sum(axis=1))
    if end - start <= 4 * new.rate_hz:  # to the sample, where that is held at once
        one, other = next(iter(_laid_over(old, new, match, start, end, end - start)))
        apart, before, after = (float((each**2).sum()) for each in (other - one, one, other))
        product = float((one * other).sum())
    difference_db = db_from_power(apart / max(before, after, 1e-300))
    what, gain_db, later = "other", 0.0, 0
    if end <= 0 or start >= new.frames:
        what = "cut off"
    elif after <= 1e-9 * before:
        what = "gone"
    elif before <= 1e-9 * after:
        what = "added"
    elif product > 0 and after - product**2 / before <= min(1e-3 * after, 0.1 * apart):
        what, gain_db = "level", db_from_ratio(product / before)
    elif end - start >= new.rate_hz:
        moved = _moved(old, new, start, end, [each for each in candidates if each != match.later], step)
        if moved is not None and moved.later != match.later:
            what, later = "moved", moved.later
    seconds = (max(0, start) / new.rate_hz, max(0, end) / new.rate_hz)
    return Passage(start, end, seconds, what, difference_db, gain_db, later)


def _first_of(
    old: Stretches, new: Stretches, match: _Match, start: int, end: int, limit: float, way: int
) -> int:  # fmt: skip
    """The first sample of a step that changed, or with `way` -1 the one after its last."""
    one, other = next(iter(_laid_over(old, new, match, start, end, end - start)))
    heights = np.abs(other - one).max(axis=1)
    at = np.flatnonzero(heights > 1.5 * math.sqrt(limit / one.size))
    if not len(at):
        return start if way == 1 else end
    return start + int(at[0]) if way == 1 else start + int(at[-1]) + 1


def _moved(
    old: Stretches, new: Stretches, start: int, end: int, candidates: Sequence[int], step: int
) -> _Match | None:  # fmt: skip
    """Whether a passage of the later one stands elsewhere in the earlier one, sample for sample or nearly."""
    length = min(end - start, round(_EXCERPT_SECONDS * new.rate_hz))
    middles = sorted({start + (end - start - length) * each // 4 for each in range(5)})
    parts = [(at, part) for at in middles if (part := new.part(at, at + length)).any()]
    for candidate in candidates:
        # Looked for the other way round: where in the earlier one is what the later one has here?
        match = _fine(old, parts, -candidate, 2 * step)
        if match is not None and match.share > 0.999 and match.sure:
            return _Match(-match.later, match.swapped, (), match.share)
    return None
