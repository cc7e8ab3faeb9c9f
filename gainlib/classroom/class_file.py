"""The class file: key, roster, exercises with their points, due date, what lateness costs; the teacher's alone."""

from __future__ import annotations

import functools
import itertools
import os
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from gainlib.authoring.messages import FileFault, parse_text
from gainlib.classroom.decisions import ALL, Correction, CsvEntry, Section, WhichCounts, faults_of_decisions
from gainlib.classroom.due_dates import date_faults, untangled_dates
from gainlib.errors import GainError, suggest
from gainlib.exercises import Exercise, Variant
from gainlib.learners.learners_file import (
    LARGEST_CLASS_BYTES,
    ClassBasis,
    Learner,
    ShortText,
    code_of,
    validate_class,
)
from gainlib.storage import given_path, toml_value
from gainlib.storage.entry_faults import Entry
from gainlib.storage.foreign import Place, describe_place, read_text, toml_table

__all__ = [
    "ClassFile",
    "Late",
    "RosterLine",
    "class_text",
    "class_variant",
    "exercise_rows",
    "read_class",
    "read_typed",
    "require_learner",
]


MOST_COLUMNS = 50
MOST_TOLD = 10
"""So many faults of a file are told at once."""


class RosterLine(Learner):
    """One line of the roster; `more` is what else the class list had of a learner, by its heading.

    `due` is an extension for this learner, `exempt` names exercises that they need not do, or says `all`.
    """

    mail: ShortText | None = None
    group: ShortText | None = None
    due: datetime | None = None
    exempt: Annotated[list[ShortText], Field(max_length=500)] = Field(default_factory=list)
    more: Annotated[dict[ShortText, ShortText], Field(max_length=MOST_COLUMNS)] = Field(default_factory=dict)

    def __repr__(self) -> str:
        return f"RosterLine(id={self.id!r}, name={self.name!r})"


class Late(Entry):
    """What a late hand-in costs: so much for each day begun, never more than `most_percent`, none after `last_day`."""

    percent_per_day: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
    most_percent: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 100.0
    last_day: Annotated[int, Field(ge=1, le=3650)] | None = None


