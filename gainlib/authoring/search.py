"""Answers to try: spread evenly over all controls, and a search for one that passes without knowing the author's."""

from __future__ import annotations

import functools
import itertools
import math
import statistics
from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Any, TypeVar

from gainlib.errors import GainError
from gainlib.exercises.model import ControlSpec
from gainlib.exercises.solution import ride_to
from gainlib.exercises.variant import Variant

__all__ = ["halton", "reach_around", "search", "spread_answers"]

Answer = dict[str, Any]
Looked = TypeVar("Looked")
COARSE = 120  # answers on the first grid
STARTS = 3  # of the best so far, to go on from
STRENGTHS = (0.3, 0.5, 0.7, 0.9, 1.1)
RIDE_POINTS = 9


def halton(dimensions: int) -> Iterator[tuple[float, ...]]:
    """Points that fill a cube evenly, one after the other: in each dimension the radical inverse to its own prime.

    *Published*: J. H. Halton, Numerische Mathematik 2, 1960.

    >>> next(halton(2))
    (0.5, 0.3333333333333333)
    """
    primes = tuple(itertools.islice(_primes(), dimensions))
    for count in itertools.count(1):
        yield tuple(_inverse(count, base) for base in primes)


def _inverse(count: int, base: int) -> float:
    value, weight = 0.0, 1.0 / base
    while count:
        count, digit = divmod(count, base)
        value += digit * weight
        weight /= base
    return value


def _primes() -> Iterator[int]:
    found: list[int] = []
    for number in itertools.count(2):
        if all(number % prime for prime in found):
            found.append(number)
            yield number


def spread_answers(variant: Variant, points: Iterator[tuple[float, ...]], count: int) -> list[Answer]:
    """So many answers, spread evenly over the controls; every other ride is one that evens the phrases out in part."""
    return [
        {move.path: at_part(variant, move, point[index], number) for index, move in enumerate(variant.controls)}
        for number, point in zip(range(count), points, strict=False)
    ]


def at_part(variant: Variant, move: ControlSpec, part: float, number: int = 0) -> Any:
    """The value at a part of a move's range, 0 to 1, on its steps; a ride of that strength, or one of random points.

    >>> from gainlib.exercises import load
    >>> variant = load("recording/leave-room").variant("ada")
    >>> at_part(variant, variant.controls[1], 0.26)
    -14.5
    """
    if move.options:
        return move.options[min(int(part * len(move.options)), len(move.options) - 1)]
    if not move.points:
        return on_step(move, move.low + part * (move.high - move.low))
    if number % 2 == 0:
        return _ride(variant, move, 1.3 * part, 12.0 * (_inverse(number + 1, 5) - 0.5))
    seconds = _phrase_gains(variant, move.path)[-1][0]
    gains = (_inverse(RIDE_POINTS * number + index + 1, 3) for index in range(RIDE_POINTS))
    return tuple(
        (round(seconds * index / (RIDE_POINTS - 1), 3), round(move.low + gain * (move.high - move.low), 1))
        for index, gain in enumerate(gains)
    )


def on_step(move: ControlSpec, value: float) -> float:
    """The value on the control's steps that is nearest, within its range.

    >>> on_step(ControlSpec("voice/trim/gain_db", -24.0, 12.0, 0.5, 0.0, "Trim"), 30.0)
    12.0
    """
    steps = round((min(max(value, move.low), move.high) - move.low) / move.step)
    return min(round(move.low + steps * move.step, 9), move.high)


def _ride(variant: Variant, move: ControlSpec, strength: float, shift_db: float) -> tuple[tuple[float, float], ...]:
    """A ride that goes a part of the way to one level for all phrases, their median level shifted."""
    gains = _phrase_gains(variant, move.path)
    middle = statistics.median(gain for _, gain in gains)
    return tuple((seconds, _within(move, strength * (gain - middle) + shift_db)) for seconds, gain in gains)


def _within(move: ControlSpec, gain_db: float) -> float:
    return round(min(max(gain_db, move.low), move.high), 2)


@functools.lru_cache(maxsize=8)
def _phrase_gains(variant: Variant, path: str) -> tuple[tuple[float, float], ...]:
    """The ride that would bring each phrase to 0 dBFS: where the phrases are, and how they differ."""
    try:
        return ride_to(variant.session, path, 0.0, 1.0, 200.0)
    except GainError:
        return ((0.0, 0.0), (1.0, 0.0))  # nothing in it is a phrase


