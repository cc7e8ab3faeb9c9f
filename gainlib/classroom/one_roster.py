"""The gradebook of a class as OneRoster 1.2 has it in CSV: line items, results, their category and the manifest.

*Published*: 1EdTech OneRoster 1.2, CSV binding. Headings and their order, what is required and the words of
`scoreStatus` were read in a public library that follows it; the standard's own text was not at hand. *From memory*: the
list of files in the manifest, `bulk` and `absent`, and that status and dateLastModified stay empty in a bulk file.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal

from gainlib.classroom.class_file import ClassFile
from gainlib.classroom.grade_profile import Grade, OneRosterIds
from gainlib.classroom.marks import ExerciseMark, LearnerMark
from gainlib.storage import Cell

__all__ = ["CATEGORIES", "LINE_ITEMS", "MANIFEST", "RESULTS", "gradebook"]

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


def gradebook(
    of_class: ClassFile,
    ids: OneRosterIds,
    grade: Grade,
    lines: Iterable[tuple[LearnerMark, str, str]],
    today: date,
) -> dict[str, list[Sequence[Cell]]]:
    """The tables by file name; of each learner come the mark line, their id in the school's system, and the comment.

    One line item is the whole class's work, with the grade as its score; with `each_exercise` there is one for each
    exercise that counts as well. The ids of line items and results follow from the class and do not change, so a later
    file corrects an earlier one.
    """
    lines = list(lines)
    due = ids.due or (of_class.due.date() if of_class.due else today)
    items = [("whole", of_class.title, "", _highest(grade))]
    names = {}
    if ids.each_exercise and lines:
        for each in lines[0][0].exercises:
            if each.role != "optional":
                names[each.exercise.name] = each.exercise.title
                items.append((each.exercise.name, each.exercise.title, each.exercise.goal, Decimal(str(each.out_of))))
    results: list[Sequence[Cell]] = []
    for line, student, comment in lines:
        for name, _, _, _ in items:
            of = next((each for each in line.exercises if each.exercise.name == name), None) if name in names else None
            results.append([
                _id(of_class, "result", name, line.learner_id), "", "", _id(of_class, "line item", name), student,
                *(_of_exercise(of, line) if of else _of_whole(line, grade)), (line.made.date() if line.made else today)
                .isoformat(), "" if of else comment, _word(line, grade) if not of else "", ids.class_, "false",
                _flag(bool(of.fault) if of else any(each.fault for each in line.exercises)), _flag(line.days_late > 0),
                _flag(not line.exempt and not line.has_points),
            ])  # fmt: skip
    tables: dict[str, list[Sequence[Cell]]] = {
        "manifest.csv": [MANIFEST, *_manifest()],
        "categories.csv": [CATEGORIES, [ids.category, "", "", ids.category_title, ""]],
        "lineItems.csv": [LINE_ITEMS],
        "results.csv": [RESULTS, *results],
    }
    tables["lineItems.csv"] += [
        (
            _id(of_class, "line item", name), "", "", title, goal, ids.assigned.isoformat(), due.isoformat(),
            ids.class_, ids.category, ids.academic_session, 0, most, ids.school,
        )
        for name, title, goal, most in items
    ]  # fmt: skip
    return tables


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


def _id(of_class: ClassFile, *about: str) -> str:
    """An id that is the same in each marking of a class, and that no other class has (UUID of a name, RFC 9562)."""
    return str(uuid.uuid5(uuid.NAMESPACE_URL, "/".join(["gainlib", of_class.tag, *about])))