class ClassFile(ClassBasis):
    """A class as the teacher keeps it; `lists_names` says whether the start file for all has the roster to choose from.

    >>> ClassFile.model_validate({"schema": "gainlib class", "version": 1, "title": "Group A", "key": "k" * 16,
    ...     "exercises": [{"name": "recording/leave-room"}]}).penalty_percent(datetime.now(UTC))
    0.0
    """

    schema_: Literal["gainlib class"] = Field(alias="schema")
    late: Late | None = None
    lists_names: bool = True
    counts: WhichCounts = "latest"
    takes: ShortText | None = None
    csv: CsvEntry = Field(default_factory=CsvEntry)
    groups: Annotated[list[Section], Field(max_length=1000)] = Field(default_factory=list)
    corrections: Annotated[list[Correction], Field(max_length=100_000)] = Field(default_factory=list)
    learners: Annotated[list[RosterLine], Field(max_length=100_000)] = Field(default_factory=list)

    @functools.cached_property
    def roster(self) -> dict[str, RosterLine]:
        """The learners by their id."""
        return {each.id: each for each in self.learners}

    @functools.cached_property
    def codes(self) -> dict[str, str]:
        """A code for each learner's id, for marking without names; the same as long as the class's key is."""
        for length in (6, 16):
            codes = {each.id: code_of(self.key, "marked as", each.id)[:length] for each in self.learners}
            if len(set(codes.values())) == len(codes):
                break
        return codes

    @functools.cached_property
    def correction_of(self) -> dict[tuple[str, str | None], Correction]:
        """The corrections by learner and exercise; None is the whole hand-in."""
        ids = {} if all(each.learner in self.roster for each in self.corrections) else self._ids_of_codes
        return {(ids.get(each.learner, each.learner), each.exercise): each for each in self.corrections}

    @functools.cached_property
    def _ids_of_codes(self) -> dict[str, str]:
        return {code: learner for learner, code in self.codes.items() if code not in self.roster}

    @functools.cached_property
    def _due_of_group(self) -> dict[str | None, datetime]:
        return {each.name: each.due for each in self.groups}

    def due_for(self, learner_id: str) -> datetime | None:
        """When this learner's hand-in is due: by their own extension, their group's date, or the class's."""
        of = self.roster.get(learner_id)
        return (of and of.due) or self._due_of_group.get(of.group if of else None) or self.due

    def is_exempt(self, learner_id: str, exercise: str) -> bool:
        """Whether this learner need not do that exercise."""
        of = self.roster.get(learner_id)
        return of is not None and (ALL in of.exempt or exercise in of.exempt)

    def days_late(self, made: datetime, learner_id: str = "") -> int:
        """Days begun since the due date; 0 for in time."""
        due = self.due_for(learner_id)
        if due is None or made <= due:
            return 0
        return -((due - made) // timedelta(days=1))

    def penalty_percent(self, made: datetime, learner_id: str = "") -> float:
        """What is taken off a hand-in of that time, in percent; 100 after the last day."""
        days = self.days_late(made, learner_id)
        if not days or self.late is None:
            return 0.0
        if self.late.last_day is not None and days > self.late.last_day:
            return 100.0
        return min(self.late.most_percent, days * self.late.percent_per_day)


def read_class(file: str | os.PathLike[str]) -> ClassFile:
    """The class of a teacher's file. Raises GainError, with file and entry, for one that cannot be used."""
    path = Path(file)
    found = validate_class(_entries(path), ClassFile, path)
    twice = sorted({each.id for each in found.learners if sum(other.id == each.id for other in found.learners) > 1}
                   if len(found.roster) < len(found.learners) else ())  # fmt: skip
    if twice:
        raise GainError(f"{path.name}: the id {twice[0]!r} is in the roster twice; give each learner their own.")
    names = [each.name for each in found.exercises]
    if faults := list(faults_of_decisions(names, found.learners, found.codes, found.groups, found.corrections)):
        raise GainError(*(f"{path.name}: {each}" for each in faults[:MOST_TOLD]))
    if all(each.role != "required" for each in found.exercises):
        raise GainError(f"{path.name}: no exercise counts to the full marks; leave out the role of at least one.")
    return found


def require_learner(file: str | os.PathLike[str], learner_id: str) -> ClassFile:
    """The class of a teacher's file, if this learner is in it.

    Raises GainError for a file that cannot be used, and for an id that is not in the roster, where there is one.
    """
    of_class = read_class(given_path(file))
    if of_class.learners and learner_id not in of_class.roster:
        named = [each.id for each in of_class.learners if each.name == learner_id]
        near = f"did you mean {named[0]}?" if named else suggest(learner_id[:80], list(of_class.roster)[:40])
        raise GainError(f"{learner_id!r} is no id of {of_class.title}; {near}")
    return of_class


def class_variant(file: str | os.PathLike[str], learner_id: str, exercise: Exercise) -> Variant:
    """The exercise with the numbers that this learner of a teacher's class has; as `require_learner`."""
    return exercise.variant(learner_id, require_learner(file, learner_id).key_of(learner_id))


def read_typed(path: Path, most_bytes: int, kind: str, days: Sequence[str] = ()) -> dict[str, Any]:
    """The entries of a TOML file that a teacher typed; what they typed otherwise than TOML has it is told by its line.

    `days` are entries that hold a day, where `due` is not a moment with its time zone.
    """
    text = read_text(path, most_bytes, kind)
    try:
        return toml_table(text, path.name)
    except GainError as fault:
        text, told = untangled_dates(text, days)
        slips: list[FileFault] = []
        parse_text(text, slips)
        told += [slip.text for slip in slips]
        raise GainError(*(f"{path.name}, {each}" for each in told[:MOST_TOLD] or [str(fault)])) from fault


def _entries(path: Path) -> dict[str, Any]:
    """The entries of a teacher's file, whose dates are moments with their time zone."""
    content = read_typed(path, LARGEST_CLASS_BYTES, "a class file")
    faults = itertools.islice(date_faults(content), MOST_TOLD)
    if dates := [f"{path.name}{_of_whom(place, content)}: {said}" for place, said in faults]:
        raise GainError(*dates)
    return content


def _of_whom(place: Place, content: dict[str, Any]) -> str:
    """Where in a class file a date stands: at whom, or in which group."""
    if len(place) < 3:
        return ""
    row = content[str(place[0])][place[1]]
    who = row.get("id", row.get("name")) if isinstance(row, dict) else None
    return f", {describe_place(place[:2])}{f' ({who})' if isinstance(who, str) else ''}"


_HEAD = "# The class, with every name and the key: the teacher's file. Learners get start files."
_ABOUT_THE_KEY = "# Each learner's key follows from this one, and by it their numbers. Another one draws others."
_MORE = """\
# What a late hand-in costs; without these lines it costs nothing and is only told.
# late = { percent_per_day = 10, most_percent = 50, last_day = 14 }
# Which hand-in of a learner counts: "latest", "latest in time", "best in time".
# counts = "latest in time"
# Points that you give instead of the measured ones, and remarks; they stand on the learner's page.
# corrections = [
#   { learner = "a-01", exercise = "recording/leave-room", points = 4, remark = "Shown in class." },
# ]
# How marks.csv is written, where a spreadsheet wants it otherwise:
# csv = { separator = ";", decimal = "," }
# More, such as extensions, exemptions, groups and bonus: DEVELOPERS.md, "What you decide"."""


def class_text(made: ClassFile) -> str:
    """A class as TOML, in the order in which one reads it."""
    lines = [
        _HEAD,
        'schema  = "gainlib class"',
        f"version = {made.version}",
        f"title   = {toml_value(made.title)}",
        _ABOUT_THE_KEY,
        f"key     = {toml_value(made.key)}",
    ]
    if made.due is not None:
        lines.append(f"due     = {made.due.isoformat()}")
    else:
        example = (datetime.now(UTC) + timedelta(days=28)).replace(minute=0, second=0, microsecond=0)
        lines.append(f"# due   = {example.isoformat()}")
    if made.collect is not None:
        lines.append(f"collect = {toml_value(made.collect)}")
    else:
        lines.append('# A folder that everybody reaches, where hand-ins are put as well:\n# collect = "/srv/hand-ins"')
    if made.takes is not None:
        lines.append(f"takes   = {toml_value(made.takes)}  # what lessons are taught on")
    if not made.lists_names:
        lines.append("lists_names = false  # in the start file for all; each types their id")
    lines += [_MORE, "\nexercises = [", *exercise_rows(made), "]"]
    # A line of the roster has all that the list had of the learner.
    rows = [toml_value(each.model_dump(exclude_defaults=True)) for each in made.learners]
    return "\n".join([*lines, "learners = [", *(f"  {each}," for each in rows), "]"]) + "\n"


def exercise_rows(made: ClassBasis) -> list[str]:
    """The exercises of a class, a line of TOML each."""
    rows = []
    for each in made.exercises:
        parts = [f"name = {toml_value(each.name)}"]
        parts += [f"file = {toml_value(each.file)}"] if each.file else []
        parts += [f"points = {each.points:g}"] if each.points is not None else []
        parts += [f"role = {toml_value(each.role)}"] if each.role != "required" else []
        parts += ["any_version = true"] if each.any_version else []
        rows.append(f"  {{ {', '.join(parts)} }},")
    return rows
