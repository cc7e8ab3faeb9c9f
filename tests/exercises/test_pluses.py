"""What exercises say of an answer: a plus stands where a level is changed, or differs to one side, and nowhere else."""

from __future__ import annotations

import pytest
from pluses import wrong_pluses

from gainlib.exercises import author_answer, check, exercise_names, load
from gainlib.exercises.readings import Renderings

LEARNERS = ("ada", "bo")


@pytest.mark.parametrize("name", exercise_names())
def test_no_amount_is_told_with_a_plus(name):
    exercise = load(name)
    for learner in LEARNERS:
        variant = exercise.variant(learner)
        said = [variant.brief, *(each.text for each in variant.hints)]
        if exercise.kind not in ("hear", "record"):
            renderings = Renderings()
            said += [check(variant, each, renderings=renderings).text for each in _answers(variant)]
        assert [each for text in said for each in wrong_pluses(_headed(text))] == []


def _answers(variant):
    """Nothing, the author's answer, and each number of it by too little, by too much, out of reach and at its end."""
    right = author_answer(variant)
    for question in variant.questions:
        if isinstance(right[question.name], float | int):
            yield from ({**right, question.name: right[question.name] + off} for off in (-3.0, 3.0, 500.0))
    for move in variant.controls:
        if not move.options and not move.points:
            yield from ({**right, move.path: end} for end in (move.high, move.high + 500.0))
    yield from ({}, right)


def _headed(text):
    """Each sentence behind the head of its line, which says what the figures are of."""
    told = []
    for line in text.splitlines():
        head, colon, rest = line.partition(": ")
        head = "" if rest.startswith("Not measured") else head + colon
        told += [f"{head}{each}" for each in rest.replace("; wanted", ". wanted").split(". ")]
    return "\n".join(told)
