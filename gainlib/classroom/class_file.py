"""The class file: key, roster, exercises with their points, due date and rule for late hand-ins; two TOML files.

The teacher's file has all of it. The learners' file is what a learner's computer needs, and no more: the key that
draws everybody's numbers, the exercises, the due date, and a code for each id by which a mistyped id is noticed. It
has no names.
"""

from __future__ import annotations

import functools
import os
import secrets
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field

from gainlib.errors import GainError
from gainlib.exercises import exercise_names, load
from gainlib.learners.learners_file import (
    FOR_LEARNERS,
    ClassBasis,
    ShortText,
    code_of,
    read_class_file,
    validate_class,
)
from gainlib.learners.naming import require_text
from gainlib.storage import atomic_write, toml_value
from gainlib.storage.entry_faults import Entry

__all__ = ["ClassFile", "Late", "RosterLine", "new_class", "read_class", "write_learners_file"]


class RosterLine(Entry):
    """One line of the roster."""

    id: ShortText
    name: ShortText

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
    learners: Annotated[list[RosterLine], Field(max_length=100_000)] = Field(default_factory=list)

    @functools.cached_property
    def roster(self) -> dict[str, RosterLine]:
        """The learners by their id."""
        return {each.id: each for each in self.learners}

    def days_late(self, made: datetime) -> int:
        """Days begun since the due date; 0 for in time."""
        if self.due is None or made <= self.due:
            return 0
        return -((self.due - made) // timedelta(days=1))

    def penalty_percent(self, made: datetime) -> float:
        """What is taken off a hand-in of that time, in percent; 100 after the last day."""
        days = self.days_late(made)
        if not days or self.late is None:
            return 0.0
        if self.late.last_day is not None and days > self.late.last_day:
            return 100.0
        return min(self.late.most_percent, days * self.late.percent_per_day)

    def for_learners(self) -> str:
        """The learners' file as text."""
        tags = [code_of(self.key, "id", each.id) for each in self.learners]
        return _text(self, "gainlib class for learners", {"ids": sorted(tags)} if tags else {})


def new_class(
    file: str | os.PathLike[str],
    *,
    title: str = "",
    roster: Sequence[RosterLine] = (),
    exercises: Iterable[str] = (),
    due: datetime | None = None,
    collect: str = "",
) -> tuple[Path, Path]:
    """Write the teacher's and the learners' file of a new class, with a new key; gives both paths.

    `exercises` are names of the collection (all of it, when none is given) or paths of TOML files of one's own, which
    are written relative to the class file. Nothing is written over. Raises GainError for what makes no sense.

    >>> import tempfile
    >>> for each in new_class(Path(tempfile.mkdtemp()) / "group-a", exercises=["recording/leave-room"]):
    ...     print(each.name)
    group-a.toml
    group-a-for-learners.toml
    """
    target = Path(file)
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
        "version": 1,
        "title": require_text("--title", title or target.stem),
        "key": secrets.token_hex(16),
        "exercises": entries,
        "learners": [each.model_dump() for each in roster],
    }
    if due is not None:
        content["due"] = due
    if collect:
        content["collect"] = collect
    made = validate_class(content, ClassFile, target)
    learners_file = _learners_path(target)
    for path in (target, learners_file):
        if path.exists() or path.is_symlink():
            raise GainError(f"{path} is there already; give another name, or move it away.")
    atomic_write(target, _text(made, "gainlib class", {}, LATE_EXAMPLE, made.learners), private=True, make_folder=True)
    return target, atomic_write(learners_file, made.for_learners(), shared=True)


def write_learners_file(file: str | os.PathLike[str]) -> Path:
    """Write the learners' file of a class again, after the class file was changed; gives its path."""
    target = Path(file)
    return atomic_write(_learners_path(target), read_class(target).for_learners(), shared=True)


def read_class(file: str | os.PathLike[str]) -> ClassFile:
    """The class of a teacher's file. Raises GainError, with file and entry, for one that cannot be used."""
    found = read_class_file(Path(file), ClassFile)
    twice = sorted({each.id for each in found.learners if sum(other.id == each.id for other in found.learners) > 1}
                   if len(found.roster) < len(found.learners) else ())  # fmt: skip
    if twice:
        raise GainError(f"{Path(file).name}: the id {twice[0]!r} is in the roster twice; give each learner their own.")
    return found


def _learners_path(file: Path) -> Path:
    return file.with_name(file.stem + FOR_LEARNERS)


LATE_EXAMPLE = """
# What a late hand-in costs; without these lines it costs nothing and is only told.
# late = { percent_per_day = 10, most_percent = 50, last_day = 14 }
"""


def _text(
    made: ClassBasis, schema: str, more: dict[str, Any], note: str = "", learners: Sequence[RosterLine] = ()
) -> str:
    """A class as TOML, in the order in which one reads it."""
    of_teacher = schema == "gainlib class"
    lines = [
        "# The class, with every name: the teacher's file. Learners get the other one."
        if of_teacher
        else "# What a learner's computer needs of the class. Every learner may have it; there are no names in it.",
        f"schema  = {toml_value(schema)}",
        "version = 1",
        f"title   = {toml_value(made.title)}",
        "# Each learner's numbers are drawn with this key. Who changes it draws other numbers for all.",
        f"key     = {toml_value(made.key)}",
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
    lines += [note.strip()] if note else []
    lines.append("\nexercises = [")
    for each in made.exercises:
        parts = [f"name = {toml_value(each.name)}"]
        parts += [f"file = {toml_value(each.file)}"] if each.file else []
        parts += [f"points = {each.points:g}"] if each.points is not None else []
        lines.append(f"  {{ {', '.join(parts)} }},")
    lines.append("]")
    for name, values in more.items():
        lines += [f"{name} = [", *(f"  {toml_value(each)}," for each in values), "]"]
    if of_teacher:
        lines.append("learners = [")
        lines += [f"  {{ id = {toml_value(each.id)}, name = {toml_value(each.name)} }}," for each in learners]
        lines.append("]")
    return "\n".join(lines) + "\n"
