"""The class file: key, roster, exercises with their points, due date and rule for late hand-ins; two TOML files.

The teacher's file has all of it. The learners' file is what a learner's computer needs, and no more: the key that
draws everybody's numbers, the exercises, the due date, and a code for each id by which a mistyped id is noticed. It
has no names.
"""

from __future__ import annotations

import functools
import hashlib
import hmac
import json
import os
import secrets
import tomllib
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from gainlib.errors import GainError, nearest
from gainlib.exercises import Exercise, exercise_names, load
from gainlib.exercises.entry_faults import describe_fault
from gainlib.exercises.tables import shown
from gainlib.learners.progress import require_text
from gainlib.storage import atomic_write, toml_value
from gainlib.text import reason_of

__all__ = [
    "ClassFile", "ExerciseEntry", "Late", "Learner", "LearnersFile", "new_class", "read_class", "read_learners_file",
    "write_learners_file",
]  # fmt: skip

LARGEST_CLASS_BYTES = 32 * 1024 * 1024
FOR_LEARNERS = "-for-learners.toml"

Line = Annotated[str, StringConstraints(min_length=1, max_length=200)]
Key = Annotated[str, StringConstraints(min_length=16, max_length=200)]
Points = Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]


class _Entry(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class Learner(_Entry):
    """One line of the roster."""

    id: Line
    name: Line

    def __repr__(self) -> str:
        return f"Learner(id={self.id!r}, name={self.name!r})"


class ExerciseEntry(_Entry):
    """An exercise of the class: its name, its file if it is not in the collection, and what it is worth."""

    name: Line
    file: Line | None = None
    points: Points | None = None


class Late(_Entry):
    """What a late hand-in costs: so much for each day begun, never more than `most_percent`, none after `last_day`."""

    percent_per_day: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)]
    most_percent: Annotated[float, Field(ge=0, le=100, allow_inf_nan=False)] = 100.0
    last_day: Annotated[int, Field(ge=1, le=3650)] | None = None


class _Class(_Entry):
    version: Literal[1]
    title: Line
    key: Key
    exercises: Annotated[list[ExerciseEntry], Field(min_length=1, max_length=500)]
    due: datetime | None = None
    collect: Line | None = None

    @property
    def tag(self) -> str:
        """A short word for this class that a hand-in carries, and from which the key cannot be told."""
        return _tag(self.key, "class")


Kind = TypeVar("Kind", "LearnersFile", "ClassFile")


class LearnersFile(_Class):
    """What a learner's computer gets of a class: no names; `ids` holds a code for each id."""

    schema_: Literal["gainlib class for learners"] = Field(alias="schema")
    ids: Annotated[list[Line], Field(max_length=100_000)] = Field(default_factory=list)

    def knows(self, learner_id: str) -> bool:
        """Whether the id is one of this class; a class without a roster knows every id."""
        return not self.ids or _tag(self.key, "id", learner_id) in self.ids


class ClassFile(_Class):
    """A class as the teacher keeps it.

    >>> ClassFile.model_validate({"schema": "gainlib class", "version": 1, "title": "Group A", "key": "k" * 16,
    ...     "exercises": [{"name": "recording/leave-room"}]}).penalty_percent(datetime.now(UTC))
    0.0
    """

    schema_: Literal["gainlib class"] = Field(alias="schema")
    late: Late | None = None
    learners: Annotated[list[Learner], Field(max_length=100_000)] = Field(default_factory=list)

    @functools.cached_property
    def roster(self) -> dict[str, Learner]:
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
        tags = [_tag(self.key, "id", each.id) for each in self.learners]
        return _text(self, "gainlib class for learners", {"ids": sorted(tags)} if tags else {})


def _tag(key: str, *about: str) -> str:
    return hmac.new(key.encode(), json.dumps(about).encode(), hashlib.sha256).hexdigest()[:16]


