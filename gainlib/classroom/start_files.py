"""A new class with its start files, and start files written anew: one for all, and an own one for each learner."""

from __future__ import annotations

import functools
import glob
import hashlib
import os
import secrets
import shlex
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from gainlib.authoring.known_proofs import proof_known
from gainlib.classroom.class_file import ClassFile, RosterLine, class_text, exercise_rows, read_class
from gainlib.errors import GainError
from gainlib.exercises import Exercise, exercise_names, load
from gainlib.exercises.contents import task_digest
from gainlib.learners.learners_file import ENDING, ClassExercise, Learner, code_of, load_entry, validate_class
from gainlib.learners.naming import file_names, require_text
from gainlib.learners.start_file import LARGEST_BYTES, fault_of_path, pack, read_start_file
from gainlib.media_sets import MediaSet, read_media_set
from gainlib.storage import atomic_write, bundled_folder, given_path, toml_value
from gainlib.text import counted, describe_value, memory, path_text

__all__ = [
    "Packing",
    "edition_given_out",
    "edition_of",
    "left_over",
    "new_class",
    "own_files_of",
    "packing_of",
    "start_file_of",
    "told_size",
    "told_takes",
    "told_unproven",
    "write_start_files",
]

MUCH_BYTES = 1_000_000_000
"""So much for all start files together is told, with what makes it less."""


@dataclass(frozen=True)
class Packing:
    """What goes into the start files of a class: every file by its path there, and the edition of the class.

    Of the `takes` that its lessons are taught on they name the title and the table's digest.
    """

    of_class: ClassFile
    files: Mapping[str, Path]
    edition: str
    made: datetime
    takes: MediaSet | None = None

    @property
    def bytes(self) -> int:
        """How large the exercises and recordings are."""
        return sum(each.stat().st_size for each in self.files.values())

    @functools.cached_property
    def _listed(self) -> list[str]:
        rows = []
        for path, file in sorted(self.files.items()):
            with file.open("rb") as content:
                digest = hashlib.file_digest(content, "sha256").hexdigest()
            rows.append(f"  {toml_value({'path': path, 'bytes': file.stat().st_size, 'sha256': digest})},")
        return rows

    def text(self, learner: RosterLine | None) -> str:
        """The class as a learner's computer gets it, for this learner alone or for all."""
        of = self.of_class
        who = [toml_value({"id": each.id, "name": each.name}) for each in ([learner] if learner else of.learners)]
        lines = [
            "# What a learner's computer needs of the class.",
            'schema  = "gainlib class for learners"',
            f"version = {of.version}",
            f"title   = {toml_value(of.title)}",
        ]
        if learner:
            lines += [f"tag     = {toml_value(of.tag)}", f"learner = {who[0]}"]
            lines += ["# It draws this learner's numbers and signs what they hand in."]
        else:
            lines += ["# Each learner's key follows from this one: who has it can hand in under any name."]
        lines += [f"key     = {toml_value(of.key_of(learner.id) if learner else of.key)}"]
        due = of.due_for(learner.id) if learner else of.due
        lines += [f"due     = {due.isoformat()}"] if due else []
        lines += [f"collect = {toml_value(of.collect)}"] if of.collect else []
        if self.takes:
            known = {"title": self.takes.title, "sha256": self.takes.digest}
            lines += [f"takes   = {toml_value(known)}  # what the lessons are taught on; its sound is not here"]
        lines += [f"edition = {toml_value(self.edition)}", f"made    = {self.made.isoformat()}"]
        lines += ["\nexercises = [", *exercise_rows(self._packed(learner)), "]", "files = [", *self._listed, "]"]
        if not learner and of.learners and of.lists_names:
            lines += ["learners = [", *(f"  {each}," for each in who), "]"]
        elif not learner and of.learners:
            codes = sorted(code_of(of.key, "id", each.id) for each in of.learners)
            lines += ["ids = [", *(f"  {toml_value(each)}," for each in codes), "]"]
        return "\n".join(lines) + "\n"

    def _packed(self, learner: RosterLine | None) -> ClassFile:
        """The class as a start file has it: own exercises by their paths there; what one need not do is practice."""

        def entry(each: ClassExercise) -> ClassExercise:
            exempt = learner is not None and self.of_class.is_exempt(learner.id, each.name)
            own = {"file": f"{each.name}.toml"} if each.file else {}
            return each.model_copy(update={"any_version": False, **own, **({"role": "optional"} if exempt else {})})

        return self.of_class.model_copy(update={"exercises": [entry(each) for each in self.of_class.exercises]})


