"""Who the learner of a folder is in a class, and what they have of it: told by its start file, or by a hub."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from urllib.parse import unquote_to_bytes
from urllib.request import url2pathname

from gainlib.errors import GainError
from gainlib.exercises import Exercise, Variant, load
from gainlib.learners.class_changes import told_changes
from gainlib.learners.course_folder import LOCK, MARK, course_folder
from gainlib.learners.exercise_pages import lay_pages
from gainlib.learners.learners_file import (
    LARGEST_CLASS_BYTES,
    ROLES,
    ClassExercise,
    LearnersFile,
    load_entry,
    read_class_file,
    validate_class,
)
from gainlib.learners.naming import require_text
from gainlib.learners.progress import Progress
from gainlib.learners.start_file import StartFile, read_start_file
from gainlib.state import state_folder
from gainlib.storage import append_line, atomic_write, given_path, held_alone, is_settled
from gainlib.storage.foreign import read_json, read_text, toml_table
from gainlib.text import counted, moment_in_words, path_text

__all__ = ["Enrolment", "brought_up_to_date", "enrol", "enrolled", "find_exercise", "learner_of", "own_variant"]

CLASS_FILE = "class.json"
EXERCISES = "class-exercises"
OPENED = "start-files.txt"
SCHEMA = "gainlib class of a learner"
HUB_CLASS = "GAINLIB_CLASS"
HUB_USER = "JUPYTERHUB_USER"
_NOT_THERE = (0, 0)
_ENTER_AGAIN = "open your class's start file again: gainlib open FILE"
# What gainlib 0.1 kept in their place.
OLD_CLASS_FILE = "class.toml"
OLD_ID_FILE = "learner-id.txt"


@dataclass(frozen=True)
class Enrolment:
    """A learner's id in a class, and what their computer knows of that class; `home` is where its own exercises lie.

    `source` is the start file that it came from and `stamp` what tells whether that was written anew; `changes` is what
    was other when it was last taken over, at `changed`, and `fresh` is the same where that was only now; `note` says
    why nothing newer could be taken over.
    """

    learner_id: str
    of: LearnersFile
    home: Path
    source: Path | None = None
    stamp: tuple[int, int] = _NOT_THERE
    changes: tuple[str, ...] = ()
    changed: datetime | None = None
    fresh: tuple[str, ...] = ()
    note: str = ""

    def variant(self, exercise: Exercise) -> Variant:
        """The exercise with this learner's numbers."""
        return exercise.variant(self.learner_id, self.key)

    def values(self, exercise: Exercise) -> dict[str, Any]:
        """This learner's numbers in the exercise."""
        return exercise.values_for(self.learner_id, self.key)

    def exercise(self, entry: ClassExercise) -> Exercise:
        """The exercise of an entry of the class. Raises GainError where it cannot be read."""
        if entry.file and not (self.home / entry.file).is_file():
            raise GainError(f"{entry.name} is an exercise of your teacher's and is not here; {_ENTER_AGAIN}.")
        try:
            return load_entry(entry, self.home)
        except GainError as fault:
            if not entry.file:
                raise
            raise GainError(f"{entry.name} cannot be read here ({str(fault).rstrip('.')}); {_ENTER_AGAIN}.") from fault

    def told_of(self, exercise: Exercise) -> str:
        """What is said of an exercise that is set: what it is worth, and when it is due; empty for any other."""
        entry = next((each for each in self.of.exercises if each.name == exercise.name), None)
        if entry is None:
            return ""
        worth = entry.worth(exercise)
        points = counted(worth, "point") if worth else ""
        due = f"due {moment_in_words(self.of.due)}" if self.of.due else ""
        return f"Set in {', '.join(filter(None, [self.of.title, points, ROLES[entry.role], due]))}."

    @property
    def news(self) -> tuple[str, ...]:
        """What is told once, as it happens: what was other in what has just been taken over, or why nothing was."""
        return (self.note,) if self.note else self.fresh

    @property
    def told_of_newer(self) -> str:
        """How a change by the teacher comes to this folder, and of when what it knows is; empty where it is not known.

        A page that was handed a file is not told where that lies, so it cannot look there again.
        """
        if self.of.made is None:
            return ""
        known = f"What is set is known as of {moment_in_words(self.of.made.astimezone())}."
        if os.environ.get(HUB_CLASS):
            return f"{known} What your teacher changes is taken over when you open this page."
        if self.source is not None and _lies_there(self.source):
            return (
                f"{known} A newer start file in {path_text(self.source.parent)} is taken over when you open this page."
            )
        return f"{known} When your teacher gives out a newer start file, open it under “Your class”, below."

    @property
    def own_exercises(self) -> dict[str, Exercise]:
        """The exercises of the teacher's own by their name; one that cannot be read is left out."""
        found = {}
        for each in self.of.exercises:
            if each.file:
                with contextlib.suppress(GainError):
                    found[each.name] = self.exercise(each)
        return found

    @property
    def key(self) -> str:
        """The key that draws this learner's numbers and signs what they hand in."""
        return self.of.key_of(self.learner_id)

    @property
    def name(self) -> str:
        """The learner's name, where the start file has it; else empty."""
        return self.of.name_of(self.learner_id)


