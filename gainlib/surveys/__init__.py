"""Stems of one's own: measured, what is wrong with them, trims, the sum, the gain sheet."""

from __future__ import annotations

from gainlib.surveys.checks import KINDS, Fault, Place
from gainlib.surveys.columns import COLUMNS, Column
from gainlib.surveys.record import as_dict
from gainlib.surveys.report import as_csv, as_json, lines
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.stem import Pair, Stem
from gainlib.surveys.survey import Survey
from gainlib.surveys.targets import TARGETS, Practice, Tempo
from gainlib.surveys.trims import Sum, Trim

__all__ = [
    "COLUMNS",
    "KINDS",
    "TARGETS",
    "Column",
    "Fault",
    "Pair",
    "Place",
    "Practice",
    "Stem",
    "Sum",
    "Survey",
    "SurveyResult",
    "Tempo",
    "Trim",
    "as_csv",
    "as_dict",
    "as_json",
    "lines",
]
