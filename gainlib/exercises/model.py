"""What an exercise puts before a learner: controls, questions, candidates, hints."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from gainlib.flow import Session
from gainlib.text import is_gain, printed_number

__all__ = ["Candidate", "ControlSpec", "Hint", "Question"]


@dataclass(frozen=True)
class ControlSpec:
    """A setting that the learner may move: its path, its range, where it stands at the start, what it is called.

    `options` are the values of a choice, empty for a number; `points` says that a ride is drawn, whose gains lie from
    `low` to `high` dB: then a value is a row of (seconds, gain in dB).
    """

    path: str
    low: float
    high: float
    step: float
    start: Any
    label: str
    unit: str = ""
    options: tuple[Any, ...] = ()
    points: bool = False

    def printed(self, value: float) -> str:
        """A value of it as a sentence prints it, a gain with its sign."""
        return printed_number(value, self.unit, 0.0 if self.points else self.step, plus=is_gain(self.path))


@dataclass(frozen=True)
class Question:
    """A question about the session as given: `form` is "number", "choice", "order" or "seconds".

    `choices` are the labels that are shown (strips, stages, or A, B, C); `low` and `high` what may be typed.
    """

    name: str
    title: str
    form: str
    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Candidate:
    """One version of the session to judge, by the letter that it is shown under."""

    label: str
    session: Session
    name: str = ""
    say: str = ""


@dataclass(frozen=True)
class Hint:
    """A hint and the points that taking it costs."""

    text: str
    cost: float