def new_class(
    file: str | os.PathLike[str],
    *,
    title: str = "",
    roster: Sequence[Learner] = (),
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
    made = _validated(content, ClassFile, target)
    learners_file = _learners_path(target)
    for path in (target, learners_file):
        if path.exists() or path.is_symlink():
            raise GainError(f"{path} is there already; give another name, or move it away.")
    atomic_write(target, _text(made, "gainlib class", {}, LATE_EXAMPLE, made.learners), private=True, make_folder=True)
    return target, atomic_write(learners_file, made.for_learners())


def write_learners_file(file: str | os.PathLike[str]) -> Path:
    """Write the learners' file of a class again, after the class file was changed; gives its path."""
    target = Path(file)
    return atomic_write(_learners_path(target), read_class(target).for_learners())


def read_class(file: str | os.PathLike[str]) -> ClassFile:
    """The class of a teacher's file. Raises GainError, with file and entry, for one that cannot be used."""
    found = _read(Path(file), ClassFile)
    twice = sorted({each.id for each in found.learners if sum(other.id == each.id for other in found.learners) > 1}
                   if len(found.roster) < len(found.learners) else ())  # fmt: skip
    if twice:
        raise GainError(f"{Path(file).name}: the id {twice[0]!r} is in the roster twice; give each learner their own.")
    return found


def read_learners_file(file: str | os.PathLike[str]) -> LearnersFile:
    """The class of a learners' file. Raises GainError, with file and entry, for one that cannot be used."""
    return _read(Path(file), LearnersFile)


def exercise_of(entry: ExerciseEntry, home: Path) -> Exercise:
    """The exercise of an entry; a file of one's own lies where the entry says, seen from the class file's folder."""
    exercise = load(home / entry.file) if entry.file else load(entry.name)
    if exercise.name != entry.name:
        raise GainError(f"{entry.file} is {exercise.name}; the class file calls it {entry.name!r}. Use one name.")
    return exercise


def _learners_path(file: Path) -> Path:
    return file.with_name(file.stem + FOR_LEARNERS)


def told_of(fault: ValidationError, model: type[BaseModel]) -> str:
    """The first of pydantic's faults as a plain sentence."""
    first: Any = fault.errors(include_url=False)[0]
    *table, name = first["loc"]
    if first["type"] != "extra_forbidden":
        return describe_fault(first)
    if table:
        return f"there is no entry {str(name)[:80]} in {' '.join(str(each) for each in table[:1])}; leave it out."
    known = [field.alias or own for own, field in model.model_fields.items()]
    return f"there is no entry {str(name)[:80]}; {nearest(str(name)[:80], known)}"


def _read(file: Path, model: type[Kind]) -> Kind:
    try:
        if file.stat().st_size > LARGEST_CLASS_BYTES:
            raise GainError(f"{file.name} is larger than {LARGEST_CLASS_BYTES // 1024**2} MB; that is no class file.")
        content = tomllib.loads(file.read_text(encoding="utf-8"))
    except OSError as fault:
        raise GainError(f"{file} cannot be read ({reason_of(fault)}); check the name.") from fault
    except UnicodeDecodeError as fault:
        raise GainError(f"{file.name} is not UTF-8 text (byte {fault.start}); save it as UTF-8.") from fault
    except (tomllib.TOMLDecodeError, RecursionError) as fault:
        reason = str(fault).rstrip(".") or "nested too deep"
        raise GainError(f"{file.name} is not valid TOML: {reason[0].lower()}{reason[1:]}.") from fault
    return _validated(content, model, file)


def _validated(content: dict[str, Any], model: type[Kind], file: Path) -> Kind:
    (wanted,) = get_args(model.model_fields["schema_"].annotation)
    if (found := content.get("schema")) != wanted:
        other = {"gainlib class": "the teacher's file, with all names in it; give the one that ends with "
                 f"{FOR_LEARNERS}", "gainlib class for learners": "the learners' file; give the teacher's"}  # fmt: skip
        why = other.get(str(found), f"not a class file: schema is {shown(found)} and must be {wanted!r}")
        raise GainError(f"{file.name} is {why}.")
    try:
        made = model.model_validate(content)
    except ValidationError as fault:
        raise GainError(f"{file.name}: {told_of(fault, model)}") from fault
    if made.due is not None and made.due.tzinfo is None:
        raise GainError(f"{file.name}: due has no time zone; write for example {made.due.isoformat()}+01:00.")
    names = [each.name for each in made.exercises]
    if len(set(names)) < len(names):
        twice = next(each for each in names if names.count(each) > 1)
        raise GainError(f"{file.name}: the exercise {twice} is there twice; name it once.")
    return made


LATE_EXAMPLE = """
# What a late hand-in costs; without these lines it costs nothing and is only told.
# late = { percent_per_day = 10, most_percent = 50, last_day = 14 }
"""


def _text(made: _Class, schema: str, more: dict[str, Any], note: str = "", learners: Sequence[Learner] = ()) -> str:
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
