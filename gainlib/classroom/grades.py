"""Grades and pages as they leave gainlib: the files that the profiles of a class ask for."""

from __future__ import annotations

import json
import re
import zipfile
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from gainlib.classroom.class_file import RosterLine
from gainlib.classroom.grade_profile import IN_BRACKETS, GradeProfile
from gainlib.classroom.lti_scores import score_of
from gainlib.classroom.marks import LearnerMark, Marks
from gainlib.classroom.one_roster import Gradebook
from gainlib.errors import GainError
from gainlib.learners.learners_file import ROLES
from gainlib.learners.naming import file_names
from gainlib.storage import Cell, atomic_path, atomic_write, csv_text, write_csv
from gainlib.text import counted, with_decimals

__all__ = ["Grades", "comment_of"]

_NOT_IN_A_NAME = re.compile(r'[\x00-\x1f\x7f/\\:*?"<>|]+')


def comment_of(line: LearnerMark, decimal: str = ".") -> str:
    """What a learner is told, as one plain text: points, lateness, what is off in each exercise, the teacher's word.

    `decimal` is the sign in its numbers; titles and the teacher's word stand as they were written.
    """
    if line.exempt:
        return " ".join(filter(None, ["Exempt.", line.remark]))
    if not line.has_points:
        said = "Handed in, but it cannot be read or marked." if line.unusable else "Nothing was handed in."
        return " ".join(filter(None, [said, line.remark]))
    told: list[str] = []

    def tell(text: str, of: str = "") -> None:
        told.append(f"{of}: {with_decimals(text, decimal)}" if of else with_decimals(text, decimal))

    tell(f"{line.total:g} of {line.out_of:g} points.")
    if line.penalty_percent:
        tell(f"{line.penalty_percent:g} % taken off: {counted(line.days_late, 'day')} late.")
    told.append(line.remark)
    for each in line.exercises:
        points = "exempt" if each.exempt else each.told_points or "done, without points"
        role = f", {ROLES[each.role]}" if ROLES[each.role] and not each.exempt else ""
        tell(f"{points if each.exempt or each.has_points else 'no answer'}{role}.", each.exercise.title)
        if each.fault and not each.exempt:
            tell(f"Not marked: {each.fault}")
        told.append(each.remark)
        if each.answered and not each.exempt:
            for title, met, _, _, sentence in each.mark["lines"]:
                if not met:
                    tell(sentence, title)
            tell(each.mark["slip_said"] or "")
    return " ".join(" ".join(each.split()) for each in told if each)


