"""What changed in a class between two of its start files, as sentences for a learner."""

from __future__ import annotations

from collections.abc import Callable

from gainlib.learners.learners_file import LearnersFile
from gainlib.text import counted, moment_in_words

__all__ = ["told_changes"]

_COUNTS = {
    "required": "counts to the full points",
    "optional": "is for practice and does not count",
    "bonus": "is a bonus on top of the full points",
}


def told_changes(before: LearnersFile, now: LearnersFile, called: Callable[[str], str] = str) -> tuple[str, ...]:
    """What a learner should know of what is other than it was, a sentence each; empty where nothing is.

    `called` gives what a sentence calls an exercise by its name.

    >>> entries = {"schema": "gainlib class for learners", "version": 2, "title": "Group A", "key": "k" * 16}
    >>> one, two = (
    ...     LearnersFile.model_validate({**entries, "exercises": [{"name": each} for each in names]})
    ...     for names in (["levels/unity"], ["levels/unity", "recording/leave-room"])
    ... )
    >>> told_changes(one, two)
    ('New: recording/leave-room.',)
    """
    was, is_ = ({each.name: each for each in of.exercises} for of in (before, now))
    content = [{each.path: each.sha256 for each in of.files} for of in (before, now)]
    told = []
    if before.due != now.due:
        until = f" It was {moment_in_words(before.due)}." if before.due else ""
        told.append(
            f"Due {moment_in_words(now.due)} now.{until}" if now.due else f"It has no due date any more.{until}"
        )
    if new := [each for each in is_ if each not in was]:
        told.append(f"New: {', '.join(map(called, new))}.")
    if gone := [each for each in was if each not in is_]:
        told.append(f"Not set any more: {', '.join(map(called, gone))}.")
    for name in is_:
        if name not in was:
            continue
        old, new_points = was[name].points, is_[name].points
        if old != new_points and new_points is not None:
            told.append(f"{called(name)} is worth {counted(new_points, 'point')} now.")
        if was[name].role != is_[name].role:
            told.append(f"{called(name)} {_COUNTS[is_[name].role]} now.")
        old_file, new_file = (each.get(of[name].file or "") for each, of in zip(content, (was, is_), strict=True))
        if old_file != new_file:
            told.append(
                f"{called(name)} was changed: answer it again, since what you answered was its earlier version."
            )
    if before.title != now.title:
        told.append(f"The class is called {now.title} now.")
    return tuple(told)