def learner_of(found: StartFile, learner_id: str = "", ask: Callable[[LearnersFile], str] | None = None) -> str:
    """The id of who enters a class by this start file: the one given, or who it belongs to, or what `ask` is told.

    Raises GainError for an id that is not in the class, and where there is none and nobody to ask.
    """
    of, name = found.of, found.path.name
    if not learner_id and of.learner:
        learner_id = of.learner.id
    if not learner_id and ask is not None:
        learner_id = ask(of)
    if not learner_id:
        raise GainError(f"{name} is for all of {of.title}; say who you are as well: --learner ID.")
    learner_id = require_text("--learner", learner_id)
    if of.learner and not of.knows(learner_id):
        raise GainError(
            f"--learner is {learner_id!r}, and {name} is the start file of {of.learner.id!r}; "
            "take the one that your teacher gave to you."
        )
    if not of.knows(learner_id):
        raise GainError(f"--learner is {learner_id!r}, which is no id of {of.title}; ask your teacher for yours.")
    return learner_id


def enrol(
    folder: str | os.PathLike[str], start_file: str | os.PathLike[str], learner_id: str = "", *, follow: bool = True
) -> Enrolment:
    """Make this folder that of a learner of the class: from now on their numbers are drawn by their id and its key.

    A start file of one's own says whose it is, one for all wants the id. The class is kept in the folder's hidden part
    with the teacher's own exercises and their recordings, and a page is laid for each exercise that is set. With
    `follow`, what is written anew in this place is taken over later; without, a place that was followed still is. Where
    the folder knows a later start file of the class already, that stays, and `note` says so. Raises GainError for an id
    that is not in the class, for a folder with another learner's answers, and for what is no start file.
    """
    source = given_path(start_file).resolve()
    stamp = _stamp(source)
    found = read_start_file(source)
    if follow and _is_on_a_server(source):
        with contextlib.suppress(GainError):  # what is not remembered is not followed
            append_line(state_folder() / OPENED, source.as_uri(), private=True)
    return _taken_over(Path(folder), found, stamp, learner_of(found, learner_id), follow)


def enrolled(folder: str | os.PathLike[str] | None = None) -> Enrolment | None:
    """Who the learner of this folder (the current course, unless given) is in a class; None for one in no class.

    Under a hub that names a start file for all its users, the learner is who signed in. Raises GainError for a class
    that is damaged, and for one who signed in but is not in the class.
    """
    hub_class, hub_user = os.environ.get(HUB_CLASS), os.environ.get(HUB_USER)
    home = Path(folder) if folder else course_folder()
    if hub_class and hub_user:
        return _on_hub(Path(hub_class).resolve(), hub_user, home)
    return _kept((home or Path.cwd()) / MARK)


def brought_up_to_date(folder: str | os.PathLike[str] | None = None) -> Enrolment | None:
    """As `enrolled`, and what the teacher changed is taken over where the start file lies as it did, written anew.

    Where it cannot be reached, as on a computer at home, what is known stays. `note` says what hindered otherwise.
    """
    here = enrolled(folder)
    if here is None or here.source is None or os.environ.get(HUB_CLASS):
        return here
    if not _may_be_looked_at(here.source):
        return here
    try:
        stamp = _stamp(here.source)
        if stamp in (_NOT_THERE, here.stamp):
            return here
        found = read_start_file(here.source)
        if (found.of.tag, found.of.key) != (here.of.tag, here.of.key):
            return replace(here, note=f"{here.source} is another's start file now; ask your teacher for yours.")
        if not found.of.knows(here.learner_id):
            return replace(here, note=f"You are not on the list of {found.of.title} any more; ask your teacher.")
        return _taken_over(Path(folder or course_folder() or Path.cwd()), found, stamp, here.learner_id)
    except OSError:
        return here
    except GainError as fault:
        return replace(here, note=f"Your class may have changed, and cannot be read: {fault}")


