"""The table of contents: what a teacher set first, then every lesson, what the learner has done, and what is next."""

from __future__ import annotations

import html
import urllib.parse
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from gainlib.errors import GainError
from gainlib.exercises import exercise_names
from gainlib.exercises.collection import entry
from gainlib.learners.course_folder import chosen_lessons, course_folder, laid_name, newer_beside
from gainlib.learners.enrolment import brought_up_to_date
from gainlib.learners.media_choice import told_of_media
from gainlib.learners.progress import Progress
from gainlib.learners.set_work import SetWork, set_work
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
    """The table of contents: every lesson, what is done, which is next; a notebook shows it as a table of links.

    `work` is what is set in a class; it stands first, and what is open in it is what comes next.
    """

    lessons: tuple[Lesson, ...]
    note: str = ""
    pages: tuple[tuple[str, str], ...] = ()
    work: SetWork | None = None

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
        lines = [
            f"{each.title}: {each.state}{' (next)' if each is self.next and not self._set_open else ''}"
            for each in self.lessons
        ]
        work = [repr(self.work)] if self.work else []
        return "\n".join([*work, self.sentence, *lines, *filter(None, [self.note])])

    def _repr_html_(self) -> str:
        left = "text-align:left;vertical-align:top;white-space:normal"
        rows = "".join(self._row(each, left) for each in self.lessons)
        heads = "".join(
            f"<th style='{left}' scope='col'>{head}</th>" for head in ("", "Lesson", "Time", "Exercises", "So far")
        )
        table = f"<table class='gainlib-page-list'><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table>"
        more = " · ".join(f'<a href="{html.escape(link)}">{html.escape(title)}</a>' for title, link in self.pages)
        course = [self._where_to(), table, more, html.escape(self.note)]
        texts = "".join(f"<p>{each}</p>" for each in course if each)
        if self.work is None:
            texts = f"<p>In a class? {_to_class('Open your start file')}, below.</p>{texts}"
        else:
            texts = f"{self._set_next()}{self.work.html(left)}<h2>The whole course</h2>{texts}"
        return f"<div style='font-size:1.1em'>{texts}</div>"

    @property
    def _set_open(self) -> bool:
        """Whether something that is set comes before the rest of the course."""
        return self.work is not None and bool(self.work.open)

    def _set_next(self) -> str:
        """What of the work that is set comes next, as a link; empty where all is done."""
        if not self.work or not self.work.open:
            return "<p>All that is set is passed. Below is the rest of the course.</p>"
        first = self.work.open[0]
        return (
            f'<p>Next: <a href="{html.escape(first.link)}"><strong>{html.escape(first.title)}</strong></a>. '
            f"Then {_to_class('hand in')}, below.</p>"
        )

    def _where_to(self) -> str:
        """What is next, as a link, and how far the learner is."""
        if self.next is None or self._set_open:
            return html.escape(self.sentence)
        begun = any(task.points or task.passed for each in self.lessons for task in each.tasks)
        link = f'<a href="{html.escape(self.next.link)}"><strong>{html.escape(self.next.title)}</strong></a>'
        return f"{'Next' if begun else 'Begin with'}: {link}. {html.escape(self.sentence)}"

    def _row(self, lesson: Lesson, left: str) -> str:
        newer = f' (<a href="{html.escape(lesson.newer)}">newer version</a>)' if lesson.newer else ""
        link = f'<a href="{html.escape(lesson.link)}">{html.escape(lesson.title)}</a>{newer}'
        tasks = " · ".join(html.escape(each.title) + (" ✓" if each.passed else "") for each in lesson.tasks)
        state = html.escape(lesson.state) + (
            "<br><strong>next</strong>" if lesson is self.next and not self._set_open else ""
        )
        time = f"{lesson.minutes}\u00a0min" if lesson.minutes else ""
        cells = "".join(
            f"<td style='{left}'>{each}</td>" for each in (html.escape(lesson.number), link, time, tasks, state)
        )
        return f"<tr>{cells}</tr>"


def contents() -> Contents:
    """What a teacher set, then every lesson of the course with what the learner has done in it, and what is next.

    In a class, what the teacher changed is taken over where the start file lies within reach. Nothing else is written:
    to look is not to begin.

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
    exercises = [entry(name) for name in exercise_names()]
    chosen, lessons = chosen_lessons(folder), []
    files = lesson_files()
    for name, file in files.items():
        if chosen and name not in chosen:
            continue
        own = laid_name(folder, file.name)
        newer = newer_beside(folder, own)
        title, minutes = lesson_heading(file)
        lessons.append(
            Lesson(
                title=title,
                link=_link(folder, own),
                newer=_link(folder, newer) if newer else "",
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
    note, work = progress.note, None
    try:
        if here := brought_up_to_date(course_folder()):
            headings = {each: _linked(folder, file) for each, file in files.items()}
            work = set_work(here, folder, progress, lambda name: _link(folder, name), headings)
    except GainError as fault:
        note = " ".join(filter(None, [note, f"Your class cannot be shown: {fault}"]))
    note = " ".join(filter(None, [note, *told_of_media(folder)]))
    return Contents(tuple(lessons), note, laid, work)


def _linked(folder: Path, lesson: Path) -> str:
    """A lesson's heading, as a link where it was laid here."""
    title, own = html.escape(lesson_heading(lesson)[0]), laid_name(folder, lesson.name)
    return f'<a href="{_link(folder, own)}">{title}</a>' if (folder / own).is_file() else title


def _to_class(words: str) -> str:
    """A link to where the page of contents has the class."""
    return f'<a href="#Your-class">{words}</a>'


def _link(folder: Path, name: str) -> str:
    """The lesson as seen from the current folder, which may lie deeper."""
    try:
        depth = len(Path.cwd().resolve().relative_to(folder.resolve()).parts)
    except ValueError:
        depth = 0
    return urllib.parse.quote(str(PurePosixPath(*[".."] * depth, name)))
