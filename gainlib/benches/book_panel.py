"""The exercise book: any exercise again, with numbers that are new each time, and what was missed when it is due."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import ipywidgets

from gainlib.benches.events import Event
from gainlib.benches.exercise_panel import OpenExercise
from gainlib.benches.panel import Panel, ShownByPanel
from gainlib.errors import GainError, suggest
from gainlib.exercises import Exercise, Variant, exercise_names, load
from gainlib.learners.enrolment import enrolled
from gainlib.learners.progress import Progress
from gainlib.learners.spaced_repetition import Missed, missed
from gainlib.text import counted, short_day
from gainlib.widgets.exercise_list import ExerciseList

__all__ = ["BookEntry", "ExerciseBook", "exercise_book"]

LEVELS = {1: "1, easy", 2: "2, middle", 3: "3, hard"}
_MOST_DRAWS = 20


@dataclass(frozen=True)
class BookEntry:
    """One exercise as the book lists it: name, title, topic, level, and how far the learner is with it."""

    name: str
    title: str
    topic: str
    level: int
    state: str
    due: bool
    missed: bool


class BookPanel(Panel):
    """The widgets of the book: where one picks, and below it the exercise that is open."""

    def __init__(self, book: ExerciseBook) -> None:
        super().__init__([book.on_change(self._follow), book.on_open(self._stand)])
        self.book = book
        self.list = ExerciseList()
        self.list.on_msg(self._asked)
        self.box = ipywidgets.VBox([self.list])
        self.box.add_class("gainlib-book")
        self._follow()
        if book.opened is not None:
            self._stand()

    def _follow(self) -> None:
        """Bring the lists to what was picked and what has been done."""
        book = self.book
        entries = book.entries
        due = sum(each.is_due(book.today()) for each in book.missed)
        with self.list.hold_sync():
            self.list.topics = [["", "any topic"], *([name, title] for name, title in book.topics.items())]
            self.list.levels = [["0", "any level"], *([str(level), words] for level, words in LEVELS.items())]
            self.list.missed = f"Only what I got wrong ({due} due today)"
            self.list.items = [[each.name, f"{each.title} (level {each.level}, {each.state})"] for each in entries]
            if self.list.chosen not in {each.name for each in entries}:
                self.list.chosen = entries[0].name if entries else ""
            self.list.note = self._note(entries)

    def _note(self, entries: tuple[BookEntry, ...]) -> str:
        if entries:
            said = f"{counted(len(entries), 'exercise')}."
        elif self.book.only_missed and not self.book.missed:
            said = "Nothing that you got wrong is open. What you miss comes back after one, three and seven days."
        else:
            said = "Nothing fits; take another topic or level."
        return " ".join(filter(None, [said, self.book.progress.note]))

    def _stand(self) -> None:
        """Show the exercise that is open."""
        opened = self.book.opened
        assert opened is not None
        self.box.children = [self.list, opened.panel.box]
        self.list.opened = f"Open: {opened.exercise.title}, numbers no. {opened.draw}."

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        kind = content.get("kind")
        try:
            if kind == "pick":
                self.book.pick(
                    topic=str(content.get("topic", "")),
                    level=int(content.get("level", 0)),
                    only_missed=bool(content.get("missed")),
                )
            elif kind == "open":
                self.list.chosen = str(content.get("name", ""))
                self.book.open(self.list.chosen)
        except (GainError, ValueError, TypeError) as fault:
            self.list.note = str(fault)

    def _free(self) -> None:
        if self.book.opened is not None:
            self.book.opened.close()
        self.box.children = [self.list]
        super()._free()


class ExerciseBook(ShownByPanel[BookPanel]):
    """Every exercise of the collection and of one's class, to be sat again; as the last line of a cell it shows itself.

    `pick()` narrows `entries` down by topic, level, or to what was missed; `open(name)` gives an `OpenExercise` whose
    numbers are drawn anew each time, and whose attempts are kept like all others; `opened` is the one that is open. A
    function given to `on_change` is called when another choice was made or an exercise was checked, one given to
    `on_open` when one was opened. Made by `gainlib.exercise_book()`.
    """

    def __init__(self, progress: Progress, today: Callable[[], date] = date.today) -> None:
        self.progress, self.today = progress, today
        self.exercises: dict[str, Exercise] = {name: load(name) for name in exercise_names()}
        with contextlib.suppress(GainError):  # a class that is damaged is told on the page of contents
            if here := enrolled(progress.file.parent):
                self.exercises |= here.own_exercises
        self.topic, self.level, self.only_missed = "", 0, False
        self.opened: OpenExercise | None = None
        self._drawn: dict[str, int] = {}
        self._read: tuple[list[tuple[Path, int, int]], tuple[dict[str, Any], ...]] = ([], ())
        self.on_change, self.on_open = Event(), Event()

    def pick(self, *, topic: str = "", level: int = 0, only_missed: bool = False) -> ExerciseBook:
        """List only what fits; an empty topic and level 0 mean any. Raises GainError for a topic or level not there."""
        if topic and topic not in self.topics:
            raise GainError(f"there is no topic {topic!r}; {suggest(topic, self.topics)}")
        if level not in (0, *LEVELS):
            raise GainError(f"level is {level!r}; give 1, 2 or 3, or 0 for any.")
        self.topic, self.level, self.only_missed = topic, level, only_missed
        self.on_change.tell()
        return self

    @property
    def topics(self) -> dict[str, str]:
        """The topics by name, and how each is written."""
        names = dict.fromkeys(name.partition("/")[0] for name in self.exercises)
        return {name: name.replace("-", " ").capitalize() for name in names}

    @property
    def missed(self) -> tuple[Missed, ...]:
        """What was missed and is not yet done with, the first due in front."""
        return tuple(each for each in missed(self._attempts()) if each.exercise in self.exercises)

    @property
    def entries(self) -> tuple[BookEntry, ...]:
        """What was picked: first what is due, then what was never tried, then what was tried longest ago."""
        attempts = self._attempts()
        last = {each["exercise"]: str(each.get("time", "")) for each in attempts}
        passed = {each["exercise"] for each in attempts if each["passed"]}
        missed_ = {each.exercise: each for each in self.missed}
        today = self.today()

        def entry(name: str, exercise: Exercise) -> BookEntry:
            back = missed_.get(name)
            if back is not None and back.is_due(today):
                state = "due today"
            elif back is not None:
                state = f"missed, comes back on {short_day(back.due)}"
            else:
                state = "passed" if name in passed else "not tried yet"
            due = back is not None and back.is_due(today)
            return BookEntry(name, exercise.title, name.partition("/")[0], exercise.level, state, due, back is not None)

        def rank(each: BookEntry) -> tuple[int, str, str]:
            if each.due:
                return 0, missed_[each.name].due.isoformat(), each.name
            return (1, "", each.name) if each.name not in last else (2, last[each.name], each.name)

        fitting = (
            each
            for each in (entry(name, exercise) for name, exercise in self.exercises.items())
            if (not self.topic or each.topic == self.topic)
            and (not self.level or each.level == self.level)
            and (not self.only_missed or each.missed)
        )
        return tuple(sorted(fitting, key=rank))

    def open(self, name: str) -> OpenExercise:
        """Sit an exercise with numbers that were not drawn before. Raises GainError for one that is not there."""
        if name not in self.exercises:
            raise GainError(f"there is no exercise {name!r}; {suggest(str(name), self.exercises)}")
        exercise = self.exercises[name]
        draw, variant = self._fresh(exercise)
        if self.opened is not None:
            self.opened.close()
        self.opened = OpenExercise(exercise, variant, self.progress, kept=True, draw=draw)
        self.opened.on_check(self.on_change.tell)
        self.on_open.tell()
        return self.opened

    def _make_panel(self) -> BookPanel:
        return BookPanel(self)

    def _fresh(self, exercise: Exercise) -> tuple[int, Variant]:
        """The next numbers: drawn by the learner's id with a count, other than the last where there are others."""
        own = [each for each in self._attempts() if each["exercise"] == exercise.name]
        before = own[-1].get("values") if own else None
        if self.opened is not None and self.opened.exercise.name == exercise.name:
            before = self.opened.variant.values
        counts = [each["draw"] for each in own if isinstance(each.get("draw"), int)]
        first = max([self._drawn.get(exercise.name, 0), *counts]) + 1
        for draw in range(first, first + _MOST_DRAWS):
            variant = exercise.variant(f"{self.progress.learner_id}, draw {draw}")
            if variant.values != before:
                break
        self._drawn[exercise.name] = draw
        return draw, variant

    def _attempts(self) -> tuple[dict[str, Any], ...]:
        """All attempts; read again only where a file has changed, since a list asks several times."""
        folder = self.progress.file.parent
        files = sorted(folder.glob("progress.json")) + sorted(folder.glob("attempts*.jsonl"))
        try:
            stamp = [(each, (found := each.stat()).st_size, found.st_mtime_ns) for each in files]
        except OSError:  # one that was set aside this very moment
            return Progress.at(folder, make=False).attempts
        if self._read[0] != stamp:
            self._read = stamp, Progress.at(folder, make=False).attempts
        return self._read[1]

    def __repr__(self) -> str:
        lines = [f"{each.name}: {each.title} (level {each.level}, {each.state})" for each in self.entries]
        return "\n".join(["<exercise book>", *lines])


def exercise_book() -> ExerciseBook:
    """The exercise book: pick a topic, a level, or what was missed, and sit the exercise again with fresh numbers.

    What was missed comes back after one, three and seven days. Attempts are kept in the progress of the current folder.

    Returns
    -------
    ExerciseBook
        As the last line of a cell it shows itself.

    Examples
    --------
    >>> {each.level for each in exercise_book().pick(topic="recording", level=1).entries}
    {1}
    """
    return ExerciseBook(Progress.here())