def search(
    variant: Variant,
    look: Callable[[Answer], Looked],
    miss: Callable[[Looked], float],
    answer_of: Callable[[Looked], Answer],
    *,
    aims: Callable[[Looked], Iterable[tuple[str, float]]],
    begin: Iterable[Answer] = (),
    most: int = 480,
) -> Looked:
    """The best answer within so many looks: from the start straight at the bounds, then a grid, then steps that shrink.

    `miss` says how far a look is from what is wanted, 0 where it is there; `aims` which moves by how much may mend it.
    """
    left = most
    looks: list[Looked] = []

    def tried(answer: Answer) -> bool:
        nonlocal left
        left -= 1
        looks.append(look(answer))
        return miss(looks[-1]) == 0

    for answer in (*begin, variant.start, *_rides(variant)):
        if left <= 0 or tried(answer):
            return min(looks, key=miss)
    # Straight at the bounds: a level that is 6 dB low is often mended by 6 dB on one control.
    here = min(looks, key=miss)
    while left > most // 2:
        before = miss(here)
        for path, change in aims(here):
            move = next(each for each in variant.controls if each.path == path)
            if tried(answer_of(here) | {path: on_step(move, answer_of(here)[path] + change)}):
                return looks[-1]
            if miss(looks[-1]) < before - 1e-12:
                here = looks[-1]
                break
            if left <= most // 2:
                break
        if miss(here) >= before - 1e-12:
            break
    for answer in _grid(variant, min(COARSE, max(left // 2, 1))):
        if left <= 0 or tried(answer):
            return min(looks, key=miss)
    # Several places to go on from: a count such as that of clipped runs is flat over wide parts of the grid.
    for here in sorted(looks, key=miss)[:STARTS]:
        share, most_here = 0.25, left // 2 if left > 40 else left
        stop = left - most_here
        while left > stop:
            moved = False
            for answer in itertools.islice(_around(variant, answer_of(here), share), left - stop):
                if tried(answer):
                    return looks[-1]
                if miss(looks[-1]) < miss(here):
                    here, moved = looks[-1], True
                    break
            if not moved:
                if share < 1e-3 or all(share * (move.high - move.low) <= move.step for move in variant.controls):
                    break
                share /= 2
    return min(looks, key=miss)


def reach_around(move: ControlSpec, answer: Answer, passes: Callable[[Answer], bool]) -> tuple[float, float]:
    """How far a control may go down and up from where an answer that passes has it, on its steps.

    Steps that double and then halve find each end, so of what passes again beyond a gap nothing is known.

    >>> from gainlib.exercises import load
    >>> trim = load("recording/leave-room").variant("ada").controls[1]
    >>> reach_around(trim, {trim.path: 0.0}, lambda answer: -2.2 < answer[trim.path] < 3.1)
    (-2.0, 3.0)
    """
    ends = []
    for sign, edge in ((-1, move.low), (1, move.high)):
        here = answer[move.path]
        most = math.floor(abs(edge - here) / move.step + 1e-9)

        def holds(steps: int, here: float = here, sign: int = sign) -> bool:
            return passes(answer | {move.path: on_step(move, here + sign * steps * move.step)})

        good, bad = 0, most + 1
        while good < most and bad > most:
            ahead = min(max(1, 2 * good), most)
            good, bad = (ahead, bad) if holds(ahead) else (good, ahead)
        while bad - good > 1 and bad <= most:
            middle = (good + bad) // 2
            good, bad = (middle, bad) if holds(middle) else (good, middle)
        ends.append(on_step(move, here + sign * good * move.step))
    return ends[0], ends[1]


def _rides(variant: Variant) -> Iterator[Answer]:
    for move in variant.controls:
        if move.points:
            for shift, strength in itertools.product((0.0, -3.0, 3.0, -6.0, 6.0), STRENGTHS):
                yield variant.start | {move.path: _ride(variant, move, strength, shift)}


def _grid(variant: Variant, most: int) -> list[Answer]:
    """A coarse grid over the moves; with many moves, where a grid would have two points each, evenly spread answers."""
    count = int(most ** (1 / len(variant.controls)) + 1e-9)
    if count < 4 or any(move.points or move.options for move in variant.controls):
        return spread_answers(variant, halton(len(variant.controls)), most)
    parts = [index / (count - 1) for index in range(count)]
    return [
        {move.path: at_part(variant, move, part) for move, part in zip(variant.controls, point, strict=True)}
        for point in itertools.product(parts, repeat=len(variant.controls))
    ]


def _around(variant: Variant, answer: Answer, share: float) -> Iterator[Answer]:
    """The answers one step away, along each move and, for two numbers together, across them."""
    numbers = [move for move in variant.controls if not move.options and not move.points]
    for move in variant.controls:
        for option in move.options:
            if option != answer[move.path]:
                yield answer | {move.path: option}
        if move.points:
            yield from ({**answer, move.path: ride} for ride in _rides_around(move, answer[move.path], share))

    def stepped(moves: Sequence[ControlSpec], signs: Sequence[int]) -> Answer:
        changed = {}
        for move, sign in zip(moves, signs, strict=True):
            step = max(move.step, share * (move.high - move.low))
            changed[move.path] = on_step(move, answer[move.path] + sign * step)
        return answer | changed

    for move in numbers:
        for sign in (-1, 1):
            yield stepped([move], [sign])
    if len(numbers) <= 5:
        for pair in itertools.combinations(numbers, 2):
            for signs in itertools.product((-1, 1), repeat=2):
                yield stepped(pair, signs)


def _rides_around(move: ControlSpec, ride: Sequence[tuple[float, float]], share: float) -> Iterator[Any]:
    """The ride stronger, weaker, higher and lower."""
    if not ride:
        return
    middle = statistics.median(gain for _, gain in ride)
    for factor, shift in ((1 + share, 0.0), (1 - share, 0.0), (1.0, share * 12.0), (1.0, -share * 12.0)):
        yield tuple((seconds, _within(move, middle + factor * (gain - middle) + shift)) for seconds, gain in ride)


def part_of(distance: float) -> float:
    """A distance of any size as a part of 1, so that no check drowns another.

    >>> part_of(10.0), part_of(math.inf)
    (0.5, 1.0)
    """
    return 1.0 if math.isinf(distance) else max(distance, 0.0) / (max(distance, 0.0) + 10.0)
