"""An answer as a page shows it: what was set or said, and the exercise's first picture with it."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

from gainlib.errors import GainError
from gainlib.exercises import Exercise, Variant
from gainlib.exercises.pictures import view_for
from gainlib.flow import Session
from gainlib.html.figures import figure_json
from gainlib.storage.foreign import is_number
from gainlib.text import printed_number
from gainlib.views import Columns

__all__ = ["answered_picture", "told_answer"]


def answered_picture(variant: Variant, answer: Mapping[str, Any]) -> tuple[str, Columns, str, str] | None:
    """The first view of an exercise as a learner set it: figure, columns, heading, sentence; None without."""
    if not variant.views or variant.candidates or variant.exercise.kind == "record":
        return None  # where versions were judged, nothing was set; and a take of the learner's own is not here
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
    said = []
    for move in variant.controls:
        value = answer.get(move.path)
        if isinstance(value, bool):
            said.append(f"{move.label} {'on' if value else 'off'}")
        elif isinstance(value, int | float):
            said.append(f"{move.label} {printed_number(float(value), move.unit, move.step)}")
        elif isinstance(value, list):
            said.append(f"{move.label} of {len(value)} points")
        elif isinstance(value, str):
            said.append(f"{move.label} {value}")
    for ask in variant.questions:
        value = answer.get(ask.name)
        if isinstance(value, list):
            said.append(f"{ask.title}: {', '.join(str(each) for each in value)}")
        elif isinstance(value, str):
            said.append(f"{ask.title}: {value}")
        elif is_number(value):
            said.append(f"{ask.title}: {printed_number(float(value), ask.unit, plus=False)}")
    return said
