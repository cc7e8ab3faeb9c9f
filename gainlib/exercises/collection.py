"""Exercises from their files: the collection by name, or a TOML file of one's own."""

from __future__ import annotations

import functools
import hashlib
from pathlib import Path
from typing import NamedTuple

from pydantic import ValidationError

from gainlib.errors import GainError, suggest
from gainlib.exercises.consistency import find_faults
from gainlib.exercises.each_strip import spread_over_strips
from gainlib.exercises.tables import EXERCISE_KINDS, Spec
from gainlib.exercises.variant import Exercise
from gainlib.storage import bundled_folder, given_path
from gainlib.storage.entry_faults import Fault, describe_fault
from gainlib.storage.foreign import read_text, toml_table
from gainlib.text import describe_value

__all__ = ["Entry", "build_exercise", "entry", "exercise_names", "load"]

LARGEST_FILE_BYTES = 64 * 1024


def exercise_names(kind: str = "") -> tuple[str, ...]:
    """The names of the collection's exercises, such as `recording/leave-room`, in order; of one kind where it is given.

    >>> "recording/leave-room" in exercise_names()
    True
    >>> "hearing/step-in-level" in exercise_names("hear")
    True
    """
    folder = bundled_folder("exercises")
    files = sorted(folder.glob("*/*.toml"))
    if kind:
        files = [each for each in files if toml_table(read_content(each), each.name).get("kind") == kind]
    return tuple(str(file.relative_to(folder).with_suffix("").as_posix()) for file in files)


def load(name: str | Path) -> Exercise:
    """The exercise of that name in the collection, or the one in a TOML file of one's own.

    Nothing in the file is executed. Raises GainError, with file and entry, for a name that is not known, a file that
    cannot be read, an entry that is missing, unknown, or makes no sense.

    >>> load("recording/leave-room").lesson
    'set-recording-level'
    """
    if not isinstance(name, str | Path):
        raise GainError(f"the exercise's name is {describe_value(name)}; give text such as 'recording/leave-room'.")
    if str(name).endswith(".toml"):
        file = given_path(name)
        return _load_file(own_name(file), file)
    known = exercise_names()
    if name not in known:
        raise GainError(f"there is no exercise {str(name)[:80]!r}; {suggest(str(name)[:80], known)}")
    return _load_file(str(name), _file_of(str(name)))


class Entry(NamedTuple):
    """What a list of the collection's exercises shows of one."""

    name: str
    title: str
    lesson: str
    level: int
    out_of: float


def entry(name: str) -> Entry:
    """What a list shows of the collection's exercise of that name; made anew only where its file has changed.

    >>> entry("recording/leave-room").out_of
    5.0
    """
    return _entry(name, read_content(_file_of(name)))


@functools.lru_cache(maxsize=1024)
def _entry(name: str, _content: str) -> Entry:
    exercise = load(name)
    return Entry(name, exercise.title, exercise.lesson, exercise.level, exercise.out_of)


def _file_of(name: str) -> Path:
    return bundled_folder("exercises").joinpath(*name.split("/")).with_suffix(".toml")


def _load_file(name: str, file: Path) -> Exercise:
    spec, content = read_spec(file)
    exercise, faults = build_exercise(name, file, spec, content)
    if exercise is None:
        raise GainError(f"{file.name}: {faults[0][1]}")
    return exercise


def build_exercise(name: str, file: Path, spec: Spec, content: bytes) -> tuple[Exercise | None, list[Fault]]:
    """The exercise of these entries, or None and everything in them that makes no sense, each with its place."""
    layout, parameters, faults = find_faults(spec, file)
    if faults or layout is None:
        return None, faults
    spread, rows = spread_over_strips(spec, layout.plan.strips)
    return Exercise(name, spread, file, hashlib.sha256(content).hexdigest()[:16], layout, parameters, rows), []


def own_name(file: Path) -> str:
    """The name of an exercise in a file of one's own: folder and file.

    >>> own_name(Path("/home/teacher/levels/hot-take.toml"))
    'levels/hot-take'
    """
    return f"{file.resolve().parent.name}/{file.stem}"


def read_content(file: Path) -> str:
    """The text of an exercise file; a GainError for one that cannot be read, is too large or is not UTF-8."""
    return read_text(file, LARGEST_FILE_BYTES, "an exercise")


def read_spec(file: Path) -> tuple[Spec, bytes]:
    """The entries of an exercise file, and the file's text; a GainError names the file and the entry at fault."""
    text = read_content(file)
    entries = toml_table(text, file.name)
    kind = entries.get("kind")
    if kind is None:
        raise GainError(f"{file.name} lacks the entry kind; known are {', '.join(EXERCISE_KINDS)}.")
    if not isinstance(kind, str) or kind not in EXERCISE_KINDS:
        raise GainError(f"{file.name}: kind is {describe_value(kind)}; {suggest(str(kind)[:80], EXERCISE_KINDS)}")
    try:
        return Spec.model_validate(entries), text.encode()
    except ValidationError as fault:
        raise GainError(f"{file.name}: {describe_fault(fault.errors()[0], Spec)}") from fault
