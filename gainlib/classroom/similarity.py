"""Answers that look taken over: wrong for the learner's own numbers, right for somebody else's, and the same as theirs.

Nothing here proves anything. For each pair it is told how many such pairs chance alone would make in this class.
"""

from __future__ import annotations

import json
import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gainlib.classroom.guard import noting
from gainlib.storage.foreign import is_number

__all__ = ["LikePair", "MarkedAnswer", "find_alike"]

NEAR_SHARE = 0.01
"""Settings that lie this near to each other, as a share of the control's range, count as taken over with a change."""
MOST_BY_CHANCE = 0.5
LARGEST_SMALL_CLASS = 1000
_MOST_WITH_IT = {True: 20, False: 3}
"""An answer that more than so many others give right is no sign of anything, in a small and in a large class."""
_TRIED = 3
_NONE = object()


@dataclass(frozen=True)
class MarkedAnswer:
    """One marked answer: whose, to what, for which numbers, what it was, how it did."""

    learner: str
    exercise: str
    values: Mapping[str, Any]
    answer: Mapping[str, Any]
    passed: bool
    share: float


@dataclass(frozen=True)
class LikePair:
    """A learner whose failed answers are those of another; `by_chance` is how many such pairs one would expect."""

    learner: str
    other: str
    exercises: tuple[str, ...]
    by_chance: float


def find_alike(
    exercises: Iterable[Sequence[MarkedAnswer]],
    learners: int,
    ranges: Mapping[str, Mapping[str, float]],
    fits: Callable[[MarkedAnswer, MarkedAnswer], bool] = lambda mine, theirs: False,
    wrong: list[tuple[str, str]] | None = None,
) -> list[LikePair]:
    """Pairs of learners of whom one hands in the other's answers, most telling first.

    `exercises` gives the answers of one exercise after the other, `learners` is how many there are.
    An answer counts that gets at most half of its points, and is the same as another learner's who passed with other
    numbers; or nearly the same (within 1 % of each control's `ranges`), and `fits` says that it passes theirs. How
    often chance makes such a pair is reckoned from how many of the class have each setting; pairs are given that chance
    would make less than once in two classes. An answer that cannot be compared is noted in `wrong`, and left out.
    """
    wrong = [] if wrong is None else wrong
    small = learners <= LARGEST_SMALL_CLASS
    evidence: dict[tuple[str, str], dict[str, float]] = defaultdict(dict)
    for everything in exercises:
        given = _comparable(everything, wrong)
        if not given:
            continue
        exercise = given[0].exercise
        spans = ranges.get(exercise, {})
        counts: dict[str, Counter[str]] = defaultdict(Counter)
        for each in given:
            for name, value in each.answer.items():
                counts[name][_word(value)] += 1
        for mine, theirs, same in _pairs(given, spans, small, fits, wrong):
            chance = 1.0
            for name, value in theirs.answer.items():
                having = counts[name][_word(value)] if same else _having(counts[name], value, spans.get(name, 0.0))
                chance *= max(1, having - 1) / max(1, len(given) - 1)
            evidence[mine.learner, theirs.learner][exercise] = min(1.0, chance)
    pairs = learners * (learners - 1)
    found = [
        LikePair(mine, theirs, tuple(sorted(of)), pairs * math.prod(of.values()))
        for (mine, theirs), of in evidence.items()
    ]
    return sorted(
        (each for each in found if each.by_chance < MOST_BY_CHANCE),
        key=lambda each: (each.by_chance, each.learner, each.other),
    )


def _pairs(
    given: Sequence[MarkedAnswer],
    spans: Mapping[str, float],
    small: bool,
    fits: Callable[[MarkedAnswer, MarkedAnswer], bool],
    wrong: list[tuple[str, str]],
) -> Iterator[tuple[MarkedAnswer, MarkedAnswer, bool]]:
    passed = [each for each in given if each.passed]
    right: dict[str, list[MarkedAnswer]] = defaultdict(list)
    for each in passed:
        right[_word(each.answer)].append(each)
    near = _Near(passed if small else (), spans)
    for mine in given:
        if mine.passed or mine.share > 0.5 or not mine.answer:
            continue
        same = right.get(_word(mine.answer), ())
        if len(same) <= _MOST_WITH_IT[small]:
            # Who passed with the same answer has other numbers, or it would have passed here too.
            yield from ((mine, theirs, True) for theirs in same)
        if not same and small:
            with noting(wrong, _place(mine)):
                close = sorted(
                    (
                        (distance, theirs)
                        for distance, theirs in near.to(mine)
                        if theirs.values != mine.values and theirs.learner != mine.learner
                    ),
                    key=lambda each: (each[0], each[1].learner),
                )
                for _, theirs in close[:_TRIED]:
                    if fits(mine, theirs):
                        yield mine, theirs, False


def _comparable(given: Sequence[MarkedAnswer], wrong: list[tuple[str, str]]) -> list[MarkedAnswer]:
    """The answers whose settings can be told apart at all."""
    found = []
    for each in given:
        with noting(wrong, _place(each)):
            _word(each.answer)
            found.append(each)
    return found


def _place(answer: MarkedAnswer) -> str:
    return f"{answer.exercise} of {answer.learner}, compared with the others"


class _Near:
    """The right answers to an exercise, setting by setting, so that one answer is held against all of them at once."""

    def __init__(self, right: Sequence[MarkedAnswer], spans: Mapping[str, float]) -> None:
        self._right, self._spans = right, spans
        self._words: dict[str, int] = {}
        self._settings: dict[str, tuple[NDArray[np.int64], NDArray[np.float64]]] = {}
        for name in sorted({name for each in right for name in each.answer}):
            found = [each.answer.get(name, _NONE) for each in right]
            words = np.array([self._word(each) for each in found])
            numbers = np.array([each if is_number(each) else math.inf for each in found], float)
            self._settings[name] = words, numbers

    def _word(self, value: Any) -> int:
        return -1 if value is _NONE else self._words.setdefault(_word(value), len(self._words))

    def to(self, mine: MarkedAnswer) -> list[tuple[float, MarkedAnswer]]:
        """Those of whom each setting is at most `NEAR_SHARE` of its range away, with the widest such share."""
        if not mine.answer.keys() <= self._settings.keys():
            return []
        widest = np.zeros(len(self._right))
        for name, (words, numbers) in self._settings.items():
            value, span = mine.answer.get(name, _NONE), self._spans.get(name, 0.0)
            apart = np.abs(numbers - value) / span if span and is_number(value) else math.inf
            widest = np.maximum(widest, np.where(words == self._word(value), 0.0, apart))
        return [(float(widest[each]), self._right[each]) for each in np.flatnonzero(widest <= NEAR_SHARE).tolist()]


def _having(counts: Counter[str], value: Any, span: float) -> int:
    """How many of the class have this setting, or nearly."""
    if not is_number(value) or not span:
        return counts[_word(value)]
    words = ((json.loads(each), count) for each, count in counts.items())
    return sum(count for each, count in words if is_number(each) and abs(each - value) <= NEAR_SHARE * span)


def _word(value: Any) -> str:
    """A value as a text by which equal ones are known: 3 and 3.0 are the same setting."""
    if isinstance(value, Mapping):
        return json.dumps({name: _word(each) for name, each in value.items()}, sort_keys=True)
    return json.dumps(float(value) if is_number(value) else value, sort_keys=True)
