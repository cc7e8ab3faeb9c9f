"""Grades and pages as they leave gainlib: the files that the profiles of a class ask for."""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath

from gainlib.classroom.class_file import ClassFile, RosterLine
from gainlib.classroom.grade_profile import GradeProfile
from gainlib.classroom.lti_scores import score_of
from gainlib.classroom.marks import LearnerMark, Marks
from gainlib.classroom.one_roster import gradebook
from gainlib.errors import GainError, suggest
from gainlib.learners.learners_file import ROLES
from gainlib.learners.naming import file_names
from gainlib.storage import Cell, atomic_path, atomic_write, csv_text, write_csv
from gainlib.text import counted

__all__ = ["comment_of", "write_grades"]

_IN_BRACKETS = re.compile(r"\{([^{}]*)\}")
_NOT_IN_A_NAME = re.compile(r'[\x00-\x1f\x7f/\\:*?"<>|]+')


def comment_of(line: LearnerMark) -> str:
    """What a learner is told, as one plain text: points, lateness, what is off in each exercise, the teacher's word."""
    if line.exempt:
        return " ".join(filter(None, ["Exempt.", line.remark]))
    if not line.has_points:
        said = "Handed in, but it cannot be read or marked." if line.unusable else "Nothing was handed in."
        return " ".join(filter(None, [said, line.remark]))
    told = [f"{line.total:g} of {line.out_of:g} points."]
    if line.penalty_percent:
        told.append(f"{line.penalty_percent:g} % taken off: {counted(line.days_late, 'day')} late.")
    if line.remark:
        told.append(line.remark)
    for each in line.exercises:
        points = "exempt" if each.exempt else f"{each.points:g} of {each.out_of:g}"
        role = f", {ROLES[each.role]}" if ROLES[each.role] and not each.exempt else ""
        told.append(f"{each.exercise.title}: {points if each.exempt or each.has_points else 'no answer'}{role}.")
        if each.fault and not each.exempt:
            told.append(f"Not marked: {each.fault}")
        if each.remark:
            told.append(each.remark)
        if each.answered and not each.exempt:
            told += [f"{title}: {sentence}" for title, met, _, _, sentence in each.mark["lines"] if not met]
            told += [each.mark["slip_said"]] if each.mark["slip_said"] else []
    return " ".join(" ".join(each.split()) for each in told)


def write_grades(marks: Marks, profile: GradeProfile, name: str, out: Path, pages: Mapping[str, Path]) -> list[Path]:
    """Write what a profile asks for into a folder, and give the files; `pages` are the feedback pages by learner.

    `grades-NAME.csv` has the columns, `grades-NAME.zip` is the gradebook of OneRoster, `scores-NAME.json` has LTI's
    scores, `pages-NAME.zip` the pages.
    Raises GainError where two learners would have the same page's name.
    """
    of_class = marks.class_file
    chosen = [
        line for line in marks.lines()
        if profile.group is None or getattr(of_class.roster.get(line.learner_id), "group", None) == profile.group
    ]  # fmt: skip
    named = _page_names(profile, of_class, chosen)
    made = []
    if profile.columns:
        heading: Sequence[Cell] = [each.heading for each in profile.columns]
        rows = [heading, *(_row(profile, of_class, line, named) for line in chosen)]
        made.append(write_csv(out / f"grades-{name}.csv", rows, profile.csv.form, private=True))
    if profile.one_roster:
        of = [
            (line, str(_held(profile.one_roster.learner, profile, of_class, line, named)), comment_of(line))
            for line in chosen
        ]
        tables = gradebook(of_class, profile.one_roster, profile.grade, of, datetime.now(UTC).date())
        files = {file: csv_text(rows).encode() for file, rows in tables.items()}
        made.append(_zip(out / f"grades-{name}.zip", files))
    if profile.lti_scores:
        word, now = profile.lti_scores.learner, datetime.now(UTC)
        scores = [
            score_of(line, profile.grade, str(_held(word, profile, of_class, line, named)), comment_of(line), now)
            for line in chosen
            if not line.exempt
        ]
        text = json.dumps(scores, indent=1, ensure_ascii=False)
        made.append(atomic_write(out / f"scores-{name}.json", text, private=True))
    if profile.pages:
        files = {
            named[line.learner_id]: pages[line.learner_id].read_bytes() for line in chosen if line.learner_id in pages
        }
        made.append(_zip(out / f"pages-{name}.zip", files))
    return made


def _zip(path: Path, files: Mapping[str, bytes]) -> Path:
    """Files in one archive, which is the same whenever it is made of the same."""
    with atomic_path(path, private=True) as half, zipfile.ZipFile(half, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in sorted(files.items()):
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return path


def _row(profile: GradeProfile, of_class: ClassFile, line: LearnerMark, named: Mapping[str, str]) -> list[Cell]:
    return [
        each.text if each.holds is None else _held(each.holds, profile, of_class, line, named)
        for each in profile.columns
    ]


def _held(word: str, profile: GradeProfile, of_class: ClassFile, line: LearnerMark, named: Mapping[str, str]) -> Cell:
    """What a word of a profile stands for, of a learner."""
    of = of_class.roster.get(line.learner_id) or RosterLine(id=line.learner_id, name=line.name)
    match word:
        case "id" | "name":
            return of.id if word == "id" else of.name
        case "mail" | "group":
            return getattr(of, word) or ""
        case "grade":
            return profile.grade.of_line(line)
        case "comment":
            return comment_of(line)
        case "percent":
            return "" if line.exempt else line.percent
        case "total" | "out of" | "before lateness" | "days late":
            number: float = getattr(line, word.replace(" ", "_"))
            return number
        case "handed in":
            return line.made.isoformat(timespec="minutes") if line.made else ""
        case "page":
            return named.get(line.learner_id, "")
    exercise = next((each for each in line.exercises if each.exercise.name == word), None)
    if exercise is None:
        return of.more.get(word, "")
    return profile.grade.exempt if exercise.exempt else exercise.points if exercise.has_points else ""


def _page_names(profile: GradeProfile, of_class: ClassFile, lines: Sequence[LearnerMark]) -> dict[str, str]:
    """The name in the archive of each learner's page; without a pattern as in the feedback folder."""
    if profile.pages is None:
        own = file_names(line.learner_id for line in lines)
        return {each: f"feedback/for-{name}.html" for each, name in own.items()}
    known = ["id", "name", "mail", "group", *dict.fromkeys(head for each in of_class.learners for head in each.more)]
    for word in _IN_BRACKETS.findall(profile.pages):
        if word not in known:
            raise GainError(f"pages names {{{word}}}; {suggest(word, known)}")
    if not profile.pages.endswith(".html"):
        raise GainError(f"pages is {profile.pages!r}; it must end with .html.")
    found: dict[str, str] = {}
    for line in lines:
        named = profile.pages
        for word in set(_IN_BRACKETS.findall(named)):
            held = str(_held(word, profile, of_class, line, {}))
            named = named.replace(f"{{{word}}}", _NOT_IN_A_NAME.sub("_", held))
        path = PurePosixPath(named)
        if path.is_absolute() or ".." in path.parts or _NOT_IN_A_NAME.search(named.replace("/", "")):
            raise GainError(f"pages gives {named!r} for {line.learner_id}; it must stay in the archive.")
        same = next((each for each, other in found.items() if other.casefold() == str(path).casefold()), None)
        if same is not None:
            raise GainError(f"pages gives {named!r} for {same} and for {line.learner_id}; put {{id}} into it.")
        found[line.learner_id] = str(path)
    return found
