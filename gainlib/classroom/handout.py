"""Exercises on paper: a sheet for each learner with their own numbers and room to write, and the teacher's key."""

from __future__ import annotations

import functools
import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainlib.classroom.answer_shown import answer_parts, answered_picture
from gainlib.classroom.class_file import ClassFile, RosterLine, read_class
from gainlib.errors import GainError, suggest
from gainlib.exercises import Exercise, Variant, author_answer, expected_answers
from gainlib.exercises.answers import read_answer
from gainlib.exercises.model import ControlSpec, Question
from gainlib.exercises.readings import DIFFERENCES, Renderings
from gainlib.html.figures import figure_html, script
from gainlib.html.pages import render
from gainlib.learners.learners_file import ROLES, ClassExercise, load_entry
from gainlib.storage import atomic_write
from gainlib.text import counted, moment_in_words, printed_number

__all__ = ["PAPERS", "Handout", "write_handout"]

PAPERS = ("A4", "letter")
_BY_EAR = ("judge", "hear", "record")
_DONE_BY_EAR = "This one is done by ear, at the computer. Write down here what you hand in there."
_FOUND = [{"title": "What the ladder found, with its unit", "unit": "", "choices": (), "ordered": False}]
MOST_SHEETS = 2000
MOST_COLUMNS = 7
_GROUPS = (
    ("Their numbers", "numbers", "the same for all"),
    ("A right answer", "answer", "done at the computer"),
    ("What it gives", "gives", ""),
)


def write_handout(
    class_file: str | os.PathLike[str],
    folder: str | os.PathLike[str] | None = None,
    *,
    exercises: Sequence[str] = (),
    learners: Sequence[str] = (),
    paper: str = "A4",
    on_progress: Callable[[str, int, int], None] = lambda what, done, of: None,
) -> tuple[Path, Path]:
    """Write the sheets of a class and the teacher's key, each a page to print, and give their paths.

    They are of all its exercises and learners unless some are named. They lie beside the class file, in `handout-of-`
    and its name, unless `folder` names another place; earlier ones are replaced. Raises GainError for a name that the
    class has not, for a class without a roster, and for more than 2000 sheets.
    """
    known = {each.casefold(): each for each in PAPERS}
    if paper.casefold() not in known:
        raise GainError(f"--paper is {paper!r}; it must be one of {', '.join(PAPERS)}.")
    source = Path(class_file)
    of_class = read_class(source)
    chosen = _chosen(of_class, exercises, learners)
    works = [load_entry(each, source.parent) for each in of_class.exercises if each.name in chosen[0]]
    target = Path(folder) if folder is not None else source.with_name(f"handout-of-{source.stem}")
    made = Handout(of_class, works, chosen[1], known[paper.casefold()])
    sheets = made.sheets(functools.partial(on_progress, "writing sheets"))
    key = made.key(functools.partial(on_progress, "writing the key"))
    return (
        atomic_write(target / "sheets.html", sheets, private=True, make_folder=True),
        atomic_write(target / "key-for-the-teacher.html", key, private=True),
    )


def _chosen(
    of_class: ClassFile, exercises: Sequence[str], learners: Sequence[str]
) -> tuple[set[str], list[RosterLine]]:
    known = {each.name for each in of_class.exercises}
    for name in exercises:
        if name not in known:
            raise GainError(f"the class has no exercise {name!r}; {suggest(name, known)}")
    if not of_class.learners:
        raise GainError("the class file has no roster, so nobody's numbers are known; add learners to it.")
    for learner in learners:
        if learner not in of_class.roster:
            raise GainError(f"the class has no learner {learner!r}; write the id as the roster has it.")
    names = set(exercises) or known
    chosen = [each for each in of_class.learners if not learners or each.id in learners]
    if len(names) * len(chosen) > MOST_SHEETS:
        raise GainError(
            f"that would be {len(names) * len(chosen)} sheets, and at most {MOST_SHEETS} are made at once; "
            "name some exercises or learners."
        )
    return names, chosen


