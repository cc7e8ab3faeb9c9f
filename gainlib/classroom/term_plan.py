"""A plan of the term from chosen lessons, on one page to print: when, what one can do afterwards, in class, at home."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from gainlib.classroom.class_file import ClassFile
from gainlib.errors import GainError, suggest
from gainlib.exercises import Exercise, exercise_names, load
from gainlib.html.pages import render
from gainlib.learners.learners_file import ClassExercise, load_entry
from gainlib.storage import atomic_write, bundled_folder, find_lesson, lesson_files, lesson_heading, lesson_number
from gainlib.storage.foreign import LARGEST_NOTEBOOK_BYTES, read_json, read_text
from gainlib.text import counted, day_in_words, moment_in_words

__all__ = ["exercises_of_lesson", "write_term_plan"]

_NAME = re.compile(r"`([a-z-]+/[a-z0-9-]+)`")


def write_term_plan(
    page: str | os.PathLike[str],
    lessons: Sequence[str] = (),
    *,
    start: date | None = None,
    every_days: int = 7,
    title: str = "Gain staging",
    of_class: ClassFile | None = None,
    class_folder: Path = Path(),
    overwrite: bool = False,
) -> Path:
    """Write the plan of these lessons, in this order, from a first day on; gives its path.

    It is of all lessons where none is named. With a class, its due date and the points of what it sets stand in the
    plan, and its own exercises, whose files lie by `class_folder`, at home with the lesson that they name; what it sets
    of other lessons is named below. Raises
    GainError for a lesson that is not there, and for a page that is there already unless `overwrite` is set.

    >>> import tempfile
    >>> write_term_plan(Path(tempfile.mkdtemp()) / "plan.html", ["read-meters", "limit-peaks"]).name
    'plan.html'
    """
    target = Path(page)
    if target.exists() and not overwrite:
        raise GainError(f"{target} is there already; give another name, or ask to overwrite it.")
    files = lesson_files()
    names = [_found(each, files) for each in lessons] or list(files)
    entries = {each.name: each for each in of_class.exercises} if of_class else {}
    exercises = exercises_of_lesson()
    of_the_class = [(each, load_entry(each, class_folder)) for each in of_class.exercises] if of_class else []
    own = [exercise for each, exercise in of_the_class if each.file]
    rows: list[dict[str, Any]] = []
    for index, name in enumerate(names):
        heading, lasting = lesson_heading(files[name])
        in_class, at_home = exercises.get(name, ((), ()))
        rows.append({
            "when": day_in_words(start + timedelta(days=every_days * index)) if start else f"{index + 1}",
            "number": lesson_number(files[name].name),
            "title": heading,
            "minutes": lasting,
            "able": _able(files[name]),
            "in_class": [_told(load(each), entries) for each in in_class],
            "at_home": [_told(load(each), entries) for each in at_home]
            + [_told(each, entries) for each in own if each.lesson == name],
        })  # fmt: skip
    minutes = sum(each["minutes"] for each in rows)
    beside = [_told(each, entries) for _, each in of_the_class if each.lesson not in names]
    due = moment_in_words(of_class.due) if of_class and of_class.due else ""
    text = render(
        "term_plan.html", title=title, rows=rows, lessons=counted(len(rows), "lesson"), dated=start is not None,
        minutes=minutes, due=due, beside=beside, script="",
    )  # fmt: skip
    return atomic_write(target, text, then="; give another name")


def _found(given: str, files: dict[str, Path]) -> str:
    name = find_lesson(given, files)
    if name is None:
        raise GainError(f"there is no lesson {given!r}; {suggest(given, files)}")
    return name


def exercises_of_lesson() -> dict[str, tuple[tuple[str, ...], tuple[str, ...]]]:
    """Of each lesson the exercises for the class and for home, as the notes for teachers propose it.

    An exercise that the notes do not name is for home.

    >>> exercises_of_lesson()["start-here"][0]
    ('listening/first-move',)
    """
    notes = read_text(bundled_folder("lessons") / "for-teachers.md", LARGEST_NOTEBOOK_BYTES, "the notes for teachers")
    in_class = {
        name
        for sentence in re.split(r"(?<=[.:]) |(?<=[.:]\*\*) |\n", _with_headings_kept(notes))
        if re.search(r"in class|for the lesson", sentence, re.IGNORECASE)
        for name in _NAME.findall(sentence)
    }
    found: dict[str, tuple[list[str], list[str]]] = {}
    for name in exercise_names():
        exercise = load(name)
        found.setdefault(exercise.lesson, ([], []))[name not in in_class].append(name)
    return {lesson: (tuple(here), tuple(home)) for lesson, (here, home) in found.items()}


def _with_headings_kept(notes: str) -> str:
    """The notes with what follows "In class:" in one sentence with it."""
    return re.sub(r"(In class|Homework)(\*\*)?:(\*\*)? ", r"\1 ", notes)


def _able(file: Path) -> list[str]:
    """What one can do after a lesson, as its first cell lists it."""
    for cell in read_json(file, LARGEST_NOTEBOOK_BYTES, "a lesson")["cells"]:
        text = "".join(cell["source"])
        if cell["cell_type"] == "markdown" and text.startswith("# "):
            return [re.sub(r"[*_`]", "", each).rstrip(",. ") for each in re.findall(r"(?m)^[-*] (.+)$", text)]
    return []


def _told(exercise: Exercise, entries: dict[str, ClassExercise]) -> dict[str, Any]:
    entry = entries.get(exercise.name)
    worth = entry.worth(exercise) if entry else 0.0
    return {"title": exercise.title, "name": exercise.name, "points": counted(worth, "point") if worth else ""}
