"""Stems against each other: opposite polarity, lengths and starts that do not match."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import db_from_power
from gainlib.sound_file import SoundFile
from gainlib.surveys.lags import find_lag, shape_of_spectra, spectra_of
from gainlib.surveys.stem import Stem
from gainlib.text import counted, spaced

__all__ = ["Related", "commonest", "find_mismatches", "find_related"]

_ALL_PAIRS = 24  # of more stems only those that stand near each other in order of name are compared
_NEAR = 4
_LAG_MS = 200
_READ = 65_536
_ALIKE, _SURE = 0.5, 0.7
_SECOND_SHARE = 0.9  # common practice: of a held note the next period is as like
_TWIN_DB = -20.0
_MARGIN = 0.1  # a low note is as like itself half a period away: then nothing is said
_SAME_LENGTH = 0.05
_LONGEST = 600_000
_LEAST_SECONDS = 2.0
_RATE_GRACE = 2e-4


@dataclass(frozen=True)
class Related:
    """Two stems that hold one sound: how alike, how the second stands to the first.

    `correlation` is below 0 for opposite polarity; `later_ms` how far the second comes later; `null_db` how far what is
    left of their difference, at the best gain `gain_db` of the second, lies below the second, -inf for the same
    samples, and None where that is little; `swapped` whether left and right stand the other way round.
    """

    one: str
    other: str
    correlation: float
    later_ms: float
    null_db: float | None = None
    gain_db: float = 0.0
    swapped: bool = False


def find_related(
    stems: Sequence[Stem], opposite: float, tick: Callable[[float], object] = lambda share: None
) -> tuple[Related, ...]:
    """The pairs of stems that hold one sound: in opposite polarity, once more, late, or with swapped sides.

    Looked for below 500 Hz, within 200 ms either way and in the first ten minutes, between stems of 2 s and more whose
    lengths are within a twentieth, as those of one recording are; up to 24 stems each with each, of more each with the
    four that follow it in order of name. A likeness counts from a correlation of 0.5 on, an opposite one from
    `opposite` down, a late one from 0.7 on. `tick` hears what share of the pairs is done. The method is this course's
    own.

    >>> find_related((), -0.5)
    ()
    """
    heard = [each for each in stems if not each.silent and len(each.envelope) >= 1000 * _LEAST_SECONDS]
    spectra: dict[str, NDArray[np.complex64]] = {}
    found = []
    pairs = list(_pairs(heard))
    for done, (one, other) in enumerate(pairs):
        tick(done / len(pairs))
        if one.rate_hz != other.rate_hz or abs(one.seconds / other.seconds - 1.0) > _SAME_LENGTH:
            continue
        correlation, later_ms = _strongest(one, other, spectra)
        related = Related(one.name, other.name, correlation, later_ms, *_null(one, other, correlation, later_ms))
        if abs(correlation) >= _ALIKE and len(one.apart) and len(other.apart):
            apart, _ = _strongest(one, other, {}, sides=True)
            related = dataclasses.replace(related, swapped=apart * math.copysign(1.0, correlation) <= -_SURE)
        told = correlation <= opposite or related.null_db is not None or related.swapped
        if told or (correlation >= _SURE and later_ms):
            found.append(related)
    return tuple(found)


def _pairs(stems: Sequence[Stem]) -> Iterator[tuple[Stem, Stem]]:
    if len(stems) <= _ALL_PAIRS:
        yield from itertools.combinations(stems, 2)
        return
    for index, one in enumerate(stems):
        for other in stems[index + 1 : index + 1 + _NEAR]:
            yield one, other


def _strongest(
    one: Stem, other: Stem, spectra: dict[str, NDArray[np.complex64]], *, sides: bool = False
) -> tuple[float, float]:
    """The correlation of largest size within 200 ms, and by how many the second comes later.

    0 where another is nearly as large: of the other sign by a tenth, or of either, away from its own slopes, by 0.9.
    """
    count = min(len(one.envelope), len(other.envelope), _LONGEST)
    lag = find_lag(_spectra(one, count, spectra, sides), _spectra(other, count, spectra, sides), _LAG_MS)
    best = abs(lag.correlation)
    if best - lag.opposite < _MARGIN or (lag.later and lag.rival > _SECOND_SHARE * best):
        return 0.0, 0.0
    return lag.correlation, float(lag.later)


def _spectra(stem: Stem, count: int, known: dict[str, NDArray[np.complex64]], sides: bool) -> NDArray[np.complex64]:
    """Made once for all stems of about one length."""
    if stem.name in known and known[stem.name].shape == shape_of_spectra(count):
        return known[stem.name]
    known[stem.name] = spectra_of(stem.apart if sides else stem.envelope, count)
    return known[stem.name]


def _null(one: Stem, other: Stem, correlation: float, later_ms: float) -> tuple[float | None, float]:
    """How deep the second nulls against the first at the best gain, and that gain; read from the files.

    None where it is less than 20 dB, and where the two do not start at once.
    """
    same = later_ms == 0.0 and correlation > 0.98 and (one.channels, one.frames) == (other.channels, other.frames)
    if not same:
        return None, 0.0
    sums = np.zeros(3)
    alike = True
    with SoundFile(one.path) as first, SoundFile(other.path) as second:
        for mine, theirs in zip(first.blocks(_READ), second.blocks(_READ), strict=False):
            alike = alike and np.array_equal(mine, theirs)
            a, b = mine.ravel().astype(np.float64), theirs.ravel().astype(np.float64)
            sums += a @ a, a @ b, b @ b
    if alike:
        return -math.inf, 0.0
    null_db = float(db_from_power(max(1e-15, 1.0 - sums[1] ** 2 / (sums[0] * sums[2]))))
    return (null_db, float(db_from_power(sums[2] / sums[0]))) if null_db <= _TWIN_DB else (None, 0.0)


def commonest(values: Sequence[float]) -> float:
    """The value that most have, of several as common the largest.

    >>> commonest([1.0, 2.0, 2.0, 1.0])
    2.0
    """
    counts = Counter(values)
    return max(counts, key=lambda value: (counts[value], value))


def find_mismatches(stems: Sequence[Stem]) -> Iterator[tuple[Stem, str, str]]:
    """Each stem whose rate, length or start is not that of most: the stem, which of the three, a sentence.

    Of stems at one rate a single sample is told, where most have the same number of them; else a millisecond. Where no
    value is that of more than half, they are not of one session and nothing is told. Of two that differ the shorter,
    the earlier, the lower one is told.

    >>> list(find_mismatches(()))
    []
    """
    if len(stems) < 2:
        return
    rate = _of_most([float(each.rate_hz) for each in stems])
    exact = _of_most([each.seconds for each in stems])
    length = _of_most([round(each.seconds, 3) for each in stems]) if exact is None else exact
    start = _of_most([each.starts_at / each.rate_hz for each in stems if each.starts_at is not None])
    for each in stems:
        if rate is not None and each.rate_hz != rate:
            yield each, "rate", f"its rate is {spaced(each.rate_hz)} Hz, that of most is {spaced(rate)} Hz"
        difference = 0.0 if length is None else each.seconds - length
        least = 0.001 if exact is None or each.rate_hz != rate else 0.5 / each.rate_hz
        if abs(difference) >= least:
            more = "longer" if difference > 0 else "shorter"
            samples = counted(round(abs(difference) * each.rate_hz), "sample")
            by = _duration(abs(difference)) if abs(difference) >= 0.001 else samples
            said = f"it is {by} {more} than most ({length:.3f} s)"
            yield each, "length", said + _as_another_rate(each.seconds, length or 0.0)
        if start is not None and each.starts_at is not None:
            off = each.starts_at / each.rate_hz - start
            if abs(off) >= 0.5 / each.rate_hz:
                way = "later" if off > 0 else "earlier"
                yield each, "start", f"its header says that it starts {_duration(abs(off))} {way} than most"


def _of_most(values: Sequence[float]) -> float | None:
    """The value that more than half have, of two the larger, None where there is none."""
    if not values:
        return None
    value = commonest(values)
    return value if len(values) == 2 or 2 * values.count(value) > len(values) else None


def _as_another_rate(seconds: float, usual: float) -> str:
    """What rate the header may have wrong, where the length is just that much off."""
    for really, named in itertools.permutations((44_100, 48_000, 88_200, 96_000), 2):
        if abs(seconds * named - usual * really) < _RATE_GRACE * usual * really:
            return f", just as if sound of {really / 1000:g} kHz were labelled {named / 1000:g} kHz"
    return ""


def _duration(seconds: float) -> str:
    return f"{seconds:.3f} s" if seconds < 60 else f"{seconds / 60:.1f} min"