def packing_of(of_class: ClassFile, home: Path) -> Packing:
    """What goes into the start files of a class whose file lies in `home`.

    Raises GainError for an exercise that cannot be used, and for names that not every computer takes.
    """
    exercises = {each.name: load_entry(each, home) for each in of_class.exercises}
    files: dict[str, Path] = {}
    for entry in of_class.exercises:
        if fault := fault_of_path(f"{entry.name}.toml"):
            raise GainError(f"{entry.name} cannot be given out: {fault}; rename the file or its folder.")
        if entry.file:
            for path, file in _files_of(exercises[entry.name]).items():
                _add(files, path, file, entry.name)
    takes = read_media_set(home / of_class.takes) if of_class.takes else None
    made = Packing(of_class, files, edition_of(of_class, exercises), datetime.now(UTC).replace(microsecond=0), takes)
    if made.bytes > LARGEST_BYTES:
        raise GainError(
            f"the exercises of your own come to {memory(made.bytes)} with their recordings, and a start file may have "
            f"{memory(LARGEST_BYTES)}; cut the recordings, or save them as FLAC."
        )
    return made


def _files_of(exercise: Exercise) -> dict[str, Path]:
    """An exercise's own file and its recordings but the course's, each by its path in a start file."""
    home, media = exercise.file.parent, bundled_folder("media")
    folder = exercise.name.rpartition("/")[0]
    takes = {each.file for each in exercise.layout.plan.strips if each.file and not each.file.is_relative_to(media)}
    own = {f"{folder}/{each.relative_to(home).as_posix()}": each for each in sorted(takes)}
    return {f"{exercise.name}.toml": exercise.file, **own}


def _add(files: dict[str, Path], path: str, file: Path, name: str) -> None:
    if fault := fault_of_path(path):
        raise GainError(f"{name} cannot be given out: {fault}; rename it.")
    for other, there in files.items():
        if other.casefold() == path.casefold() and not there.samefile(file):
            raise GainError(
                f"{path_text(there)} and {path_text(file)} would both be {describe_value(path)} in the start file; "
                "rename one of them, or its folder."
            )
        if other.casefold() == path.casefold():
            return
    files[path] = file


def edition_of(of_class: ClassFile, exercises: Mapping[str, Exercise]) -> str:
    """A short word for one state of the class: title, dates, exercises with their recordings, points and roles.

    Start files carry it, and so does what is handed in; another one tells that something was changed in between.

    >>> one = ClassFile.model_validate({"schema": "gainlib class", "version": 2, "title": "Group A", "key": "k" * 16,
    ...     "exercises": [{"name": "recording/leave-room"}]})
    >>> len(edition_of(one, {"recording/leave-room": load("recording/leave-room")}))
    8
    """
    rows: list[list[Any]] = []
    for each in of_class.exercises:
        role = [each.role] if each.role != "required" else []
        rows.append([each.name, each.points, task_digest(exercises[each.name]), *role])
    due = of_class.due.astimezone(UTC).isoformat() if of_class.due else ""
    # What differs from learner to learner stands in their own start files.
    dates = {each.id: of_class.due_for(each.id) for each in of_class.learners}
    own = [[each, at.astimezone(UTC).isoformat()] for each, at in dates.items() if at and at != of_class.due]
    own += [[each.id, *each.exempt] for each in of_class.learners if each.exempt]
    return hashlib.sha256(repr([of_class.title, due, rows, *([own] if own else [])]).encode()).hexdigest()[:8]


def edition_given_out(file: str | os.PathLike[str]) -> str:
    """The edition of the start file for all beside a class file; empty where none is there, or it cannot be read.

    >>> edition_given_out("no-such-class.toml")
    ''
    """
    try:
        return read_start_file(start_file_of(file)).of.edition
    except GainError:
        return ""


def new_class(
    file: str | os.PathLike[str],
    *,
    title: str = "",
    roster: Sequence[RosterLine] = (),
    exercises: Iterable[str] = (),
    due: datetime | None = None,
    collect: str = "",
    takes: str | os.PathLike[str] = "",
    lists_names: bool = True,
) -> tuple[Path, Path]:
    """Write the teacher's file of a new class, with a new key, and the start file for all; gives both paths.

    With a roster, each learner's own start file is written as well, into the folder that `own_files_of` names, and the
    one for all lists ids and names to choose from, unless `lists_names` is false.

    `exercises` are names of the collection (all of it, when none is given) or paths of TOML files of one's own, which
    are packed into the start files with their recordings. `takes` is the folder of a media set that the lessons are
    taught on: start files name it. Nothing is written over. Raises GainError for what makes no sense.

    >>> import tempfile
    >>> for each in new_class(Path(tempfile.mkdtemp()) / "group-a", exercises=["recording/leave-room"]):
    ...     print(each.name)
    group-a.toml
    group-a.gainclass
    """
    target = given_path(file)
    target = target if target.suffix == ".toml" else target.with_name(f"{target.name}.toml")
    course = bundled_folder("exercises").resolve()
    entries = []
    for each in exercises or exercise_names():
        exercise = load(each)
        entry: dict[str, Any] = {"name": exercise.name}
        entry |= {"points": float(exercise.out_of)} if exercise.is_marked else {}
        if str(each).endswith(".toml") and not exercise.file.resolve().is_relative_to(course):
            entry["file"] = Path(os.path.relpath(Path(each).resolve(), target.parent.resolve())).as_posix()
        entries.append(entry)
    content: dict[str, Any] = {
        "schema": "gainlib class",
        "version": 2,
        "title": require_text("--title", title or target.stem),
        "key": secrets.token_hex(16),
        "exercises": entries,
        "lists_names": lists_names,
        "learners": [each.model_dump(exclude_defaults=True) for each in roster],
    }
    if due is not None:
        content["due"] = due
    if collect:
        content["collect"] = collect
    if os.fspath(takes):
        content["takes"] = Path(os.path.relpath(given_path(takes).resolve(), target.parent.resolve())).as_posix()
    made = validate_class(content, ClassFile, target)
    for path in (target, start_file_of(target), own_files_of(target)):
        if path.exists() or path.is_symlink():
            raise GainError(f"{path} is there already; give another name, or move it away.")
    packing = packing_of(made, target.parent)
    atomic_write(target, class_text(made), private=True, make_folder=True)
    return target, _write(target, packing)


