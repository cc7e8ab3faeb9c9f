"""Stems of one's own: measured, what is wrong with them, trims, the sum, the gain sheet.

From below: `columns` (what is read of each stem; a new column is one entry there), `targets` (what a survey goes by),
`folder` (which files are meant), `stem` (one file measured in one pass, whatever its length), `cross_checks` and
`checks` (what is wrong, alone and among the others), `trims` (trims, the sum, what the main needs), `groups` (stems
that share a trim), `result` (all of it as data). Of a result are made `record` (plain data: JSON, its schema, read
back), `comparison` (against an earlier one: `stretches` reads two recordings alike, `likeness` lays one over the other,
`sound_changes` says it), `report` (words, JSON, CSV), `exports` (trimmed copies) and, with `drawings`, `sheet` (the
page). `lags` is how all of them look for the lag of two signals. `survey` stands on top: it has a folder measured by
`measuring` (threads, processes or a cluster; `kept` is what an ended one leaves) and gives a Survey, which has these as
methods.

Levels of silence are -inf in Python and in CSV, null in JSON. A reading that could not be taken is not in a stem's
`readings`, and its `lacks` say why. Of several channels the worst one's reading stands for the stem. Only `sheet` and
`drawings` know pages; nothing here knows widgets, which put a survey on a bench in `benches`.
"""

from __future__ import annotations

from gainlib.surveys.checks import KINDS, Fault, Place
from gainlib.surveys.columns import COLUMNS, Column
from gainlib.surveys.record import as_dict
from gainlib.surveys.report import as_csv, as_json, lines
from gainlib.surveys.result import SurveyResult
from gainlib.surveys.sides import Sides
from gainlib.surveys.stem import Stem
from gainlib.surveys.survey import Survey
from gainlib.surveys.targets import TARGETS, Practice, Tempo
from gainlib.surveys.trims import Sum, Trim

__all__ = [
    "COLUMNS",
    "KINDS",
    "TARGETS",
    "Column",
    "Fault",
    "Place",
    "Practice",
    "Sides",
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