@dataclass(frozen=True)
class Handout:
    """Exercises of a class for some of its learners, on paper: `sheets` for them, `key` for the teacher."""

    of_class: ClassFile
    exercises: Sequence[Exercise]
    learners: Sequence[RosterLine]
    paper: str = "A4"

    def sheets(self, on_progress: Callable[[int, int], None] = lambda done, of: None) -> str:
        """The sheets as one page to print: each learner's begin on a new one, with brief, picture and room to write."""
        entries = {each.name: each for each in self.of_class.exercises}
        made: list[dict[str, Any]] = []
        for index, learner in enumerate(self.learners, start=1):
            own = [_sheet(each, self._variant(each, learner), entries[each.name]) for each in self._asked_of(learner)]
            due = self.of_class.due_for(learner.id)
            told = {"name": learner.name, "id": learner.id, "due": moment_in_words(due) if due else ""}
            made += [{**told, "exercises": own}] if own else []  # none for who is exempt from all of them
            on_progress(index, len(self.learners))
        drawn = any(each["picture"] for sheet in made for each in sheet["exercises"])
        return self._page("sheets.html", script() if drawn else "", sheets=made, lines=range(4))

    def key(self, on_progress: Callable[[int, int], None] = lambda done, of: None) -> str:
        """The teacher's key as a page to print: of each exercise, each learner's numbers, an answer, what it gives.

        What is moved is the author's own at these numbers, and what it gives is measured, as in a marking; what is
        asked is as fine as a learner is asked to be.
        """
        tables = []
        for index, each in enumerate(self.exercises, start=1):
            asked = [learner for learner in self.learners if each in self._asked_of(learner)]
            renderings = Renderings()
            rows = [_key_row(self._variant(each, learner), learner, renderings) for learner in asked]
            tables.append({"title": each.title, "name": each.name, "goal": each.goal, **_key_table(rows)})
            on_progress(index, len(self.exercises))
        return self._page("answer_key.html", "", tables=tables)

    def _page(self, template: str, drawing: str, **held: Any) -> str:
        return render(template, title=self.of_class.title, paper=self.paper, script=drawing, **held)

    def _asked_of(self, learner: RosterLine) -> list[Exercise]:
        return [each for each in self.exercises if not self.of_class.is_exempt(learner.id, each.name)]

    def _variant(self, exercise: Exercise, learner: RosterLine) -> Variant:
        return exercise.variant(learner.id, self.of_class.key_of(learner.id))


@dataclass(frozen=True)
class _KeyRow:
    """A learner's line of the key: title -> what is told, in three groups; `wanted` of what is measured."""

    name: str
    id: str
    numbers: dict[str, str]
    answer: dict[str, str]
    gives: dict[str, str]
    wanted: dict[str, str]


def _key_row(variant: Variant, learner: RosterLine, renderings: Renderings) -> _KeyRow:
    spec = variant.exercise.spec
    numbers = {name.replace("_", " "): printed for name, printed in variant.printed.items()}
    if not spec.solution or variant.exercise.kind == "record":
        return _KeyRow(learner.name, learner.id, numbers, {}, {}, {})
    answer = author_answer(variant)
    asked = {each.question.name: each for each in expected_answers(variant, renderings)}
    told = {
        title: asked[name].measured if name in asked and isinstance(asked[name].right, float) else value
        for name, title, value in answer_parts(variant, _moved(variant, answer))
    }
    gives, wanted = {}, {}
    if spec.checks:
        answers, _, _ = read_answer(variant, answer)
        session = variant.session.replaced({path: value for path, value in answers.items() if "/" in path})
        read = renderings.read(session)
        for entry, reading in zip(spec.checks, variant.checks, strict=True):
            gives[entry.title] = reading.printed(read.value(reading), session)
            wanted[entry.title] = reading.wanted(session)
    for each in asked.values():
        if not isinstance(each.right, float) and each.measured:
            gives[f"{each.question.title}, as read"] = each.measured
        elif each.within:
            unit = DIFFERENCES.get(each.question.unit, each.question.unit)
            wanted[each.question.title] = f"within {printed_number(each.within, unit)}"
    return _KeyRow(learner.name, learner.id, numbers, told, gives, wanted)