def find_exercise(name: str | Path) -> Exercise:
    """The exercise of that name, which may be one of the teacher's own; as `gainlib.exercises.load` otherwise.

    >>> find_exercise("recording/leave-room").title == load("recording/leave-room").title
    True
    """
    if isinstance(name, str) and not name.endswith(".toml"):
        with contextlib.suppress(GainError):  # a class that is damaged is told where it counts
            here = enrolled()
            for each in here.of.exercises if here else ():
                if each.name == name and each.file and here:
                    return here.exercise(each)
    return load(name)


def own_variant(exercise: Exercise, progress: Progress) -> Variant:
    """The numbers of the learner whose progress this is: drawn for the class, where the exercise is one of its own.

    >>> import tempfile
    >>> progress = Progress.at(tempfile.mkdtemp())
    >>> own_variant(load("recording/leave-room"), progress).values.keys()
    dict_keys(['level'])
    """
    here = enrolled(progress.file.parent)
    if here is None or exercise.name not in {each.name for each in here.of.exercises}:
        return exercise.variant(progress.learner_id)
    return here.variant(exercise)


def _taken_over(
    folder: Path, found: StartFile, stamp: tuple[int, int], learner_id: str, follow: bool = True
) -> Enrolment:
    """Keep what a start file says of a class, and lay what it holds."""
    mark = folder / MARK
    before = None
    with contextlib.suppress(GainError):  # what is damaged is replaced
        before = _kept(mark)
    of, kept = found.of, mark / EXERCISES
    same = before is not None and before.of.tag == of.tag
    if same and before and before.learner_id != learner_id and Progress.at(folder, make=False).attempts:
        raise GainError(
            f"{folder} holds the answers of {before.name or before.learner_id}, who is in {of.title} as well; "
            "name a folder of your own: gainlib open FOLDER --class FILE."
        )
    if same and before and before.of.made and (of.made is None or of.made < before.of.made):
        note = f"{found.path.name} is older than what this folder has of {of.title}, so nothing was changed."
        return replace(before, note=note)
    here = Enrolment(learner_id, of, kept / of.files_digest, found.path if follow else None, stamp)
    if not follow and same and before and before.learner_id == learner_id:
        here = replace(here, source=before.source, stamp=before.stamp)  # what was followed before still is
    with held_alone(mark / LOCK):  # the class of one with the id of another would be nobody's
        found.lay(here.home)
        if same and before and before.learner_id == learner_id:
            changes = told_changes(before.of, of, _titles(here, before))
            now = datetime.now(UTC) if changes else before.changed
            here = replace(here, changes=changes or before.changes, changed=now, fresh=changes)
        _write(mark, here, found.text)
        lay_pages(folder, of.exercises)
        _cleared(mark, {here.home, before.home} if before else {here.home})
    return here


def _titles(*known: Enrolment) -> Callable[[str], str]:
    """What the exercises of a class are headed with, as a sentence has it."""
    entries = {each.name: (here, each) for here in reversed(known) for each in here.of.exercises}

    def called(name: str) -> str:
        here, entry = entries[name]
        try:
            return f"“{here.exercise(entry).title}”"
        except GainError:
            return name

    return called


def _write(mark: Path, here: Enrolment, text: str) -> None:
    content = {
        "schema": SCHEMA,
        "version": 1,
        "learner": here.learner_id,
        # As an address, since a folder's name may hold odd bytes.
        "from": here.source.as_uri() if here.source else "",
        "stamp": list(here.stamp),
        "changed": here.changed.isoformat() if here.changed else "",
        "changes": list(here.changes),
        "class": text,
    }
    # A key of one's own is for nobody else on this computer.
    made = json.dumps(content, indent=1, ensure_ascii=False) + "\n"
    atomic_write(mark / CLASS_FILE, made, private=True, make_folder=True, then="; name a folder of your own")


def _cleared(mark: Path, kept: set[Path]) -> None:
    """Take away what gainlib 0.1 kept, and exercises of editions before the last, on which a page may be open."""
    for name in (OLD_CLASS_FILE, OLD_ID_FILE):
        with contextlib.suppress(OSError):
            (mark / name).unlink(missing_ok=True)
    for each in (mark / EXERCISES).glob("*"):
        if each not in kept:
            shutil.rmtree(each, ignore_errors=True)