class Grades:
    """What one profile asks for: each mark line is added, then the files are written.

    Of a line only what the files hold is kept. Raises GainError where two learners would have the same page's name.
    """

    def __init__(self, marks: Marks, profile: GradeProfile, name: str) -> None:
        self._profile, self._name, self._of_class = profile, name, marks.class_file
        self._now = datetime.now(UTC)
        self._chosen = [each for each in (self._listed(*of) for of in marks.learners()) if self._is_asked_for(each)]
        self._pages = _page_names(profile, self._chosen)
        self._rows: list[Sequence[Cell]] = [[each.heading for each in profile.columns]]
        self._scores: list[dict[str, Any]] = []
        ids = profile.one_roster
        self._book = Gradebook(self._of_class, ids, profile.grade, self._now.date()) if ids else None

    def _listed(self, learner_id: str, name: str) -> RosterLine:
        return self._of_class.roster.get(learner_id) or RosterLine(id=learner_id, name=name)

    def _is_asked_for(self, learner: RosterLine) -> bool:
        return self._profile.group is None or learner.group == self._profile.group

    def add(self, line: LearnerMark) -> None:
        """Add a learner, unless the profile asks for others."""
        profile, of = self._profile, self._listed(line.learner_id, line.name)
        if not self._is_asked_for(of):
            return
        if profile.columns:
            self._rows.append([
                each.text if each.holds is None else self._held(each.holds, line, of) for each in profile.columns
            ])  # fmt: skip
        if profile.one_roster and self._book:
            self._book.add(line, str(self._held(profile.one_roster.learner, line, of)), comment_of(line))
        if profile.lti_scores and not line.exempt:
            user = str(self._held(profile.lti_scores.learner, line, of))
            self._scores.append(score_of(line, profile.grade, user, comment_of(line), self._now))

    def _held(self, word: str, line: LearnerMark, of: RosterLine) -> Cell:
        """What a word of the profile stands for, of a learner."""
        grade = self._profile.grade
        match word:
            case "grade":
                return grade.of_line(line)
            case "comment":
                return comment_of(line, self._profile.csv.decimal)
            case "percent":
                return "" if line.exempt else line.percent
            case "total" | "out of" | "before lateness" | "days late":
                number: float = getattr(line, word.replace(" ", "_"))
                return number
            case "handed in":
                return line.made.isoformat(timespec="minutes") if line.made else ""
            case "page":
                return self._pages.get(line.learner_id, "")
        exercise = next((each for each in line.exercises if each.exercise.name == word), None)
        if exercise is None:
            return _of_list(word, of)
        return grade.exempt if exercise.exempt else exercise.points if exercise.has_points else ""

    def write(self, out: Path, pages: Mapping[str, Path]) -> list[Path]:
        """Write the files into a folder, and give them; `pages` are the feedback pages by learner.

        `grades-NAME.csv` has the columns, `grades-NAME.zip` is the gradebook of OneRoster, `scores-NAME.json` has
        LTI's scores, `pages-NAME.zip` the pages.
        """
        profile, name, made = self._profile, self._name, []
        if profile.columns:
            made.append(write_csv(out / f"grades-{name}.csv", self._rows, profile.csv.form, private=True))
        if self._book:
            files = {file: csv_text(rows).encode() for file, rows in self._book.tables().items()}
            made.append(_zip(out / f"grades-{name}.zip", files))
        if profile.lti_scores:
            text = json.dumps(self._scores, indent=1, ensure_ascii=False)
            made.append(atomic_write(out / f"scores-{name}.json", text, private=True))
        if profile.pages:
            files = {self._pages[each.id]: pages[each.id].read_bytes() for each in self._chosen if each.id in pages}
            made.append(_zip(out / f"pages-{name}.zip", files))
        return made


def _zip(path: Path, files: Mapping[str, bytes]) -> Path:
    """Files in one archive, which is the same whenever it is made of the same."""
    with atomic_path(path, private=True) as half, zipfile.ZipFile(half, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in sorted(files.items()):
            archive.writestr(zipfile.ZipInfo(name), content, zipfile.ZIP_DEFLATED)
    return path


def _of_list(word: str, of: RosterLine) -> str:
    """What the class list has of a learner under a word: `id`, `name`, `mail`, `group`, or a heading of its own."""
    return (getattr(of, word) or "") if word in ("id", "name", "mail", "group") else of.more.get(word, "")


def _page_names(profile: GradeProfile, learners: Sequence[RosterLine]) -> dict[str, str]:
    """The name in the archive of each learner's page; without a pattern as in the feedback folder."""
    if profile.pages is None:
        own = file_names(each.id for each in learners)
        return {each: f"feedback/for-{name}.html" for each, name in own.items()}
    found: dict[str, str] = {}
    for learner in learners:
        named = profile.pages
        for word in set(IN_BRACKETS.findall(named)):
            named = named.replace(f"{{{word}}}", _NOT_IN_A_NAME.sub("_", _of_list(word, learner)))
        path = PurePosixPath(named)
        if path.is_absolute() or ".." in path.parts or _NOT_IN_A_NAME.search(named.replace("/", "")):
            raise GainError(f"pages gives {named!r} for {learner.id}; it must stay in the archive.")
        same = next((each for each, other in found.items() if other.casefold() == str(path).casefold()), None)
        if same is not None:
            raise GainError(f"pages gives {named!r} for {same} and for {learner.id}; put {{id}} into it.")
        found[learner.id] = str(path)
    return found
