"""Exercises as data: tables, parameters, variant, readings and verdict. Nothing in them is ever executed."""

from __future__ import annotations

from gainlib.exercises.exercise import Ask, Candidate, Exercise, Hint, Move, Variant, exercise_names, load
from gainlib.exercises.verdict import CheckLine, Verdict

__all__ = [
    "Ask",
    "Candidate",
    "CheckLine",
    "Exercise",
    "Hint",
    "Move",
    "Variant",
    "Verdict",
    "exercise_names",
    "load",
]