def _kept(mark: Path) -> Enrolment | None:
    """What a folder knows of its class; None where it is in none."""
    file = mark / CLASS_FILE
    if not file.is_file():
        return _kept_by_0_1(mark)
    held: Any = read_json(file, 2 * LARGEST_CLASS_BYTES, "what is known of a class")
    try:
        if held["schema"] != SCHEMA or held["version"] != 1:
            raise ValueError
        learner_id, text = require_text("the id", held["learner"]), str(held["class"])
        changed = datetime.fromisoformat(held["changed"]) if held["changed"] else None
        changes = tuple(str(each) for each in held["changes"])
        size, time = (int(each) for each in held["stamp"])
        source = _path_of(str(held["from"])) if held["from"] else None
    except (GainError, KeyError, TypeError, ValueError, AttributeError, OverflowError) as fault:
        raise GainError(f"{file} is damaged; {_ENTER_AGAIN}.") from fault
    found = validate_class(toml_table(text, CLASS_FILE), LearnersFile, file)
    return Enrolment(
        learner_id, found, mark / EXERCISES / found.files_digest, source, (size, time), changes, changed
    )  # fmt: skip


def _kept_by_0_1(mark: Path) -> Enrolment | None:
    """The same of a folder that entered its class with gainlib 0.1, whose exercises are all the course's own."""
    if not (mark / OLD_CLASS_FILE).is_file():
        return None
    found = read_class_file(mark / OLD_CLASS_FILE, LearnersFile)
    try:
        learner_id = (mark / OLD_ID_FILE).read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as fault:
        raise GainError(f"{mark / OLD_ID_FILE} cannot be read; {_ENTER_AGAIN}.") from fault
    return Enrolment(require_text(OLD_ID_FILE, learner_id), found, mark / EXERCISES / found.files_digest)


def _on_hub(source: Path, user: str, folder: Path | None) -> Enrolment:
    """Who signed in, in the class that a hub names; what is new in it is taken over."""
    mark = folder / MARK if folder else None
    stamp = None
    with contextlib.suppress(OSError):
        stamp = _stamp(source)
    kept = None
    with contextlib.suppress(GainError):
        kept = _kept(mark) if mark else None
    if kept and (kept.source, kept.stamp, kept.learner_id) == (source, stamp, user):
        return kept
    found = read_start_file(source)
    if not found.of.knows(user):
        raise GainError(f"you signed in as {user!r}, who is not in {found.of.title}; ask your teacher.")
    if folder and mark:
        try:
            return _taken_over(folder, found, stamp or _NOT_THERE, user)
        except GainError as fault:  # where nothing can be kept, the course's own exercises go on
            return Enrolment(user, found.of, mark / EXERCISES, source, note=str(fault))
    return Enrolment(user, found.of, source.parent / EXERCISES, source)


def _stamp(file: Path) -> tuple[int, int]:
    """What tells whether a file was written anew; while its date cannot tell that, what no other look gives."""
    try:
        found = file.stat()
    except FileNotFoundError:
        return _NOT_THERE
    return found.st_size, found.st_mtime_ns if is_settled(found) else -time.time_ns()


def _is_on_a_server(file: Path) -> bool:
    """Whether the path itself names another computer, as shares are called on Windows."""
    return str(file).startswith(("\\\\", "//"))


def _may_be_looked_at(source: Path) -> bool:
    """Whether a start file may be looked for: on a server that its path names only where this user has opened it there.

    A folder from a stranger could name a server of theirs, and Windows shows whoever it asks who is asking.
    """
    if not _is_on_a_server(source):
        return True
    try:
        opened = read_text(state_folder() / OPENED, LARGEST_CLASS_BYTES, "a list of start files")
    except GainError:
        return False
    return source.as_uri() in opened.splitlines()


def _lies_there(source: Path) -> bool:
    with contextlib.suppress(OSError):
        return _may_be_looked_at(source) and source.is_file()
    return False


def _path_of(address: str) -> Path:
    """The path that an address names."""
    if os.name == "nt":
        return Path(url2pathname(address.removeprefix("file:")))
    return Path(os.fsdecode(unquote_to_bytes(address.removeprefix("file://"))))
