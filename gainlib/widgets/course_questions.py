"""The questions of the course's own lessons with their answers, which no page of a lesson shows before its time."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any

from gainlib.errors import GainError, suggest
from gainlib.storage import bundled_folder
from gainlib.storage.foreign import read_toml

__all__ = ["CourseQuestion", "course_question", "course_questions"]

QUESTIONS = "predictions.toml"
LARGEST_BYTES = 256 * 1024


@dataclass(frozen=True)
class CourseQuestion:
    """A question with choices, of which `answer` is one, or for a number in `unit`; None where that is measured."""

    question: str
    choices: tuple[str, ...] = ()
    unit: str = ""
    digits: int = 1
    answer: str | float | None = None


def course_question(name: str) -> CourseQuestion | None:
    """The question of that name; None where the course has none.

    >>> course_question("shout").unit
    'dB'
    """
    return course_questions().get(name)


def require_course_question(name: str, rest: str) -> CourseQuestion:
    """The question of that name, or a GainError that says what else can be given (`rest`)."""
    found = course_question(name)
    if found is None:
        raise GainError(f"the course asks no question {name!r}; {rest}, or {suggest(name, course_questions())}")
    return found


@functools.cache
def course_questions() -> dict[str, CourseQuestion]:
    """All questions of the course's lessons, by name."""
    found = read_toml(bundled_folder("lessons") / QUESTIONS, LARGEST_BYTES, "a list of questions")
    return {name: _question(name, entries) for name, entries in found.items()}


def _question(name: str, entries: dict[str, Any]) -> CourseQuestion:
    made = CourseQuestion(**{**entries, "choices": tuple(entries.get("choices", ()))})
    if made.choices and made.answer not in made.choices:
        raise GainError(f"answer of {name} in {QUESTIONS} is {made.answer!r}; give one of its choices, word for word.")
    return made
