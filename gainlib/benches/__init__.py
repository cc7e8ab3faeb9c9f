"""Benches: controls, views and a player bound to one signal flow, and the panels made of them."""

from __future__ import annotations

from gainlib.benches.bench import Bench
from gainlib.benches.book_panel import ExerciseBook
from gainlib.benches.controls import Control
from gainlib.benches.exercise_panel import Sitting

__all__ = ["Bench", "Control", "ExerciseBook", "Sitting"]
