"""Exercises as data: tables, parameters, variant, readings and verdict. Nothing in them is ever executed."""

from __future__ import annotations

from gainlib.exercises.collection import exercise_names, load
from gainlib.exercises.model import Candidate, ControlSpec, Hint, Question
from gainlib.exercises.questions import expected_answers
from gainlib.exercises.solution import answer_from, author_answer
from gainlib.exercises.variant import Exercise, Variant
from gainlib.exercises.verdict import CheckLine, Verdict, check

__all__ = [
    "Candidate",
    "CheckLine",
    "ControlSpec",
    "Exercise",
    "Hint",
    "Question",
    "Variant",
    "Verdict",
    "answer_from",
    "author_answer",
    "check",
    "exercise_names",
    "expected_answers",
    "load",
]
