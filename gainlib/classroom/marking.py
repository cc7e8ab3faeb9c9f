"""One answer marked: rendered again at the learner's own numbers and measured; a pure function of what it is given."""

from __future__ import annotations

import functools
import hashlib
import json
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from gainlib.classroom.guard import describe_own_fault
from gainlib.errors import GainError
from gainlib.exercises import Exercise, Variant, Verdict, check, load
from gainlib.exercises.contents import task_digest
from gainlib.exercises.ladder import TRIALS, ladder_of, staircase_of
from gainlib.exercises.readings import Renderings
from gainlib.exercises.tables import fill_in
from gainlib.workers import digest_of_sources, require_same_gainlib

__all__ = ["Work", "engine_digest", "mark_answers", "own_values"]

# What can change a verdict: the rooms from the cellar up to the exercises. A new report marks nothing again.
_ROOMS = (
    "errors.py",
    "text.py",
    "decibels.py",
    "loops",
    "audio.py",
    "sound_file.py",
    "meters",
    "stages",
    "flow",
    "exercises",
)


@dataclass(frozen=True)
class Work:
    """One answer to be marked, and all that the mark depends on; any machine with the same gainlib can do it.

    Whose answer it is is no part of it: the same answer at the same numbers is measured once for a whole class.
    `source` is where the exercise is found: its name in the collection, or its file.
    """

    exercise: str
    source: str
    task: str
    engine: str
    values: dict[str, Any]
    answer: dict[str, Any]
    hints_used: int

    @classmethod
    def of(cls, text: str) -> Work:
        """The work that a store keeps as text."""
        return cls(**json.loads(text))

    @property
    def text(self) -> str:
        """The work as a store keeps it."""
        return json.dumps(self._content)

    @property
    def _content(self) -> dict[str, Any]:
        return {each.name: getattr(self, each.name) for each in fields(self)}

    @functools.cached_property
    def key(self) -> str:
        """The digest of all that the mark depends on: the same key, the same mark.

        It begins with that of the numbers, so that in the order of the keys those of one variant stand together, and
        what is rendered of it is rendered once.
        """
        content = {name: value for name, value in self._content.items() if name != "source"}
        return _digest(self.values)[:8] + _digest(content)[:24]


def _digest(content: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def mark_answers(works: Sequence[Work]) -> list[dict[str, Any]]:
    """The marks of some answers, each as a table that JSON can hold; in the same order, and never raising for one.

    `fault` is a sentence for an answer that gets no mark, `kept` is false for a fault of the machine. Raises GainError
    where this machine's gainlib or its exercises are not those of the machine that asks.
    """
    return [_mark(each) for each in works]


def _mark(work: Work) -> dict[str, Any]:
    require_same_gainlib(work.engine, engine_digest())
    exercise, renderings = _KEPT.exercise(work.source, work.task)
    if task_digest(exercise) != work.task:
        raise GainError(f"{exercise.name} is another file on a worker than here; put the same one on all machines.")
    try:
        variant = _KEPT.variant(work.source, work.task, json.dumps(work.values))
        verdict = check(variant, work.answer, work.hints_used, renderings)
        return {"fault": "", **_told(variant, verdict), **_heard(variant, verdict, work.answer)}
    except Exception as fault:  # whatever one answer does, the others are marked
        return {"fault": describe_own_fault(fault), "kept": False}


def _told(variant: Variant, verdict: Verdict) -> dict[str, Any]:
    slips = getattr(variant.exercise.spec, "slips", [])
    name = next((each.name for each in slips if fill_in(each.say, variant.printed) == verdict.slip), "")
    return {
        "passed": bool(verdict.passed),
        "points": float(verdict.points),
        "out_of": float(verdict.out_of),
        "hint_cost": float(verdict.hint_cost),
        "lines": [[each.title, bool(each.passed), each.points, each.out_of, each.sentence] for each in verdict.lines],
        "slip": name or (verdict.slip or ""),
        "slip_said": verdict.slip or "",
        "notes": list(verdict.notes),
    }


def _heard(variant: Variant, verdict: Verdict, answer: Mapping[str, Any]) -> dict[str, Any]:
    """Of a listening ladder that went to its end: the rung and the size that is just heard, worked out anew."""
    if variant.exercise.spec.ladder is None or not verdict.passed:
        return {}
    ladder = ladder_of(variant)
    run = staircase_of(variant, answer[TRIALS])
    found, estimate = ladder.threshold(run), run.estimate
    return {} if found is None or estimate is None else {"heard": [estimate.rung, found.size]}


class _Kept(threading.local):
    """What is kept for the next answer, in each thread its own: two that took over from one another would mis-mark.

    Answers come sorted by exercise and numbers, so a few exercises and one variant are enough and memory stays flat.
    """

    def __init__(self) -> None:
        self.exercise = functools.lru_cache(maxsize=4)(_loaded)
        self.variant = functools.lru_cache(maxsize=1)(self._variant)

    def _variant(self, source: str, task: str, values: str) -> Variant:
        """A variant with what was worked out of it."""
        return self.exercise(source, task)[0].with_values(json.loads(values))


def _loaded(source: str, task: str) -> tuple[Exercise, Renderings]:
    """An exercise with its recordings, loaded once for each state of its files, which `task` tells.

    What one answer leaves unchanged of the last one rendered is taken over, which gives the same to the last bit.
    """
    return load(source), Renderings()


_KEPT = _Kept()


def engine_digest() -> str:
    """The digest of the part of gainlib that a mark depends on.

    >>> len(engine_digest())
    16
    """
    return digest_of_sources(_ROOMS)


def own_values(exercise: Exercise, learner_id: str, class_key: str) -> dict[str, Any]:
    """The numbers that a learner of the class has in an exercise, drawn as its variant draws them.

    >>> exercise = load("recording/leave-room")
    >>> own_values(exercise, "ada", "key") == exercise.variant("ada", "key").values
    True
    """
    return exercise.values_for(learner_id, class_key)
