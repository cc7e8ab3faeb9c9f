"""A profile for grades that leave gainlib, a small TOML: columns, scale, rounding, the names of pages."""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from datetime import date
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, StringConstraints, ValidationError

from gainlib.classroom.class_file import ClassFile, read_typed
from gainlib.classroom.decisions import CsvEntry
from gainlib.classroom.marks import LearnerMark
from gainlib.errors import GainError, suggest
from gainlib.learners.learners_file import ShortText
from gainlib.storage import atomic_write, given_path, toml_value
from gainlib.storage.entry_faults import Entry, describe_first

__all__ = [
    "IN_BRACKETS",
    "OF_LEARNER",
    "Column",
    "Grade",
    "GradeProfile",
    "OneRosterIds",
    "read_profile",
    "write_profile",
]

LARGEST_PROFILE_BYTES = 256 * 1024
IN_BRACKETS = re.compile(r"\{([^{}]*)\}")
"""What stands in curly brackets in the name of a page."""
OF_LEARNER = (
    "id", "name", "mail", "group", "grade", "comment", "percent", "total", "out of", "before lateness", "days late",
    "handed in", "page",
)  # fmt: skip
"""What a column may hold of a learner, beside the points of an exercise and what the class list had."""

Number = Annotated[float, Field(allow_inf_nan=False, ge=-1e6, le=1e6)]
Positive = Annotated[float, Field(allow_inf_nan=False, gt=0, le=1e6)]
Word = Annotated[str, StringConstraints(max_length=200)]


class Column(Entry):
    """A column: its heading, and what it holds of each learner or the text that is the same for all."""

    heading: Word
    holds: ShortText | None = None
    text: Word | None = None


class Step(Entry):
    """From this value on, on the grade's scale, the grade is this."""

    least: Number
    grade: ShortText


class Grade(Entry):
    """The grade of a learner: the share of the full marks on a scale, rounded, then put into words if there are steps.

    >>> Grade(scale=15, round_to=0.5).of(Fraction(17, 20)), Grade(scale=100, at_most=100).of(Fraction(13, 10))
    (Decimal('13.0'), Decimal('100.0'))
    """

    scale: Positive = 100.0
    round_to: Positive = 0.1
    at_most: Number | None = None
    steps: Annotated[list[Step], Field(max_length=200)] = Field(default_factory=list)
    nothing: Word | None = None
    exempt: Word = ""

    def of(self, share: Fraction) -> Decimal | str:
        """The grade of a share of the full marks; halves are rounded up."""
        step = Fraction(str(self.round_to))
        value = (share * Fraction(str(self.scale)) / step + Fraction(1, 2)).__floor__() * step
        if self.at_most is not None:
            value = min(value, Fraction(str(self.at_most)))
        if self.steps:
            fitting = [each for each in self.steps if Fraction(str(each.least)) <= value]
            return max(fitting, key=lambda each: each.least).grade if fitting else ""
        digits = max(0, -int(Decimal(str(self.round_to)).normalize().as_tuple().exponent))  # 0.25 has two, 1 none
        return (Decimal(value.numerator) / Decimal(value.denominator)).quantize(Decimal(1).scaleb(-digits))

    def of_line(self, line: LearnerMark) -> Decimal | str:
        """The grade of a mark line; who is exempt, and who has nothing, get what the profile says for them."""
        if line.exempt:
            return self.exempt
        if not line.has_points and self.nothing is not None:
            return self.nothing
        return self.of(Fraction(str(line.total)) / Fraction(str(line.out_of)))


class OneRosterIds(Entry):
    """What the school's system calls the class and what belongs to it; only the school can tell.

    `learner` names what of a learner is their id there: `id`, or a heading of the class list.
    """

    class_: ShortText = Field(alias="class")
    school: ShortText
    academic_session: ShortText
    category: ShortText
    category_title: ShortText = "Exercises"
    assigned: date
    due: date | None = None
    learner: ShortText = "id"
    each_exercise: bool = False


class ScoresEntry(Entry):
    """Asks for the scores of LTI's Assignment and Grade Services; `learner` as in `OneRosterIds`."""

    learner: ShortText = "id"


class GradeProfile(Entry):
    """How grades go to one place: a CSV by columns, OneRoster's gradebook, LTI's scores, a zip of feedback pages."""

    schema_: Literal["gainlib grades"] = Field(alias="schema")
    version: Literal[1]
    group: ShortText | None = None
    csv: CsvEntry = Field(default_factory=CsvEntry)
    grade: Grade = Field(default_factory=Grade)
    columns: Annotated[list[Column], Field(max_length=200)] = Field(default_factory=list)
    one_roster: OneRosterIds | None = None
    lti_scores: ScoresEntry | None = None
    pages: ShortText | None = None


def read_profile(file: str | os.PathLike[str], of_class: ClassFile) -> GradeProfile:
    """The profile of a file, for that class. Raises GainError, with file and entry, for one that cannot be used.

    >>> read_profile("no-such-profile.toml", None)
    Traceback (most recent call last):
        ...
    gainlib.errors.GainError: no-such-profile.toml is not there; check the name and the folder.
    """
    path = Path(file)
    content = read_typed(path, LARGEST_PROFILE_BYTES, "a profile for grades", days=("assigned", "due"))
    if content.get("schema") != "gainlib grades":
        raise GainError(
            f"{path.name} is no profile for grades; write one with `gainlib new-profile NAME --class FILE`."
        )
    try:
        made = GradeProfile.model_validate(content)
    except ValidationError as fault:
        raise GainError(f"{path.name}: {describe_first(fault, GradeProfile)}") from fault
    if faults := _faults(made, of_class):
        raise GainError(*(f"{path.name}: {each}" for each in faults))
    return made


