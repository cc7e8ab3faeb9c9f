"""The feedback page of one learner: each check in words, the slip, and the picture of what their settings did."""

from __future__ import annotations

import functools
import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gainlib import views
from gainlib.classroom import answer_shown
from gainlib.classroom.answer_shown import answered_picture, told_answer
from gainlib.classroom.guard import noting
from gainlib.classroom.marking import Work, engine_digest
from gainlib.classroom.marks import LearnerMark
from gainlib.exercises import Exercise, load
from gainlib.html.figures import figure_html, script, script_beside
from gainlib.html.pages import TEMPLATES, render

__all__ = ["PageWork", "feedback_pages"]


@dataclass(frozen=True)
class PageWork:
    """All that one page is made from; `digest` tells whether a page that is there was made from the same."""

    file: str
    light: bool
    content: dict[str, Any]
    answers: tuple[Work | None, ...]

    @functools.cached_property
    def digest(self) -> str:
        """The digest of all that the page is made from."""
        made_by = [engine_digest(), _files_digest()]
        parts = [self.light, self.content, [each.key if each else "" for each in self.answers], made_by]
        return hashlib.sha256(json.dumps(parts, sort_keys=True).encode()).hexdigest()[:32]

    @classmethod
    def of(cls, line: LearnerMark, title: str, file: str, light: bool) -> PageWork:
        """The page of a mark line."""
        return cls(
            file=file,
            light=light,
            content={
                "name": line.name,
                "title": title,
                "made": f"handed in {line.made_in_words}" if line.made else "nothing handed in",
                "total": f"{line.total:g}",
                "out_of": f"{line.out_of:g}",
                "days_late": line.days_late,
                "penalty": f"{line.penalty_percent:g}",
                "exempt": line.exempt,
                "bonus": any(each.role == "bonus" and each.counted_points for each in line.exercises),
                "remark": line.remark,
                "exercises": [
                    {
                        "title": each.exercise.title,
                        "goal": each.exercise.goal,
                        "fault": each.fault,
                        "answered": each.answered,
                        "role": each.role,
                        "exempt": each.exempt,
                        "corrected": f"{each.corrected_points:g}" if each.corrected_points is not None else "",
                        "measured": f"{each.measured:g}",
                        "remark": each.remark,
                        "passed": each.passed,
                        "points": each.told_points,
                        "out_of": f"{each.out_of:g}",
                        "hint_cost": f"{each.mark['hint_cost']:g} points" if each.mark.get("hint_cost") else "",
                        "checks": [
                            {"title": title, "met": met, "sentence": sentence}
                            for title, met, _, _, sentence in each.mark.get("lines", [])
                        ],
                        "notes": each.mark.get("notes", []),
                        "slip": each.mark.get("slip_said", ""),
                    }
                    for each in line.exercises
                ],
            },
            answers=tuple(each.work if each.answered else None for each in line.exercises),
        )


@functools.cache
def _files_digest() -> str:
    """Of all files that say how a page looks."""
    rooms = (TEMPLATES.parent, TEMPLATES, Path(views.__file__).parent)
    files = [
        Path(__file__),
        Path(answer_shown.__file__),
        *(file for room in rooms for file in sorted(room.iterdir()) if file.is_file()),
    ]
    return hashlib.sha256(b"".join(file.read_bytes() for file in files)).hexdigest()


def feedback_pages(works: Sequence[PageWork]) -> list[tuple[str, str]]:
    """The pages of some learners as text, in the same order; each with a sentence where it could not be made."""
    found = []
    for each in works:
        text, wrong = "", list[tuple[str, str]]()
        with noting(wrong, each.file):
            text = _page(each)
        found.append((text, wrong[0][1] if wrong else ""))
    return found


def _page(work: PageWork) -> str:
    exercises = []
    for told, answer in zip(work.content["exercises"], work.answers, strict=True):
        drawn: dict[str, Any] = {"settings": [], "moved": False, "picture": ""}
        if answer is not None:
            variant = _exercise(answer.source, answer.task).with_values(answer.values)
            drawn |= {"settings": told_answer(variant, answer.answer), "moved": bool(variant.controls)}
            if shown := answered_picture(variant, answer.answer):
                figure, columns, heading, sentence = shown
                drawn |= {"picture": figure_html(figure, columns, heading), "heading": heading, "sentence": sentence}
        exercises.append({**told, **drawn})
    drawing = script_beside() if work.light else script()
    return render("feedback.html", **{**work.content, "exercises": exercises}, script=drawing)


@functools.lru_cache(maxsize=64)
def _exercise(source: str, task: str) -> Exercise:
    return load(source)
