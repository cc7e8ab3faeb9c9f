"""Which variants of an exercise are looked at, and how many looks a proof may cost."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Sequence

from gainlib.authoring.search import halton
from gainlib.exercises.variant import Exercise

__all__ = ["look_ms", "sample_variants"]

# What a look costs, in milliseconds as they were measured once.
MEASURE_MS = 0.2  # for each second of one channel at 48 kHz
MEASURES_MS = {"thd_percent": 500.0, "thd_n_percent": 500.0}


def sample_variants(exercise: Exercise, most: int) -> tuple[list[dict[str, float | str | bool]], int]:
    """The values of each variant to look at, at most so many, and how many there are in all."""
    parameters = exercise.parameters
    if not parameters:
        return [{}], 1
    counts = [parameter.count for parameter in parameters.values()]
    total = math.prod(counts)
    if total <= most:
        chosen: Iterable[tuple[int, ...]] = itertools.product(*(range(count) for count in counts))
    else:
        ends = itertools.islice(_corners(counts), most if 2 ** len(counts) <= most else max(2, most // 2))
        points = halton(len(counts))
        spread = (
            tuple(min(count - 1, int(part * count)) for part, count in zip(point, counts, strict=True))
            for point in points
        )
        picked = dict.fromkeys(ends)
        for each in itertools.islice(spread, 20 * most):
            if len(picked) >= most:
                break
            picked[each] = None
        chosen = sorted(picked)
    return [
        {name: parameters[name].at(at) for name, at in zip(parameters, each, strict=True)} for each in chosen
    ], total


def _corners(counts: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """The first or the last of everything, each combination followed by its opposite: two differ in all they can."""
    for lasts in itertools.product((False, True), repeat=len(counts) - 1):
        corner = (False, *lasts)
        yield tuple((count - 1) * last for count, last in zip(counts, corner, strict=True))
        yield tuple((count - 1) * (not last) for count, last in zip(counts, corner, strict=True))


def look_ms(exercise: Exercise) -> float:
    """What one look costs, roughly: every stage of every strip and bus made anew, every reading taken."""
    session = exercise.with_values({name: parameter.at(0) for name, parameter in exercise.parameters.items()}).session
    seconds = {strip.name: strip.take.seconds * strip.take.rate_hz / 48_000 for strip in session.strips}
    longest = max(seconds.values())
    total = 0.0
    for chain in session.channels:
        stages = sum(stage.cost_ms for stage in chain.tapped_stages)
        total += stages * seconds.get(chain.name, 2 * longest)  # a bus has two channels, as a rule
    read = [entry.reads for entry in exercise.spec.checks] + [ask.by for ask in exercise.spec.asks if ask.by]
    return total + longest * sum(MEASURES_MS.get(each.measure or "", MEASURE_MS) for each in read)
