"""Which takes a learner's course is taught on: a school's own media set, or the bundled one."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path

from gainlib.errors import GainError
from gainlib.learners.course_folder import MARK, course_folder
from gainlib.learners.enrolment import enrolled
from gainlib.media_sets import TABLE, LessonTakes, MediaSet, first_table, lesson_needs, read_media_set, taught_on
from gainlib.sound_file import sounds_in
from gainlib.storage import atomic_write, given_path, lesson_files, lesson_heading, lesson_number
from gainlib.storage.foreign import read_json
from gainlib.text import counted, path_text

__all__ = ["BUNDLED", "chosen_takes", "keep_media", "media_meant", "takes", "told_of_class_takes", "told_of_media"]

CHOICE = "takes.json"
LARGEST_BYTES = 64 * 1024
BUNDLED = "bundled"
"""What is given in a folder's place to go back to the course's own takes."""


def media_meant(given: str) -> MediaSet | None:
    """The set in a folder; None for the word "bundled".

    Where the folder has sound files and no table, one to begin with is written there. Raises GainError for that, and
    for a table with faults.
    """
    if given == BUNDLED:
        return None
    folder = given_path(given).expanduser()
    if folder.is_dir() and not (folder / TABLE).exists() and (sounds := sounds_in(folder)):
        atomic_write(folder / TABLE, first_table(folder), then="; copy your takes to a folder that you may write to")
        there = counted(len(sounds), "file")
        raise GainError(
            f"{path_text(given)} had no table of its takes; a first {TABLE} is there now, with {there}. Say in it what "
            "each is and where the parts lie, then give the same command again."
        )
    return read_media_set(given)


def keep_media(home: Path, media: MediaSet | None) -> tuple[str, ...]:
    """Teach the course in this folder on that set from now on, None for the bundled takes; says what that means.

    A line for each lesson that can be taught on a set: whether it is, at which gains, or why not.
    """
    file = home / MARK / CHOICE
    if media is None:
        file.unlink(missing_ok=True)
        return ("All lessons are taught on the bundled takes.",)
    given = {name: taught_on(name, media) for name in lesson_files() if name in lesson_needs()}
    kept = {
        "version": 1,
        "folder": os.fspath(media.folder),
        "title": media.title,
        "lessons": {name: each.why for name, each in given.items()},
    }
    atomic_write(file, json.dumps(kept, indent=1, ensure_ascii=False) + "\n", make_folder=True)
    others = len(lesson_files()) - len(given)
    return (
        f"{media.title}, {counted(len(media.files), 'take')}, in {path_text(media.folder)}:",
        *(f"  {_heading(name)}: {_how(each)}" for name, each in given.items()),
        f"The other {others} lessons keep the bundled takes, whose figures stand in their text; so do all exercises.",
        f"It stays so until another --media, or --media {BUNDLED}.",
    )


def _how(given: LessonTakes) -> str:
    if not given.own:
        return f"bundled, since {given.why}."
    moved = [f"{role} {gain}" for role, gain in given.moved.items()]
    return "your takes" + (f" ({', '.join(moved)})." if moved else ".")


def _choice(start: str | os.PathLike[str] | None) -> dict[str, object]:
    home = course_folder(start)
    if home is None or not (home / MARK / CHOICE).is_file():
        return {}
    try:
        found = read_json(home / MARK / CHOICE, LARGEST_BYTES, "the choice of takes")
    except GainError:  # what cannot be read chose nothing
        return {}
    return found if isinstance(found, dict) else {}


def chosen_takes(start: str | os.PathLike[str] | None = None) -> MediaSet | None:
    """The school's own set that the course around this folder is taught on; None for the bundled takes.

    Raises GainError where its folder or its table cannot be used any more.

    >>> import tempfile
    >>> chosen_takes(tempfile.mkdtemp()) is None
    True
    """
    folder = _choice(start).get("folder")
    if not isinstance(folder, str):
        return None
    try:
        return read_media_set(folder)
    except GainError as fault:
        raise GainError(
            *fault.args,
            f"This course is taught on the takes in {path_text(folder)}; bring them back, or open it with "
            f"--media {BUNDLED}.",
        ) from fault


def told_of_class_takes(start: str | os.PathLike[str] | None = None) -> tuple[str, ...]:
    """What is said where the learner's class is taught on other takes than this course: which, and where to ask.

    >>> import tempfile
    >>> told_of_class_takes(tempfile.mkdtemp())
    ()
    """
    try:
        here, chosen = enrolled(course_folder(start)), chosen_takes(start)
    except GainError:  # a class that is damaged, and takes that are gone, are told where they are asked for
        return ()
    wanted = here.of.takes if here else None
    if here is None or wanted is None or (chosen and chosen.digest == wanted.sha256):
        return ()
    if chosen and chosen.title == wanted.title:
        why = f"This course has another {TABLE} of “{wanted.title}” than {here.of.title}"
    else:
        has = f"is taught on “{chosen.title}”" if chosen else "has the bundled takes"
        why = f"{here.of.title} is taught on the takes “{wanted.title}”, and this course {has}"
    return (
        f"{why}: ask your teacher which folder they lie in, then gainlib open COURSE --media FOLDER. "
        "Exercises and marks do not hang on it.",
    )


def told_of_media(start: str | os.PathLike[str] | None = None) -> tuple[str, ...]:
    """What the learner's page says of a school's own takes, by sentences; nothing where the bundled ones are used."""
    return *_told_of_choice(start), *told_of_class_takes(start)


def _told_of_choice(start: str | os.PathLike[str] | None) -> tuple[str, ...]:
    found = _choice(start)
    told = found.get("lessons")
    if not isinstance(told, Mapping):
        return ()
    try:
        chosen_takes(start)
    except GainError as fault:
        return fault.args
    own = [_heading(name) for name in lesson_files() if told.get(name) == ""]
    kept = {_heading(name): why for name in lesson_files() if isinstance(why := told.get(name), str) and why}
    return (
        f"Your school's takes ({found.get('title')}) are in: {'; '.join(own) or 'no lesson'}.",
        *(f"{heading} keeps the bundled takes, since {why}." for heading, why in kept.items()),
        f"{'So do the other lessons' if kept else 'The other lessons'}, and all exercises"
        f"{'.' if kept else ', keep the bundled takes.'}",
    )


def _heading(lesson: str) -> str:
    file = lesson_files()[lesson]
    return f"{lesson_number(file.name)} {lesson_heading(file)[0]}"


def takes(lesson: str) -> LessonTakes:
    """The takes of a lesson: a school's own where the course is taught on them, else the bundled ones.

    A lesson's text is true of either. A school's takes are used where all that the lesson rests on is so of them, each
    turned up or down as a whole to where the lesson's settings expect it.

    Parameters
    ----------
    lesson : str
        The lesson's name, such as "set-recording-level".

    Returns
    -------
    LessonTakes
        `takes["lead voice"]` is a take as Audio, `takes["lead voice", "verse"]` a part of it; `takes.seconds("verse")`
        is where the part begins and ends.

    Raises
    ------
    GainError
        For a lesson that keeps the bundled takes, and for a set that is not where it was any more.

    Examples
    --------
    >>> takes("set-recording-level")["lead voice"]
    lead-voice: 19 s, mono, 48 kHz
    """
    return taught_on(lesson, chosen_takes())
