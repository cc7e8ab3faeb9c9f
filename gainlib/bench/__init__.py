"""Controls, views and a player bound to one signal flow; the room is called to set up a bench."""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any

from gainlib.bench.book import ExerciseBook, exercise_book
from gainlib.bench.controls import Control
from gainlib.bench.handing_in import hand_in
from gainlib.bench.own_stems import survey
from gainlib.bench.predict import compare, predict
from gainlib.bench.sitting import Sitting, exercise
from gainlib.bench.state import Bench, bench

__all__ = [
    "Bench", "Control", "ExerciseBook", "Sitting", "bench", "compare", "exercise", "exercise_book", "hand_in",
    "predict", "survey",
]  # fmt: skip


class _Room(ModuleType):
    """A module that sets up a bench when called: Python binds `gainlib.bench` to this room, whatever it holds."""

    def __call__(self, *given: Any, **named: Any) -> Bench:
        return bench(*given, **named)


sys.modules[__name__].__class__ = _Room