def write_start_files(file: str | os.PathLike[str]) -> Packing:
    """Write all start files of a class again, after its file or an exercise was changed; gives what went into them."""
    target = Path(file)
    packing = packing_of(read_class(target), target.parent)
    _write(target, packing)
    return packing


def start_file_of(file: str | os.PathLike[str]) -> Path:
    """The start file for all, beside the class file.

    >>> start_file_of("group-a.toml").name
    'group-a.gainclass'
    """
    return Path(file).with_suffix(ENDING)


def own_files_of(file: str | os.PathLike[str]) -> Path:
    """The folder in which each learner's own start file lies, beside the class file.

    >>> own_files_of("group-a.toml").name
    'group-a-own-files'
    """
    return Path(file).with_name(f"{Path(file).stem}-own-files")


def left_over(file: str | os.PathLike[str]) -> list[Path]:
    """Own start files of learners who are on the roster no longer: they still draw numbers and sign, until deleted.

    >>> left_over("no-such-class.toml")
    []
    """
    target, own = Path(file), own_files_of(file)
    if not own.is_dir():
        return []
    kept = set(_own_paths(target, read_class(target).learners).values())
    return sorted(each for each in own.glob(f"{glob.escape(target.stem)}-for-*") if each not in kept)


def _own_paths(target: Path, learners: Sequence[Learner]) -> dict[str, Path]:
    names = file_names(each.id for each in learners)
    return {each.id: own_files_of(target) / f"{target.stem}-for-{names[each.id]}{ENDING}" for each in learners}


def _write(target: Path, packing: Packing) -> Path:
    """The start files: each learner's own for the teacher alone, who gives it to them, the one for all to be read."""
    of_class, files = packing.of_class, dict(packing.files)
    if of_class.signs:  # in a class of gainlib 0.1 one key draws all numbers, so there is none of one's own
        paths = _own_paths(target, of_class.learners)
        for each in of_class.learners:
            pack(paths[each.id], packing.text(each), files, private=True)
    return pack(start_file_of(target), packing.text(None), files)


def told_size(packing: Packing) -> tuple[str, ...]:
    """What the start files hold of the teacher's own, in a sentence; none where it is nothing.

    >>> told_size(Packing(ClassFile.model_construct(exercises=[]), {}, "0", datetime.now(UTC)))
    ()
    """
    if not packing.files:
        return ()
    own = sum(each.file is not None for each in packing.of_class.exercises)
    takes = len(packing.files) - own
    size = f"{packing.bytes / 1e6:.1f} MB" if packing.bytes < 1e7 else memory(packing.bytes)
    count = len(packing.of_class.learners) + 1
    if packing.bytes * count > MUCH_BYTES:
        size += f", so all {count} have {memory(packing.bytes * count)}; recordings saved as FLAC have less"
    held = f"{counted(own, 'exercise')} of your own" + (f" and {counted(takes, 'recording')}" if takes else "")
    return (f"Each start file holds {held}, {size}.",)


def told_takes(packing: Packing) -> tuple[str, ...]:
    """What start files say of the takes that the lessons are taught on; none where these are the bundled ones.

    >>> told_takes(Packing(ClassFile.model_construct(exercises=[]), {}, "0", datetime.now(UTC)))
    ()
    """
    if packing.takes is None:
        return ()
    return (
        f"Start files name the takes “{packing.takes.title}” and do not hold them: each computer opens the course once "
        "with --media and their folder. Exercises and marks keep the bundled takes.",
    )


def told_unproven(packing: Packing) -> tuple[str, ...]:
    """Which exercises of the teacher's own were not proven on this computer as they stand, and the command for each.

    >>> told_unproven(Packing(ClassFile.model_construct(exercises=[]), {}, "0", datetime.now(UTC)))
    ()
    """
    own = [packing.files[f"{each.name}.toml"] for each in packing.of_class.exercises if each.file]
    unknown = [path_text(each) for each in own if not proof_known(load(each))]
    if not unknown:
        return ()
    return (
        f"Not proven on this computer as they stand now ({len(unknown)}); whether they can be solved is not known:",
        *(f"  gainlib prove {shlex.quote(each)}" for each in unknown),
    )
