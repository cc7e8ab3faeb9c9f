"""The class file: key, roster, exercises with their points, due date and rule for late hand-ins; and what learners get.

The teacher's file has all of it. A learner gets what their computer needs, and no more: the exercises, the due date and
a key; either in a file of their own, one for each of the roster, or in the one for all.
"""

from __future__ import annotations

import functools
import glob
import itertools
import os
import secrets
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from gainlib.authoring.messages import FileFault, parse_text
from gainlib.classroom.decisions import ALL, Correction, Section, WhichCounts, faults_of_decisions
from gainlib.classroom.due_dates import date_faults, untangled_dates
from gainlib.errors import GainError
from gainlib.exercises import exercise_names, load
from gainlib.learners.learners_file import (
    FOR_LEARNERS,
    LARGEST_CLASS_BYTES,
    ClassBasis,
    Learner,
    ShortText,
    code_of,
    validate_class,
)
from gainlib.learners.naming import file_names, require_text
from gainlib.storage import atomic_write, given_path, toml_value
from gainlib.storage.entry_faults import Entry
from gainlib.storage.foreign import Place, describe_place, read_text, toml_table

__all__ = [
    "ClassFile",
    "Late",
    "RosterLine",
    "left_over",
    "new_class",
    "own_files_of",
    "read_class",
    "write_learners_file",
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
    """A class as the teacher keeps it.

    >>> ClassFile.model_validate({"schema": "gainlib class", "version": 1, "title": "Group A", "key": "k" * 16,
    ...     "exercises": [{"name": "recording/leave-room"}]}).penalty_percent(datetime.now(UTC))
    0.0
    """

    schema_: Literal["gainlib class"] = Field(alias="schema")
    late: Late | None = None
    counts: WhichCounts = "latest"
    groups: Annotated[list[Section], Field(max_length=1000)] = Field(default_factory=list)
    corrections: Annotated[list[Correction], Field(max_length=100_000)] = Field(default_factory=list)
    learners: Annotated[list[RosterLine], Field(max_length=100_000)] = Field(default_factory=list)

    @functools.cached_property
    def roster(self) -> dict[str, RosterLine]:
        """The learners by their id."""
        return {each.id: each for each in self.learners}

    @functools.cached_property
    def correction_of(self) -> dict[tuple[str, str | None], Correction]:
        """The corrections by learner and exercise; None is the whole hand-in."""
        return {(each.learner, each.exercise): each for each in self.corrections}

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

    def for_learners(self) -> str:
        """The learners' file for all as text; it holds the class's key."""
        codes = sorted(code_of(self.key, "id", each.id) for each in self.learners)
        rows = ["ids = [", *(f"  {toml_value(each)}," for each in codes), "]"] if codes else []
        return _text(self, _FOR_ALL, self.key, rows)

    def for_one(self, learner: RosterLine) -> str:
        """A learner's own file as text; it holds their key and name, and nobody else's."""
        who = [f"tag     = {toml_value(self.tag)}", f"learner = {toml_value({'id': learner.id, 'name': learner.name})}"]
        own = self.model_copy(update={"due": self.due_for(learner.id)})
        return _text(own, _FOR_ONE, self.key_of(learner.id), who)


def new_class(
    file: str | os.PathLike[str],
    *,
    title: str = "",
    roster: Sequence[RosterLine] = (),
    exercises: Iterable[str] = (),
    due: datetime | None = None,
    collect: str = "",
) -> tuple[Path, Path]:
    """Write the teacher's file of a new class, with a new key, and the learners' one; gives both paths.

    With a roster, each learner's own file is written as well, into the folder that `own_files_of` names.

    `exercises` are names of the collection (all of it, when none is given) or paths of TOML files of one's own, which
    are written relative to the class file. Nothing is written over. Raises GainError for what makes no sense.

    >>> import tempfile
    >>> for each in new_class(Path(tempfile.mkdtemp()) / "group-a", exercises=["recording/leave-room"]):
    ...     print(each.name)
    group-a.toml
    group-a-for-learners.toml
    """
    target = given_path(file)
    target = target if target.suffix == ".toml" else target.with_name(f"{target.name}.toml")
    entries = []
    for each in exercises or exercise_names():
        exercise = load(each)
        entry: dict[str, Any] = {"name": exercise.name, "points": float(exercise.out_of)}
        if str(each).endswith(".toml"):
            entry["file"] = Path(os.path.relpath(Path(each).resolve(), target.parent.resolve())).as_posix()
        entries.append(entry)
    content: dict[str, Any] = {
        "schema": "gainlib class",
        "version": 2,
        "title": require_text("--title", title or target.stem),
        "key": secrets.token_hex(16),
        "exercises": entries,
        "learners": [each.model_dump(exclude_defaults=True) for each in roster],
    }
    if due is not None:
        content["due"] = due
    if collect:
        content["collect"] = collect
    made = validate_class(content, ClassFile, target)
    learners_file = _learners_path(target)
    for path in (target, learners_file, own_files_of(target)):
        if path.exists() or path.is_symlink():
            raise GainError(f"{path} is there already; give another name, or move it away.")
    rows = ["learners = [", *(f"  {_told(each)}," for each in made.learners), "]"]
    atomic_write(target, _text(made, _FOR_TEACHER, made.key, rows), private=True, make_folder=True)
    _write_own_files(target, made)
    return target, atomic_write(learners_file, made.for_learners(), shared=True)


def write_learners_file(file: str | os.PathLike[str]) -> Path:
    """Write the learners' file and each learner's own again, after the class file was changed; gives its path."""
    target = Path(file)
    of_class = read_class(target)
    _write_own_files(target, of_class)
    return atomic_write(_learners_path(target), of_class.for_learners(), shared=True)


def own_files_of(file: str | os.PathLike[str]) -> Path:
    """The folder in which each learner's own file lies, beside the class file.

    >>> own_files_of("group-a.toml").name
    'group-a-own-files'
    """
    return Path(file).with_name(f"{Path(file).stem}-own-files")


def left_over(file: str | os.PathLike[str]) -> list[Path]:
    """Own files of learners who are on the roster no longer: they still draw numbers and sign, until they are deleted.

    >>> left_over("no-such-class.toml")
    []
    """
    target, own = Path(file), own_files_of(file)
    if not own.is_dir():
        return []
    of_class = read_class(target)
    kept = {_own_file(target, name) for name in file_names(each.id for each in of_class.learners).values()}
    return sorted(each for each in own.glob(f"{glob.escape(target.stem)}-for-*.toml") if each not in kept)


def _own_file(target: Path, name: str) -> Path:
    return own_files_of(target) / f"{target.stem}-for-{name}.toml"


def _write_own_files(target: Path, of_class: ClassFile) -> None:
    """One file for each of the roster; for the teacher alone, who gives each learner theirs."""
    if not of_class.signs:
        return  # in a class of gainlib 0.1 one key draws all numbers, so there is none of one's own
    names = file_names(each.id for each in of_class.learners)
    for each in of_class.learners:
        atomic_write(_own_file(target, names[each.id]), of_class.for_one(each), private=True, make_folder=True)


def read_class(file: str | os.PathLike[str]) -> ClassFile:
    """The class of a teacher's file. Raises GainError, with file and entry, for one that cannot be used."""
    path = Path(file)
    found = validate_class(_entries(path), ClassFile, path)
    twice = sorted({each.id for each in found.learners if sum(other.id == each.id for other in found.learners) > 1}
                   if len(found.roster) < len(found.learners) else ())  # fmt: skip
    if twice:
        raise GainError(f"{path.name}: the id {twice[0]!r} is in the roster twice; give each learner their own.")
    names = [each.name for each in found.exercises]
    if faults := list(faults_of_decisions(names, found.learners, found.groups, found.corrections)):
        raise GainError(*(f"{path.name}: {each}" for each in faults[:MOST_TOLD]))
    if all(each.role != "required" for each in found.exercises):
        raise GainError(f"{path.name}: no exercise counts to the full marks; leave out the role of at least one.")
    return found


def _entries(path: Path) -> dict[str, Any]:
    """The entries of a teacher's file; what they typed otherwise than TOML has it is told with its line."""
    text = read_text(path, LARGEST_CLASS_BYTES, "a class file")
    try:
        content = toml_table(text, path.name)
    except GainError as fault:
        text, told = untangled_dates(text)
        slips: list[FileFault] = []
        parse_text(text, slips)
        told += [slip.text for slip in slips]
        raise GainError(*(f"{path.name}, {each}" for each in told[:MOST_TOLD] or [str(fault)])) from fault
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


def _learners_path(file: Path) -> Path:
    return file.with_name(file.stem + FOR_LEARNERS)


_FOR_TEACHER = "# The class, with every name and the key: the teacher's file. Learners get another one."
_FOR_ALL = "# What a learner's computer needs of the class; the same for all. There are no names in it."
_FOR_ONE = "# What one learner's computer needs of the class. It is for this learner and for nobody else."
_ABOUT_THE_KEY = {
    _FOR_TEACHER: "# Each learner's key follows from this one, and by it their numbers. Another one draws others.",
    _FOR_ALL: "# Each learner's key follows from this one: who has it can hand in under any name.",
    _FOR_ONE: "# It draws this learner's numbers and signs what they hand in.",
}
_MORE_FOR_TEACHER = """\
# What a late hand-in costs; without these lines it costs nothing and is only told.
# late = { percent_per_day = 10, most_percent = 50, last_day = 14 }
# Which hand-in of a learner counts: "latest", "latest in time", "best in time".
# counts = "latest in time"
# Points that you give instead of the measured ones, and remarks; they stand on the learner's page.
# corrections = [
#   { learner = "a-01", exercise = "recording/leave-room", points = 4, remark = "Shown in class." },
# ]
# More, such as extensions, exemptions, groups and bonus: DEVELOPERS.md, "What you decide"."""


def _text(made: ClassBasis, kind: str, key: str, rows: Iterable[str]) -> str:
    """A class as TOML, in the order in which one reads it; `rows` come last, in a learner's own file first."""
    of_teacher = kind is _FOR_TEACHER
    rows = list(rows)
    lines = [
        kind,
        f"schema  = {toml_value('gainlib class' if of_teacher else 'gainlib class for learners')}",
        f"version = {made.version}",
        f"title   = {toml_value(made.title)}",
        *(rows if kind is _FOR_ONE else []),
        _ABOUT_THE_KEY[kind],
        f"key     = {toml_value(key)}",
    ]
    if made.due is not None:
        lines.append(f"due     = {made.due.isoformat()}")
    elif of_teacher:
        example = (datetime.now(UTC) + timedelta(days=28)).replace(minute=0, second=0, microsecond=0)
        lines.append(f"# due   = {example.isoformat()}")
    if made.collect is not None:
        lines.append(f"collect = {toml_value(made.collect)}")
    elif of_teacher:
        lines.append('# A folder that everybody reaches, where hand-ins are put as well:\n# collect = "/srv/hand-ins"')
    lines += [_MORE_FOR_TEACHER] if of_teacher else []
    lines.append("\nexercises = [")
    for each in made.exercises:
        parts = [f"name = {toml_value(each.name)}"]
        parts += [f"file = {toml_value(each.file)}"] if each.file else []
        parts += [f"points = {each.points:g}"] if each.points is not None else []
        parts += [f"role = {toml_value(each.role)}"] if each.role != "required" else []
        lines.append(f"  {{ {', '.join(parts)} }},")
    lines += ["]", *([] if kind is _FOR_ONE else rows)]
    return "\n".join(lines) + "\n"


def _told(learner: RosterLine) -> str:
    """A line of the roster with all that the list had of the learner; for the teacher's file alone."""
    return toml_value(learner.model_dump(exclude_defaults=True))
