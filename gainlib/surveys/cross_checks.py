"""Stems against each other: opposite polarity, lengths and starts that do not match."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gainlib.surveys.stem import Stem

__all__ = ["Opposed", "commonest", "find_mismatches", "find_opposed"]

_ALL_PAIRS = 24  # of more stems only those that stand near each other in order of name are compared
_NEAR = 4
_LAG_MS = 5  # two microphones on one source stand less than 2 m apart
_MARGIN = 0.1  # a low note is as like itself half a period away: then nothing is said
_SAME_LENGTH = 0.05
_LONGEST = 600_000
_LEAST_SECONDS = 2.0


@dataclass(frozen=True)
class Opposed:
    """Two stems that hold the same sound upside down: their correlation, and how far the second comes later."""

    one: str
    other: str
    correlation: float
    later_ms: float


def find_opposed(stems: Sequence[Stem], least: float) -> tuple[Opposed, ...]:
    """The pairs of stems whose strongest likeness is an opposite one, at least `least` (a correlation below 0).

    Looked for below 500 Hz, within 5 ms either way and in the first ten minutes, between stems of 2 s and more whose
    lengths are within a twentieth, as those of one recording are; up to 24 stems each with each, of more each with the
    four that follow it in order of name. The method is this course's own.

    >>> find_opposed((), -0.5)
    ()
    """
    heard = [each for each in stems if not each.silent and len(each.envelope) >= 1000 * _LEAST_SECONDS]
    found = []
    for one, other in _pairs(heard):
        if one.rate_hz != other.rate_hz or abs(one.seconds / other.seconds - 1.0) > _SAME_LENGTH:
            continue
        correlation, later_ms = _strongest(one.envelope, other.envelope)
        if correlation <= least:
            found.append(Opposed(one.name, other.name, correlation, later_ms))
    return tuple(found)


def _pairs(stems: Sequence[Stem]) -> Iterator[tuple[Stem, Stem]]:
    if len(stems) <= _ALL_PAIRS:
        yield from itertools.combinations(stems, 2)
        return
    for index, one in enumerate(stems):
        for other in stems[index + 1 : index + 1 + _NEAR]:
            yield one, other


def _strongest(one: NDArray[np.float32], other: NDArray[np.float32]) -> tuple[float, float]:
    """The correlation of largest size within some milliseconds, and by how many the second comes later.

    0 where the largest of the other sign is nearly as large.
    """
    count = min(len(one), len(other), _LONGEST) - 2 * _LAG_MS
    one, other = one - one.mean(), other - other.mean()
    middle = one[_LAG_MS : _LAG_MS + count]
    power = float(middle @ middle)
    found = np.zeros(2 * _LAG_MS + 1)
    for lag in range(2 * _LAG_MS + 1):
        part = other[lag : lag + count]
        size = np.sqrt(power * float(part @ part))
        found[lag] = float(middle @ part) / size if size > 0 else 0.0
    at = int(np.abs(found).argmax())
    best = float(found[at])
    if abs(best) - float((-np.sign(best) * found).max()) < _MARGIN:
        return 0.0, 0.0
    return max(-1.0, min(1.0, best)), float(at - _LAG_MS)


def commonest(values: Sequence[float]) -> float:
    """The value that most have, of several as common the largest.

    >>> commonest([1.0, 2.0, 2.0, 1.0])
    2.0
    """
    counts = Counter(values)
    return max(counts, key=lambda value: (counts[value], value))


def find_mismatches(stems: Sequence[Stem]) -> Iterator[tuple[Stem, str, str]]:
    """Each stem whose rate, length or start is not that of most: the stem, which of the three, a sentence.

    Where no value is that of more than half, they are not of one session and nothing is told. Of two that differ the
    shorter, the earlier, the lower one is told.

    >>> list(find_mismatches(()))
    []
    """
    if len(stems) < 2:
        return
    rate = _of_most([float(each.rate_hz) for each in stems])
    length = _of_most([round(each.seconds, 3) for each in stems])
    start = _of_most([each.starts_at / each.rate_hz for each in stems if each.starts_at is not None])
    for each in stems:
        if rate is not None and each.rate_hz != rate:
            yield each, "rate", f"its rate is {each.rate_hz} Hz, that of most is {rate:g} Hz"
        difference = 0.0 if length is None else each.seconds - length
        if abs(difference) >= 0.001:
            more = "longer" if difference > 0 else "shorter"
            yield each, "length", f"it is {_duration(abs(difference))} {more} than most ({length:.3f} s)"
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


def _duration(seconds: float) -> str:
    return f"{seconds:.3f} s" if seconds < 60 else f"{seconds / 60:.1f} min"
