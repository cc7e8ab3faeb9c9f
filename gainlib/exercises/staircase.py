"""The staircase of a listening ladder: which rung comes next, when it ends, and how far its result can be trusted."""

from __future__ import annotations

import functools
import statistics
from dataclasses import dataclass, replace

from gainlib.errors import GainError
from gainlib.text import describe_value

__all__ = ["CHANCE", "CONVERGES_AT", "REVERSALS", "Estimate", "Staircase"]

CHANCE = 1 / 3
"""Of three, one is different: so many answers are right by guessing."""

CONVERGES_AT = 0.5**0.5
"""Two right in a row as likely as not: p² = ½, so 70.7 % (*published*, Levitt, JASA 49, 1971)."""

REVERSALS = 8
LEFT_OUT = 2  # of the reversals, those of the approach in wide steps
MOST_HELD = 3  # so often kept at an end of the ladder, the threshold lies beyond it
MOST_TRIALS = 90
DEPENDENT = 2.0
"""Reversals follow from each other, so that the spread of their mean is about twice their standard error."""
LEAST_ERROR_RUNGS = 0.7
"""No run of this length is surer than that (*derived*, as the factor: 1,000 runs of a simulated listener)."""


@dataclass(frozen=True)
class Estimate:
    """Where on the ladder the threshold lies, counted in rungs from the clearest, 0.

    Attributes
    ----------
    rung : float
        The mean of the reversals that count; an end of the ladder where `beyond` says that it was left there.
    error_rungs : float
        About two of three such runs come as near as this to the threshold.
    beyond : str
        "" on the ladder, "finer" where even the last rung was told apart, "coarser" where the first was not.
    """

    rung: float
    error_rungs: float = 0.0
    beyond: str = ""


@dataclass(frozen=True)
class Staircase:
    """One run of a ladder: two right answers in a row lead a rung down, each wrong one leads a rung up.

    It goes on at the level that is heard right in 70.7 % of trials, the rule of Levitt (*published*, JASA 49, 1971).
    Until the second reversal it goes two rungs at a time; it has ended after eight reversals, of which the last six
    count. At an end of the ladder it stays; kept there three times, it has ended as well.

    >>> run = Staircase(10)
    >>> for right in (True, True, True, True, False):
    ...     run = run.answered(right)
    >>> run.rung, run.reversals
    (2, (4,))
    """

    rungs: int
    answers: tuple[bool, ...] = ()

    def __post_init__(self) -> None:
        if isinstance(self.rungs, bool) or not isinstance(self.rungs, int) or self.rungs < 2:
            raise GainError(f"rungs is {describe_value(self.rungs)}; a ladder has 2 or more.")

    def answered(self, right: bool) -> Staircase:
        """The run with one more answer; one that has ended takes no more."""
        if self.ended:
            raise GainError("this run of the ladder has ended; begin another one.")
        return replace(self, answers=(*self.answers, bool(right)))

    @property
    def rung(self) -> int:
        """The rung of the next trial, or of the last one where it has ended."""
        return self._walk.rung

    @property
    def visited(self) -> tuple[int, ...]:
        """The rung of each trial that was answered."""
        return self._walk.visited

    @property
    def reversals(self) -> tuple[int, ...]:
        """The rungs at which the way turned, in order."""
        return self._walk.reversals

    @property
    def ended(self) -> bool:
        """Whether there is a result, and no trial comes after."""
        return self._walk.ended

    @property
    def estimate(self) -> Estimate | None:
        """The result; None before the run has ended."""
        if not self.ended:
            return None
        if self._walk.held >= MOST_HELD:
            return Estimate(float(self.rung), beyond="coarser" if self.rung == 0 else "finer")
        counted = self.reversals[LEFT_OUT:]
        if len(counted) < 2:
            return Estimate(float(self.rung), float(self.rungs))
        standard_error = statistics.stdev(counted) / len(counted) ** 0.5
        return Estimate(statistics.fmean(counted), max(DEPENDENT * standard_error, LEAST_ERROR_RUNGS))

    @functools.cached_property
    def _walk(self) -> _Walk:
        rung = row = held = direction = 0
        visited: list[int] = []
        reversals: list[int] = []
        ended = False
        for right in self.answers:
            visited.append(rung)
            row = row + 1 if right else 0
            if right and row < 2:
                continue
            row, step = 0, 1 if right else -1
            if direction and step != direction:
                reversals.append(rung)
            direction = step
            wanted = rung + step * (2 if len(reversals) < LEFT_OUT else 1)
            before, rung = rung, min(max(wanted, 0), self.rungs - 1)
            held = held + 1 if rung == before else 0
            ended = len(reversals) >= REVERSALS or held >= MOST_HELD
            if ended:
                rung = before
                break
        return _Walk(rung, tuple(visited), tuple(reversals), held, ended or len(self.answers) >= MOST_TRIALS)


@dataclass(frozen=True)
class _Walk:
    """Where a run's answers led."""

    rung: int
    visited: tuple[int, ...]
    reversals: tuple[int, ...]
    held: int
    ended: bool
