"""The rows of the mark sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from gainlib.classroom.class_file import RosterLine
from gainlib.classroom.marks import LearnerMark
from gainlib.storage import Cell
from gainlib.text import with_decimals

__all__ = ["MarkSheet"]

_BEHIND = ("made", "hand-in", "remarks")


class MarkSheet:
    """The mark sheet of a class: mail, group and what else its list had are columns where anybody has them.

    `decimal` is the sign in the numbers of its sentences.
    """

    def __init__(self, exercises: Sequence[str], roster: Mapping[str, RosterLine], decimal: str = ".") -> None:
        self._roster, self._decimal = roster, decimal
        self._mail = any(each.mail for each in roster.values())
        self._group = any(each.group for each in roster.values())
        self._more = list(dict.fromkeys(heading for each in roster.values() for heading in each.more))
        own = [
            "id", "name", *(["mail"] if self._mail else []), *(["group"] if self._group else []), "percent", "total",
            "out of", "before lateness", "days late", "taken off, percent", *exercises, *_BEHIND,
        ]  # fmt: skip
        self.heading = [*own, *(f"{each} (list)" if each in own else each for each in self._more)]

    def row(self, line: LearnerMark) -> list[Cell]:
        """One learner's row; an exercise without an answer or a mark is left empty."""
        points: list[Cell] = [
            "exempt" if each.exempt else each.points if each.has_points else "" for each in line.exercises
        ]
        told = [f"{each.exercise.name}: {each.fault}" for each in line.exercises if each.fault]
        remarks = " ".join([*line.remarks, *(f"Not marked: {each}" for each in line.strange), *told])
        if line.fault:
            remarks = line.fault
        elif line.unusable and not line.file:
            files = (f"{each.place}: {each.fault}" for each in line.unusable)
            remarks = " ".join(["Handed in, cannot be read or marked.", *files, *line.remarks])
        elif not line.file:
            remarks = "Exempt." if line.exempt else "Nothing was handed in."
        remarks = " ".join([*filter(None, [remarks]), *_decisions(line, self._decimal)])
        of_list = self._roster.get(line.learner_id)
        mail = [(of_list and of_list.mail) or ""] if self._mail else []
        group = [(of_list and of_list.group) or ""] if self._group else []
        return [
            line.learner_id, line.name, *mail, *group, "exempt" if line.exempt else line.percent, line.total,
            line.out_of, line.before_lateness, line.days_late, line.penalty_percent, *points,
            line.made.isoformat(timespec="minutes") if line.made else "", line.file.place if line.file else "",
            remarks, *(of_list.more.get(each, "") if of_list else "" for each in self._more),
        ]  # fmt: skip


def _decisions(line: LearnerMark, decimal: str) -> Iterator[str]:
    """What the teacher decided on a learner's marks, a sentence each."""
    for each in line.exercises:
        if each.corrected_points is not None:
            was = f"{each.measured:g} measured" if each.answered else "no answer marked"
            given = f"{each.corrected_points:g} points by the teacher ({was})."
            yield f"{each.exercise.name}: {with_decimals(given, decimal)}"
        if each.remark:
            yield f"{each.exercise.name}: {each.remark}"
    if line.remark:
        yield line.remark
