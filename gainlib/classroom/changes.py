"""What changed since the last marking: who, in which exercise, from what to what, and why."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

from gainlib.classroom.marks import ExerciseMark, LearnerMark
from gainlib.classroom.store import Store
from gainlib.html.pages import render
from gainlib.text import counted, listed, moment_in_words

__all__ = ["Changes", "MarkChange", "changes_page"]

MOST_SHOWN = 20
"""So many markings that changed something stand on the page."""


@dataclass(frozen=True)
class MarkChange:
    """One changed mark: whose, of which exercise (empty for the total), from what to what, and why."""

    learner_id: str
    name: str
    exercise: str
    before: str
    after: str
    why: str


class Changes:
    """What this marking changes: each mark line is noted, then all are kept for the next one to compare with.

    Nothing changes in a first marking, since there was none before.
    """

    def __init__(self, store: Store) -> None:
        self._store, self._first = store, not store.has_told()
        self._told: list[tuple[str, str]] = []
        self.found: list[MarkChange] = []

    def note(self, line: LearnerMark) -> None:
        """Compare a mark line with that of the last marking."""
        content = _told(line)
        self._told.append((line.learner_id, json.dumps(content)))
        if not self._first:
            self.found += _changes(line, self._store.told(line.learner_id), content)

    def keep(self, now: datetime) -> None:
        """Let what was noted stand as the last marking."""
        rows = json.dumps([asdict(each) for each in self.found])
        self._store.keep_told(self._told, (now.isoformat(timespec="seconds"), rows) if self.found else None)


def changes_page(store: Store, title: str) -> str:
    """The page of the last markings that changed something, the newest first."""
    markings = [
        {
            "at": moment_in_words(datetime.fromisoformat(at).astimezone()),
            "rows": rows,
            "learners": len({each["learner_id"] for each in rows}),
        }
        for at, rows in store.changes(MOST_SHOWN)
    ]
    return render("changes.html", title=title, markings=markings, counted=counted, script="")


def _told(line: LearnerMark) -> dict[str, Any]:
    """What a later marking must know of a line to say what changed, and why."""
    return {
        "total": line.total,
        "out of": line.out_of,
        "late": [line.days_late, line.penalty_percent],
        "due": line.due.isoformat() if line.due else "",
        "file": line.file.digest if line.file else "",
        "exercises": {each.exercise.name: _told_of(each) for each in line.exercises},
    }


def _told_of(of: ExerciseMark) -> dict[str, Any]:
    answer = [of.work.values, of.work.answer, of.work.hints_used] if of.work else None
    return {
        "shown": _shown(of),
        "worth": of.out_of,
        "role": of.role,
        "exempt": of.exempt,
        "correction": of.corrected_points,
        "fault": of.fault,
        "answer": hashlib.sha256(json.dumps(answer, sort_keys=True).encode()).hexdigest()[:16] if answer else "",
        "task": of.work.task if of.work else "",
        "engine": of.work.engine if of.work else "",
    }


def _shown(of: ExerciseMark) -> str:
    return "exempt" if of.exempt else f"{of.points:g} of {of.out_of:g}" if of.has_points else "no mark"


def _changes(line: LearnerMark, before: dict[str, Any] | None, now: dict[str, Any]) -> Iterator[MarkChange]:
    if before is None:
        yield MarkChange(line.learner_id, line.name, "", "not in the class", _total(now), "new on the roster.")
        return
    explained = False
    for name, of in now["exercises"].items():
        was = before["exercises"].get(name)
        if was is None or was["shown"] != of["shown"]:
            explained = True
            shown = was["shown"] if was else "not in the class"
            why = _reasons(_why(was, of, before, now)) if was else "the exercise is new in the class."
            yield MarkChange(line.learner_id, line.name, name, shown, of["shown"], why)
    for name in before["exercises"].keys() - now["exercises"].keys():
        explained = True
        shown = before["exercises"][name]["shown"]
        yield MarkChange(line.learner_id, line.name, name, shown, "–", "the exercise is no longer in the class.")
    if _total(before) != _total(now):
        reasons = []
        if before["late"] != now["late"] and before["file"] and now["file"]:
            reasons += ["another due date"] if before["due"] != now["due"] else []
            reasons.append(f"{_late(now)} instead of {_late(before)}")
        if any(was["role"] != now["exercises"].get(name, was)["role"] for name, was in before["exercises"].items()):
            reasons.append("the role of an exercise was changed")
        if explained:
            reasons.append("the exercises above")
        yield MarkChange(line.learner_id, line.name, "", _total(before), _total(now), _reasons(reasons))


def _reasons(found: Iterable[str]) -> str:
    return f"{listed([*found] or ['what counts was changed'])}."


def _total(told: dict[str, Any]) -> str:
    return f"{told['total']:g} of {told['out of']:g}" if told["out of"] else "exempt"


def _late(told: dict[str, Any]) -> str:
    days, percent = told["late"]
    return f"{counted(days, 'day')} late ({percent:g} % off)" if days else "in time"


def _why(was: dict[str, Any], now: dict[str, Any], before: dict[str, Any], after: dict[str, Any]) -> Iterator[str]:
    """Why a mark changed, as far as what it rests on differs."""
    if was["exempt"] != now["exempt"]:
        yield "exempt" if now["exempt"] else "no longer exempt"
    if was["correction"] != now["correction"]:
        yield "your correction was taken back" if now["correction"] is None else "your correction"
    if was["worth"] != now["worth"]:
        yield "it is worth other points"
    if was["answer"] != now["answer"] or was["fault"] != now["fault"]:
        new = before["file"] != after["file"]
        if new and not after["file"]:
            yield "no hand-in counts any more"
        elif new:
            yield "another hand-in counts" if before["file"] else "a first hand-in"
        if now["fault"] and was["fault"] != now["fault"]:
            yield now["fault"].rstrip(".")
        elif was["fault"] and not now["fault"] and not new:
            yield "it can be marked now"
    if was["task"] and now["task"] and was["task"] != now["task"]:
        yield "the exercise was changed"
    if was["engine"] and now["engine"] and was["engine"] != now["engine"] and was["answer"] == now["answer"]:
        yield "gainlib was changed"
