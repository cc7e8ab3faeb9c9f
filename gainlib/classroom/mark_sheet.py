"""The rows of the mark sheet."""

from __future__ import annotations

from collections.abc import Sequence

from gainlib.classroom.marks import LearnerMark
from gainlib.storage import Cell

__all__ = ["heading", "row"]


def heading(exercises: Sequence[str]) -> list[str]:
    """The heading of the mark sheet."""
    return [
        "id", "name", "percent", "total", "out of", "before lateness", "days late", "taken off, percent", *exercises,
        "made", "hand-in", "remarks",
    ]  # fmt: skip


def row(line: LearnerMark) -> list[Cell]:
    """One learner's row; an exercise without an answer or a mark is left empty."""
    points: list[Cell] = [each.points if each.answered else "" for each in line.exercises]
    told = [f"{each.exercise.name}: {each.fault}" for each in line.exercises if each.fault]
    remarks = " ".join([*line.remarks, *(f"Not marked: {each}" for each in line.strange), *told])
    if line.fault:
        remarks = line.fault
    elif line.unusable and not line.file:
        files = (f"{each.place}: {each.fault}" for each in line.unusable)
        remarks = " ".join(["Handed in, cannot be read or marked.", *files, *line.remarks])
    elif not line.file:
        remarks = "Nothing was handed in."
    return [
        line.learner_id, line.name, line.percent, line.total, line.out_of, line.before_lateness, line.days_late,
        line.penalty_percent, *points, line.made.isoformat(timespec="minutes") if line.made else "",
        line.file.place if line.file else "", remarks,
    ]  # fmt: skip