def _key_table(rows: Sequence[_KeyRow]) -> dict[str, Any]:
    """The rows with a column for each thing, where there is room for so many; else with a cell for each group.

    What is wanted of all alike stands once, above; where it differs, behind what is measured.
    """
    alike = (
        {title: told for title, told in rows[0].wanted.items() if all(r.wanted.get(title) == told for r in rows)}
        if rows
        else {}
    )
    groups = []
    for heading, name, otherwise in _GROUPS:
        cells = [getattr(row, name) for row in rows]
        if name == "gives":
            cells = [{title: told + _apart(row, title, alike) for title, told in row.gives.items()} for row in rows]
        titles = list(dict.fromkeys(title for each in cells for title in each))
        groups.append({"heading": heading, "titles": titles, "cells": cells, "otherwise": otherwise})
    wide = sum(max(1, len(group["titles"])) for group in groups) <= MOST_COLUMNS
    return {
        "rows": rows,
        "groups": [group for group in groups if group["titles"] or group["otherwise"]],
        "wide": wide,
        "wanted": alike,
    }


def _apart(row: _KeyRow, title: str, alike: dict[str, str]) -> str:
    return "" if title in alike or title not in row.wanted else f" (wanted: {row.wanted[title]})"


def _moved(variant: Variant, answer: dict[str, Any]) -> dict[str, Any]:
    """What of an answer is not as it stood at the start; all of it where nothing is moved."""
    moved = {name: value for name, value in answer.items() if variant.start.get(name) != value}
    return moved or answer


def _sheet(exercise: Exercise, variant: Variant, entry: ClassExercise) -> dict[str, Any]:
    by_ear = exercise.kind in _BY_EAR
    shown = None if by_ear else answered_picture(variant, variant.start)
    at_computer = _DONE_BY_EAR if by_ear else ""
    worth = entry.worth(exercise)
    if shown and exercise.kind == "find" and len(variant.session.strips) > 1:
        at_computer = "The other strips, and how all of them sound, are at the computer."
    return {
        "title": exercise.title,
        "points": counted(worth, "point") if worth else "",
        "role": ROLES[entry.role],
        "brief": variant.brief.split("\n\n"),
        "at_computer": at_computer,
        "picture": figure_html(shown[0], shown[1], shown[2]) if shown else "",
        "heading": shown[2] if shown else "",
        "sentence": shown[3] if shown else "",
        "asks": [_asked(each) for each in variant.questions] + _FOUND * (exercise.kind == "hear"),
        "moves": [_to_move(each) for each in variant.controls],
        "versions": [each.label for each in variant.candidates] if not variant.questions else [],
    }


def _asked(ask: Question) -> dict[str, Any]:
    unit = "s" if ask.form == "seconds" else ask.unit
    return {"title": ask.title, "unit": unit, "choices": ask.choices, "ordered": ask.form == "order"}


def _to_move(move: ControlSpec) -> dict[str, Any]:
    """A control, with what it may be set to."""
    if move.points:
        ends = map(move.printed, (move.low, move.high))
        span = "from {} to {}; or draw it into the picture".format(*ends)
    elif move.options:
        span = ""
    else:
        low, high, start = map(move.printed, (move.low, move.high, move.start))
        span = f"from {low} to {high}, now {start}"
    choices = [("on" if each else "off") if isinstance(each, bool) else str(each) for each in move.options]
    unit = "" if move.options else move.unit
    title = f"{move.label}, ride" if move.points and "ride" not in move.label.lower() else move.label
    return {"title": title, "unit": unit, "choices": choices, "span": span, "points": move.points}
