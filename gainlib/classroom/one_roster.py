"""The gradebook of a class as OneRoster 1.2 has it in CSV: line items, results, their category and the manifest.

*Published*: 1EdTech OneRoster 1.2, CSV binding. Headings and their order, what is required and the words of
`scoreStatus` were read in a public library that follows it; the standard's own text was not at hand. *From memory*: the
list of files in the manifest, `bulk` and `absent`, and that status and dateLastModified stay empty in a bulk file.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Sequence
from datetime import date
from decimal import Decimal

from gainlib.classroom.class_file import ClassFile
from gainlib.classroom.grade_profile import Grade, OneRosterIds
from gainlib.classroom.marks import ExerciseMark, LearnerMark
from gainlib.storage import Cell

__all__ = ["CATEGORIES", "LINE_ITEMS", "MANIFEST", "RESULTS", "Gradebook"]

LINE_ITEMS = (
    "sourcedId", "status", "dateLastModified", "title", "description", "assignDate", "dueDate", "classSourcedId",
    "categorySourcedId", "academicSessionSourcedId", "resultValueMin", "resultValueMax", "schoolSourcedId",
)  # fmt: skip
RESULTS = (
    "sourcedId", "status", "dateLastModified", "lineItemSourcedId", "studentSourcedId", "scoreStatus", "score",
    "scoreDate", "comment", "textScore", "classSourcedId", "inProgress", "incomplete", "late", "missing",
)  # fmt: skip
CATEGORIES = ("sourcedId", "status", "dateLastModified", "title", "weight")
MANIFEST = ("propertyName", "value")

_BULK = ("categories", "lineItems", "results")
_FILES = (
    "academicSessions", "categories", "classes", "classResources", "courses", "courseResources", "demographics",
    "enrollments", "lineItemLearningObjectiveIds", "lineItems", "lineItemScoreScales", "orgs", "resources",
    "resultLearningObjectiveIds", "results", "resultScoreScales", "roles", "scoreScales", "userProfiles",
    "userResources", "users",
)  # fmt: skip


class Gradebook:
    """The gradebook of a class, to which each learner is added.

    One line item is the whole class's work, with the grade as its score; with `each_exercise` there is one for each
    exercise that counts as well. The ids of line items and results follow from the class and do not change, so a later
    file corrects an earlier one.
    """

    def __init__(self, of_class: ClassFile, ids: OneRosterIds, grade: Grade, today: date) -> None:
        self._of_class, self._ids, self._grade, self._today = of_class, ids, grade, today
        self._of_exercises: dict[str, tuple[str, str, Decimal]] = {}
        self._results: list[Sequence[Cell]] = []

    def add(self, line: LearnerMark, student: str, comment: str) -> None:
        """Add a learner: the mark line, their id in the school's system, and the comment."""
        if self._ids.each_exercise and not self._results:
            for each in line.exercises:
                if each.role != "optional":
                    about = each.exercise
                    self._of_exercises[about.name] = (about.title, about.goal, Decimal(str(each.out_of)))
        for name in ("whole", *self._of_exercises):
            of = next((each for each in line.exercises if each.exercise.name == name), None)
            of = of if name in self._of_exercises else None
            self._results.append([
                self._id("result", name, line.learner_id), "", "", self._id("line item", name), student,
                *(_of_exercise(of, line) if of else _of_whole(line, self._grade)),
                (line.made.date() if line.made else self._today).isoformat(),
                "" if of else comment, _word(line, self._grade) if not of else "", self._ids.class_, "false",
                _flag(bool(of.fault) if of else any(each.fault for each in line.exercises)), _flag(line.days_late > 0),
                _flag(not line.exempt and not line.has_points and not line.unusable),
            ])  # fmt: skip

    def tables(self) -> dict[str, list[Sequence[Cell]]]:
        """The tables by file name."""
        ids, due = self._ids, self._of_class.due
        until = (ids.due or (due.date() if due else self._today)).isoformat()
        items = {"whole": (self._of_class.title, "", _highest(self._grade)), **self._of_exercises}
        return {
            "manifest.csv": [MANIFEST, *_manifest()],
            "categories.csv": [CATEGORIES, [ids.category, "", "", ids.category_title, ""]],
            "lineItems.csv": [
                LINE_ITEMS,
                *(
                    (
                        self._id("line item", name), "", "", title, goal, ids.assigned.isoformat(), until, ids.class_,
                        ids.category, ids.academic_session, 0, most, ids.school,
                    )
                    for name, (title, goal, most) in items.items()
                ),
            ],
            "results.csv": [RESULTS, *self._results],
        }  # fmt: skip

    def _id(self, *about: str) -> str:
        """An id that is the same in each marking of a class, and that no other class has (UUID of a name, RFC 9562)."""
        return str(uuid.uuid5(uuid.NAMESPACE_URL, "/".join(["gainlib", self._of_class.tag, *about])))


def _manifest() -> Iterator[Sequence[Cell]]:
    yield "manifest.version", "1.0"
    yield "oneroster.version", "1.2"
    for each in _FILES:
        yield f"file.{each}", "bulk" if each in _BULK else "absent"
    yield "source.systemName", "gainlib"
    yield "source.systemCode", "gainlib"


def _highest(grade: Grade) -> Decimal:
    """The score of full marks, whatever words the grade is put into."""
    return Decimal(str(grade.scale)).normalize() if grade.scale % 1 else Decimal(int(grade.scale))


def _of_whole(line: LearnerMark, grade: Grade) -> tuple[str, Cell]:
    if line.exempt:
        return "exempt", ""
    if line.has_points:
        score = _score(line, grade)
        return ("partially graded" if any(each.fault for each in line.exercises) else "fully graded"), score
    return ("submitted", "") if line.unusable else ("not submitted", "")


def _score(line: LearnerMark, grade: Grade) -> Cell:
    return grade.model_copy(update={"steps": []}).of_line(line)


def _word(line: LearnerMark, grade: Grade) -> str:
    """The grade in words, where the profile puts it into words."""
    found = grade.of_line(line)
    return found if isinstance(found, str) else ""


def _of_exercise(of: ExerciseMark, line: LearnerMark) -> tuple[str, Cell]:
    if of.exempt:
        return "exempt", ""
    if of.has_points:
        return "fully graded", Decimal(str(of.points))
    return ("submitted", "") if of.fault or (line.unusable and not line.file) else ("not submitted", "")


def _flag(value: bool) -> str:
    return "true" if value else "false"
