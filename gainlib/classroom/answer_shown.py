"""An answer as a page shows it: what was set or said, and the exercise's first picture with it."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

from gainlib.errors import GainError
from gainlib.exercises import Exercise, Variant
from gainlib.exercises.answers import read_answer
from gainlib.exercises.pictures import view_for
from gainlib.flow import Session
from gainlib.html.figures import figure_json
from gainlib.storage.foreign import is_number
from gainlib.text import printed_number, ride_points
from gainlib.views import Columns

__all__ = ["answer_parts", "answered_picture", "told_answer"]


def answered_picture(variant: Variant, answer: Mapping[str, Any]) -> tuple[str, Columns, str, str] | None:
    """The first view of an exercise as a learner set it: figure, columns, heading, sentence; None without."""
    if not variant.views or variant.candidates or variant.exercise.kind in ("hear", "record"):
        return None  # by ear nothing is set; and a take of the learner's own is not here
    rendering = _as_set(variant, answer).render()
    drawn = view_for(variant.views[0], variant)
    return (
        _figure(variant.exercise, variant.views[0]),
        drawn.columns(rendering),
        drawn.heading(rendering),
        drawn.sentence(rendering),
    )


def _as_set(variant: Variant, answer: Mapping[str, Any]) -> Session:
    """The session with what an answer sets; what the controls cannot do, and what a stage refuses, stays as it was."""
    settings: dict[str, Any] = {}
    for move in variant.controls:
        value = answer.get(move.path)
        if move.points and isinstance(value, list):
            settings[move.path] = tuple(map(tuple, value))
        elif move.options:
            if any(isinstance(each, bool) == isinstance(value, bool) and each == value for each in move.options):
                settings[move.path] = value
        elif is_number(value) and move.low <= value <= move.high:
            settings[move.path] = value
    try:
        return variant.session.replaced(settings)
    except GainError:
        return variant.session


@functools.lru_cache(maxsize=64)
def _figure(exercise: Exercise, choice: str) -> str:
    """A figure is the same for all answers to an exercise; only its columns change."""
    variant = exercise.variant("anyone")
    return figure_json(view_for(choice, variant).figure(variant.session.render()))


def told_answer(variant: Variant, answer: Mapping[str, Any]) -> list[str]:
    """What the learner set or answered, as the exercise writes it."""
    asked = {ask.name for ask in variant.questions}
    return [f"{title}{':' * (name in asked)} {told}" for name, title, told in answer_parts(variant, answer)]


def answer_parts(variant: Variant, answer: Mapping[str, Any]) -> list[tuple[str, str, str]]:
    """Each thing that was set or answered: its name in the answer, what the exercise calls it, and its value."""
    parts = []
    read, _, _ = read_answer(variant, answer)
    for move in variant.controls:
        value = answer.get(move.path)
        if isinstance(value, bool):
            parts.append((move.path, move.label, "on" if value else "off"))
        elif isinstance(value, int | float):
            parts.append((move.path, move.label, move.printed(float(value))))
        elif move.points and move.path in read:
            parts.append((move.path, move.label, ride_points(read[move.path])))
        elif isinstance(value, str):
            parts.append((move.path, move.label, value))
    for ask in variant.questions:
        value = answer.get(ask.name)
        if isinstance(value, list):
            parts.append((ask.name, ask.title, ", ".join(str(each) for each in value)))
        elif isinstance(value, str):
            parts.append((ask.name, ask.title, value))
        elif is_number(value):
            parts.append((ask.name, ask.title, printed_number(float(value), ask.unit)))
    return parts