def headings_of(of_class: ClassFile) -> list[str]:
    """The headings of the class list that are no word of gainlib's own."""
    return list(dict.fromkeys(heading for each in of_class.learners for heading in each.more))


def _faults(made: GradeProfile, of_class: ClassFile) -> list[str]:
    headings = headings_of(of_class)
    of_column = [*OF_LEARNER, *(each.name for each in of_class.exercises), *headings]
    found = []
    for index, each in enumerate(made.columns, start=1):
        if (each.holds is None) == (each.text is None):
            found.append(f"column {index} ({each.heading}) must have one of holds and text.")
        elif each.holds is not None and each.holds not in of_column:
            found.append(f"column {index} ({each.heading}) holds {each.holds!r}; {suggest(each.holds, of_column)}")
    if made.group is not None and made.group not in (
        groups := {each.group for each in of_class.learners if each.group}
    ):
        found.append(f"group is {made.group!r}, which nobody of the class is in; {suggest(made.group, groups)}")
    for name, entry in (("one_roster", made.one_roster), ("lti_scores", made.lti_scores)):
        if entry and entry.learner not in (known := ["id", "mail", *headings]):
            found.append(f"learner of {name} is {entry.learner!r}; {suggest(entry.learner, known)}")
    if made.pages is not None:
        known = ["id", "name", "mail", "group", *headings]
        found += [
            f"pages names {{{word}}}; {suggest(word, known)}"
            for word in IN_BRACKETS.findall(made.pages)
            if word not in known
        ]
        if not made.pages.endswith(".html"):
            found.append(f"pages is {made.pages!r}; it must end with .html.")
    if made.one_roster and not (made.one_roster.due or of_class.due):
        found.append("OneRoster wants a due date; give due in the class file or in one_roster.")
    if made.one_roster and made.one_roster.due and made.one_roster.due < made.one_roster.assigned:
        found.append(f"due of one_roster is {made.one_roster.due}, before assigned; change one of them.")
    if not (made.columns or made.one_roster or made.lti_scores or made.pages):
        found.append("it asks for nothing; give columns, one_roster, lti_scores or pages.")
    return found


def write_profile(file: str | os.PathLike[str], of_class: ClassFile) -> Path:
    """Write a profile to change, with the columns that this class can fill; nothing is written over.

    >>> import tempfile
    >>> from gainlib.classroom import new_class, read_class
    >>> home = Path(tempfile.mkdtemp())
    >>> made, _ = new_class(home / "a", exercises=["recording/leave-room"])
    >>> read_profile(write_profile(home / "office", read_class(made)), read_class(made)).grade.scale
    100.0
    """
    target = given_path(file)
    target = target if target.suffix == ".toml" else target.with_name(f"{target.name}.toml")
    if target.exists() or target.is_symlink():
        raise GainError(f"{target} is there already; give another name, or move it away.")
    holds = ["id", "name", *(["mail"] if any(each.mail for each in of_class.learners) else []), "grade", "comment"]
    columns = "\n".join(f"  {{ heading = {toml_value(each)}, holds = {toml_value(each)} }}," for each in holds)
    own = [*OF_LEARNER, *headings_of(of_class)]
    usual = {name: getattr(of_class.csv, name) for name in ("separator", "decimal")}  # as the class's own sheet
    made = _TEXT.format(columns=columns, own=_lines(own), exercise=of_class.exercises[0].name, csv=toml_value(usual))
    return atomic_write(target, made)


def _lines(words: Sequence[str], width: int = 90) -> str:
    lines, line = [], "#  "
    for each in words:
        if len(line) + len(each) > width:
            lines.append(line)
            line = "#  "
        line += f" {each},"
    return "\n".join([*lines, line.rstrip(",")])


_TEXT = """\
# How grades go to one place. Give it to: gainlib mark hand-ins --class CLASS.toml --grades THIS.toml
schema  = "gainlib grades"
version = 1

# Only the learners of one group.
# group = "Tuesday"

# As the other program wants it: separator "," ";" or "tab", decimal "." or ",".
csv = {csv}

# A column holds one of:
{own}
# or the points of an exercise, by its name, such as {exercise}. A column with text = "…" has it in each row.
columns = [
{columns}
]

# A zip of the feedback pages, one name for each learner; a slash makes a folder. In curly brackets stands id, name,
# mail, group, or a heading of the class list.
# pages = "{{id}} {{name}}/feedback.html"

# The grade is the share of the full marks on a scale, rounded (halves up); `at_most` caps what bonus gives.
[grade]
scale    = 100
round_to = 0.1
# at_most = 100
# What stands there for who has no points at all, and for who is exempt.
# nothing = "absent"
# exempt  = "exempt"
# Grades in words or figures, from a value of the scale on:
# steps = [ {{ least = 90, grade = "A" }}, {{ least = 75, grade = "B" }}, {{ least = 0, grade = "C" }} ]

# The gradebook of OneRoster 1.2 as CSV; the school's office knows these ids.
# [one_roster]
# class = "…"
# school = "…"
# academic_session = "…"
# category = "…"
# assigned = 2026-11-02

# Scores as LTI 1.3 has them, for a platform that opened the course through a hub.
# [lti_scores]
# learner = "id"
"""
