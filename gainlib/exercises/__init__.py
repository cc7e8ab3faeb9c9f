"""Exercises as data: spec, variant, checks and verdict, the proof of a file, the record of attempts."""

from __future__ import annotations

from gainlib.exercises.exercise import Ask, Candidate, Exercise, Hint, Move, Variant, exercise_names, load
from gainlib.exercises.faults import Fault
from gainlib.exercises.progress import Progress
from gainlib.exercises.proof import Proof, prove
from gainlib.exercises.template import new_exercise
from gainlib.exercises.verdict import CheckLine, Verdict

__all__ = [
    "Ask",
    "Candidate",
    "CheckLine",
    "Exercise",
    "Fault",
    "Hint",
    "Move",
    "Progress",
    "Proof",
    "Variant",
    "Verdict",
    "exercise_names",
    "load",
    "new_exercise",
    "prove",
]
