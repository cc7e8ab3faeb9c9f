"""What a teacher set, as the contents have it: each exercise in order, its points, how far one is, what is open."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from html import escape
from pathlib import Path

from gainlib.learners.enrolment import Enrolment
from gainlib.learners.exercise_pages import page_of
from gainlib.learners.learners_file import ROLES
from gainlib.learners.progress import Progress
from gainlib.learners.standing import Standing, standings
from gainlib.learners.submission import FOLDER, latest_hand_in
from gainlib.text import counted, moment_in_words, short_day

__all__ = ["SetExercise", "SetWork", "set_work"]

CHANGES_SHOWN = timedelta(days=14)


@dataclass(frozen=True)
class SetExercise:
    """One exercise that is set: its page, its lesson, what it is worth in the class, and how far the learner is.

    `state` says it in words, `handed_in` what of it is handed in; `fault` why it cannot be opened.
    """

    name: str
    title: str
    link: str
    lesson: str = ""
    out_of: float = 0.0
    points: float = 0.0
    role: str = "required"
    passed: bool = False
    state: str = ""
    handed_in: str = ""
    fault: str = ""


@dataclass(frozen=True)
class SetWork:
    """All that is set in a class: `title` is the class's, `who` the learner, `due` when.

    `news` is what was changed, `newer` how a change comes here.
    """

    title: str
    who: str
    due: datetime | None
    now: datetime
    exercises: tuple[SetExercise, ...]
    news: tuple[str, ...] = ()
    newer: str = ""

    @property
    def open(self) -> tuple[SetExercise, ...]:
        """What is not passed yet and counts, then what is not passed and is for practice or on top."""
        left = [each for each in self.exercises if not each.passed and not each.fault]
        return tuple(sorted(left, key=lambda each: each.role != "required"))

    @property
    def sentence(self) -> str:
        """How far the learner is and until when, in a sentence or two."""
        counts = [each for each in self.exercises if each.role == "required"]
        passed = sum(each.passed for each in counts)
        points, out_of = sum(each.points for each in counts), sum(each.out_of for each in counts)
        done = f"Passed: {passed} of {len(counts)}. Points: {points:g} of {out_of:g}."
        if self.due is None:
            return done
        return f"{done} Due {moment_in_words(self.due)}, {_away(self.due, self.now)}."

    def __repr__(self) -> str:
        rows = [
            f"  {each.title}: {', '.join(filter(None, [each.fault or each.state, ROLES[each.role]]))}"
            + (f"; handed in: {each.handed_in}" if each.handed_in else "")
            for each in self.exercises
        ]
        more = [*self.news, *filter(None, [self.newer])]
        return "\n".join([f"Set by your teacher ({self.title}): {self.sentence}", *rows, *more])

    def html(self, left: str) -> str:
        """The heading and the table of it, for the page of contents; `left` is the style of a cell."""
        heads = ("", "Exercise", "Lesson", "Points", "So far", "Handed in")
        head = "".join(f"<th style='{left}' scope='col'>{each}</th>" for each in heads)
        rows = "".join(self._row(each, index, left) for index, each in enumerate(self.exercises, start=1))
        news = "".join(f"<li>{escape(each)}</li>" for each in self.news)
        return (
            f"<h2>Set by your teacher</h2><p>{escape(self.who)}. {escape(self.sentence)}</p>"
            f"{f'<ul>{news}</ul>' if news else ''}"
            f"<table class='gainlib-page-list'><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table>"
            f"<p>{escape(self.newer)}</p>"
        )

    def _row(self, each: SetExercise, number: int, left: str) -> str:
        link = escape(each.title) if each.fault else f'<a href="{escape(each.link)}">{escape(each.title)}</a>'
        worth = f"{each.out_of:g}{f', {ROLES[each.role]}' if ROLES[each.role] else ''}" if each.out_of else ""
        upcoming = "<br><strong>next</strong>" if self.open[:1] == (each,) else ""
        cells = (str(number), link, each.lesson, worth, escape(each.fault or each.state) + upcoming, each.handed_in)
        return f"<tr>{''.join(f'<td style={left!r}>{cell}</td>' for cell in cells)}</tr>"


def set_work(
    here: Enrolment, folder: Path, progress: Progress, link: Callable[[str], str], lessons: dict[str, str]
) -> SetWork:
    """What is set for a learner; `link` makes one of a file's name, `lessons` has each lesson's by its name."""
    now = datetime.now(UTC)
    found, unread = standings(here, progress)
    by_name = {each.exercise.name: each for each in found}
    latest = latest_hand_in(folder / FOLDER)
    answers = latest[1].get("answers") if latest else None
    handed = {
        str(each.get("exercise")): each
        for each in (answers if isinstance(answers, list) else [])
        if isinstance(each, dict)
    }
    rows = []
    for entry in here.of.exercises:
        if entry.name in unread:
            rows.append(SetExercise(entry.name, entry.name, "", fault=unread[entry.name], role=entry.role))
            continue
        standing = by_name[entry.name]
        worth = entry.worth(standing.exercise)
        points = round(worth * standing.share, 2)
        rows.append(
            SetExercise(
                name=entry.name,
                title=standing.exercise.title,
                link=link(page_of(entry.name)),
                lesson=lessons.get(standing.exercise.lesson, ""),
                out_of=worth,
                points=points,
                role=entry.role,
                passed=standing.passed,
                state=_state(standing, points, worth),
                handed_in=_handed_in(standing, handed.get(entry.name)),
            )
        )
    news = [here.note] if here.note else []
    if here.changes and here.changed and now - here.changed < CHANGES_SHOWN:
        day = short_day(here.changed.astimezone())
        news += [f"Changed on {day}: {each}" for each in here.changes]
    who = f"You are {here.name or here.learner_id} in {here.of.title}"
    return SetWork(here.of.title, who, here.of.due, now, tuple(rows), tuple(news), here.told_of_newer)


def _state(standing: Standing, points: float, worth: float) -> str:
    if standing.outdated:
        return "answered in an earlier version; answer it again"
    if not standing.attempts:
        return "not begun"
    passed = "passed" if standing.passed else "not passed yet"
    return f"{passed}, {points:g} of {counted(worth, 'point')}" if worth else passed


def _handed_in(standing: Standing, handed: object) -> str:
    """What of an exercise is handed in: the best answer, an earlier one, or nothing."""
    best = standing.best
    if not isinstance(handed, dict):
        return "not yet" if best else ""
    if standing.outdated:
        return "your answer to the earlier version"
    same = best is not None and all(handed.get(name) == best.get(name) for name in ("answer", "exercise_digest"))
    return "yes" if same else "a better answer is not handed in yet"


def _away(due: datetime, now: datetime) -> str:
    """How far a due date is off, in days; in hours and, before the last of them, in minutes where it is today.

    >>> noon = datetime(2027, 1, 15, 12, tzinfo=UTC)
    >>> [_away(noon + timedelta(hours=each), noon) for each in (0.2, 5, 30, 72, -1, -50)]
    ['in 12 minutes', 'in 5 hours', 'tomorrow', 'in 3 days', 'which is past', 'which is past']
    """
    if due < now:
        return "which is past"
    days = (due.date() - now.astimezone(due.tzinfo).date()).days
    if days > 1:
        return f"in {days} days"
    if days:
        return "tomorrow"
    hours = (due - now) // timedelta(hours=1)
    return f"in {counted(hours, 'hour') if hours else counted((due - now) // timedelta(minutes=1), 'minute')}"
