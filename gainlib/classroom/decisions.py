"""What a teacher decides on a class beyond the measured marks: corrections, sections, exemptions, what counts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import Field, StringConstraints

from gainlib.errors import suggest
from gainlib.learners.learners_file import ShortText
from gainlib.storage.entry_faults import Entry
from gainlib.storage.tables import CsvForm

__all__ = ["ALL", "Correction", "CsvEntry", "Section", "WhichCounts", "faults_of_decisions"]

ALL = "all"
"""What `exempt` says for every exercise."""

WhichCounts = Literal["latest", "latest in time", "best in time"]
"""Which hand-in of a learner counts; of one who has none in time, the latest."""

Remark = Annotated[str, StringConstraints(min_length=1, max_length=2000)]


class Correction(Entry):
    """A teacher's word on a mark: points instead of the measured ones, a remark for the learner, or both.

    `learner` is an id, or the code of one who was marked without a name. Without an exercise the remark is on the whole
    hand-in. It stands in the class file, so it outlives each marking.
    """

    learner: ShortText
    exercise: ShortText | None = None
    points: Annotated[float, Field(ge=0, le=1000, allow_inf_nan=False)] | None = None
    remark: Remark | None = None


class CsvEntry(Entry):
    """How a program wants its CSV, as a file says it; `form` is what `csv_text` takes.

    >>> CsvEntry(separator="tab").form
    CsvForm(separator='tab', decimal='.', marked=True)
    """

    separator: Literal[",", ";", "tab"] = ","
    decimal: Literal[".", ","] = "."
    marked: bool = True

    @property
    def form(self) -> CsvForm:
        """The same for the writer of tables."""
        return CsvForm(self.separator, self.decimal, self.marked)


class Section(Entry):
    """A part of a class with a due date of its own; its learners are those whose `group` is its name."""

    name: ShortText
    due: datetime


def faults_of_decisions(
    exercises: Sequence[str],
    learners: Sequence[Any],
    codes: Mapping[str, str],
    groups: Sequence[Section],
    corrections: Sequence[Correction],
) -> Iterator[str]:
    """A sentence for each decision that cannot be followed: on nobody, on no exercise, twice, or on nothing."""
    known = set(exercises)
    ids = {each.id for each in learners}
    id_of = {code: learner for learner, code in codes.items() if code not in ids}
    for each in learners:
        for name in each.exempt:
            if name != ALL and name not in known:
                yield f"exempt of {each.id!r} names {name!r}, no exercise of the class; {suggest(name, [*known, ALL])}"
    of_learners = {each.group for each in learners if each.group}
    names = [each.name for each in groups]
    for name in names:
        if name not in of_learners:
            yield (
                f"the group {name!r} has no learner; {suggest(name, of_learners)}"
                if of_learners
                else f"the group {name!r} has no learner; write group = {name!r} in the lines of its learners."
            )
    if len(set(names)) < len(names):
        yield f"the group {next(each for each in names if names.count(each) > 1)!r} is there twice; name it once."
    met = set()
    for index, of in enumerate(corrections, start=1):
        where = f"correction {index}"
        learner = id_of.get(of.learner, of.learner)
        if ids and learner not in ids:
            yield f"{where} is for {of.learner!r}, who is not on the roster; {_near(of.learner, ids)}"
        if of.exercise is not None and of.exercise not in known:
            yield f"{where} names {of.exercise!r}, no exercise of the class; {suggest(of.exercise, known)}"
        if of.points is not None and of.exercise is None:
            yield f"{where} gives points without an exercise; add the exercise that they are for."
        if of.points is None and of.remark is None:
            yield f"{where} says nothing; give points, a remark, or both."
        if (learner, of.exercise) in met:
            yield f"{where} is the second for {of.learner!r} on the same exercise; make one of both."
        met.add((learner, of.exercise))


def _near(word: str, ids: set[str]) -> str:
    """A roster is too long to be listed."""
    said = suggest(word, ids)
    return said if said.startswith("did") else "write the id as the roster has it."
