"""Stems of one's own: measured, what is wrong with them, trims, the sum, the gain sheet; called, it surveys."""

from __future__ import annotations

import sys
from types import ModuleType
from typing import Any

from gainlib.survey.faults import KINDS, Fault, Place
from gainlib.survey.plan import Sum, Trim
from gainlib.survey.practice import TARGETS, Practice, Tempo
from gainlib.survey.report import as_csv, as_dict, as_json, lines
from gainlib.survey.stem import MEASURED, Pair, Stem
from gainlib.survey.survey import Survey, survey

__all__ = [
    "KINDS",
    "MEASURED",
    "TARGETS",
    "Fault",
    "Pair",
    "Place",
    "Practice",
    "Stem",
    "Sum",
    "Survey",
    "Tempo",
    "Trim",
    "as_csv",
    "as_dict",
    "as_json",
    "lines",
    "survey",
]


class _Room(ModuleType):
    """A module that surveys when called: Python binds `gainlib.survey` to this room, whatever it holds."""

    def __call__(self, *given: Any, **named: Any) -> Survey:
        return survey(*given, **named)


sys.modules[__name__].__class__ = _Room
