"""Exercises as data: the spec, a variant for each learner, checks and their verdict, the record of attempts."""

from __future__ import annotations

from gainlib.exercises.exercise import Exercise, Hint, Move, Variant, exercise_names, load
from gainlib.exercises.progress import Progress
from gainlib.exercises.verdict import CheckLine, Verdict

__all__ = [
    "CheckLine",
    "Exercise",
    "Hint",
    "Move",
    "Progress",
    "Variant",
    "Verdict",
    "exercise_names",
    "load",
]
