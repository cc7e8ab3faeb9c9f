"""How far a learner is with the exercises of their class, at their own numbers: what is handed in, and what is told."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gainlib.errors import GainError
from gainlib.exercises import Exercise
from gainlib.learners.enrolment import Enrolment
from gainlib.learners.progress import Progress

__all__ = ["Standing", "standings"]


@dataclass(frozen=True)
class Standing:
    """A learner's attempts at one exercise of their class with their own numbers `values`, the earliest first."""

    exercise: Exercise
    values: dict[str, Any]
    attempts: tuple[dict[str, Any], ...]

    @property
    def outdated(self) -> bool:
        """Whether it was answered, but in an earlier version of the exercise alone."""
        return bool(self.attempts) and not any(self._is_present(each) for each in self.attempts)

    @property
    def best(self) -> dict[str, Any] | None:
        """The attempt with most points, the first of several, of a ladder the last; at the present version if any."""
        among = self._among
        return among[self._at] if among else None

    @property
    def hints_used(self) -> int:
        """The most hints that were taken up to that attempt."""
        return max((_count(each.get("hints_used")) for each in self._among[: self._at + 1]), default=0)

    @property
    def passed(self) -> bool:
        """Whether an attempt at the present version passed."""
        return any(each["passed"] for each in self.attempts if self._is_present(each))

    @property
    def share(self) -> float:
        """What part of the full points the best attempt got; 0 for an earlier version of the exercise."""
        best = self.best
        return 0.0 if best is None or self.outdated else min(1.0, best["points"] / (best["out_of"] or 1.0))

    @property
    def _among(self) -> list[dict[str, Any]]:
        return [each for each in self.attempts if self._is_present(each)] or list(self.attempts)

    @property
    def _at(self) -> int:
        among = self._among
        # Of a listening ladder the last run counts: that is the ear as it is now.
        later = 1 if self.exercise.spec.ladder is not None else -1
        return max(range(len(among)), key=lambda index: (among[index]["points"], later * index), default=0)

    def _is_present(self, attempt: dict[str, Any]) -> bool:
        return bool(attempt.get("exercise_digest") == self.exercise.digest)


def standings(here: Enrolment, progress: Progress) -> tuple[list[Standing], dict[str, str]]:
    """Each exercise of the class with the attempts at it; and why, by its name, of each that cannot be read."""
    found, unread = [], {}
    for entry in here.of.exercises:
        try:
            exercise = here.exercise(entry)
            values = here.values(exercise)
        except GainError as fault:
            unread[entry.name] = str(fault)
            continue
        own = (each for each in progress.attempts if each["exercise"] == exercise.name and each.get("values") == values)
        found.append(Standing(exercise, values, tuple(own)))
    return found, unread


def _count(hints: object) -> int:
    return max(0, min(100, hints)) if isinstance(hints, int) and not isinstance(hints, bool) else 0
