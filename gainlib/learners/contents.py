"""The table of contents: every lesson, what the learner has done in it, and which is next."""

from __future__ import annotations

import html
import urllib.parse
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from gainlib.exercises import exercise_names, load
from gainlib.learners.course_folder import chosen_lessons, course_folder, laid_name
from gainlib.learners.progress import Progress
from gainlib.storage import lesson_files, lesson_heading, lesson_number

__all__ = ["Contents", "Lesson", "Task", "contents"]


@dataclass(frozen=True)
class Task:
    """One exercise in the contents: what it is called and what the learner has got for it."""

    name: str
    title: str
    passed: bool = False
    points: float = 0.0
    out_of: float = 0.0


@dataclass(frozen=True)
class Lesson:
    """One line of the contents: a lesson, its number, where it lies, how long it takes, and how far the learner is."""

    title: str
    link: str
    newer: str = ""
    minutes: int = 0
    tasks: tuple[Task, ...] = ()
    number: str = ""

    @property
    def exercises(self) -> tuple[str, ...]:
        """The names of its exercises."""
        return tuple(each.name for each in self.tasks)

    @property
    def passed(self) -> int:
        """How many of them are passed."""
        return sum(each.passed for each in self.tasks)

    @property
    def points(self) -> float:
        """The points that the learner has got in them."""
        return sum(each.points for each in self.tasks)

    @property
    def out_of(self) -> float:
        """The points that can be got in them."""
        return sum(each.out_of for each in self.tasks)

    @property
    def done(self) -> bool:
        """Whether it has exercises and all are passed."""
        return bool(self.tasks) and self.passed == len(self.tasks)

    @property
    def state(self) -> str:
        """How far the learner is, in words."""
        if not self.tasks:
            return "no exercise yet"
        points = f"{self.points:g} of {self.out_of:g} points"
        return f"done, {points}" if self.done else f"{self.passed} of {len(self.tasks)} passed, {points}"


@dataclass(frozen=True)
class Contents:
    """The table of contents: every lesson, what is done, which is next; a notebook shows it as a table of links."""

    lessons: tuple[Lesson, ...]
    note: str = ""
    pages: tuple[tuple[str, str], ...] = ()

    @property
    def next(self) -> Lesson | None:
        """The first lesson with something left to do."""
        return next((each for each in self.lessons if each.tasks and not each.done), None)

    @property
    def sentence(self) -> str:
        """How far the learner is in all, in one sentence."""
        tasks = [task for each in self.lessons for task in each.tasks]
        if not tasks:
            return "There is no exercise yet."
        passed, points, out_of = (sum(getattr(task, name) for task in tasks) for name in ("passed", "points", "out_of"))
        return f"Exercises passed: {passed} of {len(tasks)}. Points: {points:g} of {out_of:g}."

    def __repr__(self) -> str:
        lines = [f"{each.title}: {each.state}{' (next)' if each is self.next else ''}" for each in self.lessons]
        return "\n".join([self.sentence, *lines, *filter(None, [self.note])])

    def _repr_html_(self) -> str:
        left = "text-align:left;vertical-align:top;white-space:normal"
        rows = "".join(self._row(each, left) for each in self.lessons)
        heads = "".join(
            f"<th style='{left}' scope='col'>{head}</th>" for head in ("", "Lesson", "Time", "Exercises", "So far")
        )
        table = f"<table class='gainlib-page-list'><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
        more = " · ".join(f'<a href="{html.escape(link)}">{html.escape(title)}</a>' for title, link in self.pages)
        texts = [self._where_to(), table, more, html.escape(self.note)]
        return f"<div style='font-size:1.1em'>{''.join(f'<p>{each}</p>' for each in texts if each)}</div>"

    def _where_to(self) -> str:
        """What is next, as a link, and how far the learner is."""
        if self.next is None:
            return html.escape(self.sentence)
        begun = any(task.points or task.passed for each in self.lessons for task in each.tasks)
        link = f'<a href="{html.escape(self.next.link)}"><strong>{html.escape(self.next.title)}</strong></a>'
        return f"{'Next' if begun else 'Begin with'}: {link}. {html.escape(self.sentence)}"

    def _row(self, lesson: Lesson, left: str) -> str:
        newer = f' (<a href="{html.escape(lesson.newer)}">newer version</a>)' if lesson.newer else ""
        link = f'<a href="{html.escape(lesson.link)}">{html.escape(lesson.title)}</a>{newer}'
        tasks = " · ".join(html.escape(each.title) + (" ✓" if each.passed else "") for each in lesson.tasks)
        state = html.escape(lesson.state) + ("<br><strong>next</strong>" if lesson is self.next else "")
        time = f"{lesson.minutes}\u00a0min" if lesson.minutes else ""
        cells = "".join(
            f"<td style='{left}'>{each}</td>" for each in (html.escape(lesson.number), link, time, tasks, state)
        )
        return f"<tr>{cells}</tr>"


def contents() -> Contents:
    """Every lesson of the course with what the learner has done in it, and which is next.

    Nothing is written: to look is not to begin.

    Returns
    -------
    Contents
        The lessons, what is done and the next one; as the last line of a cell it shows itself as a table of links.

    Examples
    --------
    >>> contents().lessons[0].title
    'Start here'
    """
    folder = course_folder() or Path.cwd()
    progress = Progress.at(folder, make=False)
    exercises = [load(name) for name in exercise_names()]
    chosen, lessons = chosen_lessons(folder), []
    for name, file in lesson_files().items():
        if chosen and name not in chosen:
            continue
        own = laid_name(folder, file.name)
        newer = sorted(folder.glob(f"{Path(own).stem} (new in *).ipynb"), key=lambda each: each.stat().st_mtime)
        title, minutes = lesson_heading(file)
        lessons.append(
            Lesson(
                title=title,
                link=_link(folder, own),
                newer=_link(folder, newer[-1].name) if newer else "",
                minutes=minutes,
                tasks=tuple(
                    Task(each.name, each.title, progress.passed(each.name), best[0], each.out_of)
                    for each in sorted(exercises, key=lambda each: (each.level, each.name))
                    if each.lesson == name
                    for best in [progress.best(each.name) or (0.0, 0.0)]
                ),
                number=lesson_number(file.name),
            )
        )
    pages = (("Exercise book", "exercise-book.ipynb"), ("Glossary: every trade word in one sentence", "glossary.ipynb"))
    laid = tuple((title, _link(folder, name)) for title, name in pages if (folder / name).is_file())
    return Contents(tuple(lessons), progress.note, laid)


def _link(folder: Path, name: str) -> str:
    """The lesson as seen from the current folder, which may lie deeper."""
    try:
        depth = len(Path.cwd().resolve().relative_to(folder.resolve()).parts)
    except ValueError:
        depth = 0
    return urllib.parse.quote(str(PurePosixPath(*[".."] * depth, name)))
