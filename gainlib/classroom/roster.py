"""A class list as schools export it: CSV in any usual encoding and with any usual separator."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from gainlib.classroom.class_file import MOST_COLUMNS, RosterLine
from gainlib.errors import GainError, suggest
from gainlib.learners.naming import require_text
from gainlib.storage.foreign import read_bytes
from gainlib.text import row_of_names

__all__ = ["KINDS", "ClassList", "read_class_list", "read_roster"]

LARGEST_ROSTER_BYTES = 8 * 1024 * 1024
MOST_NAMES = 8
_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
KINDS = ("id", "name", "first", "last", "mail", "group")
"""What a column of a class list can be taken for; all others are carried along."""

# As the words stand with small letters, without blanks, hyphens, dots, underscores, commas and slashes.
_WORDS = {
    "id": (
        "id", "learnerid", "studentid", "number", "no", "login", "user", "username", "studentnumber", "loginname",
        "matrikelnummer", "matrikelnr", "matrnr", "matrikel", "kennung", "benutzername", "nummer", "nr",
        "numéro", "numero", "matricule", "identifiant", "matricola", "matrícula", "matricula",
    ),
    "name": ("name", "fullname", "learner", "student", "learnername", "studentname"),
    "first": ("firstname", "givenname", "givennames", "forename", "vorname", "vornamen", "rufname", "prénom", "prenom"),
    "last": ("lastname", "familyname", "surname", "nachname", "familienname", "zuname", "nom", "cognome", "apellidos"),
    "mail": ("mail", "email", "emailaddress", "mailaddress", "emailadresse", "mailadresse", "courriel"),
    "group": ("group", "section", "gruppe", "groupe", "gruppo", "grupo"),
}  # fmt: skip
_NOT_LETTERS = str.maketrans("", "", " \u00a0-._,/")
# Both in one column, as in "Last name, First name": what a school writes there is the name.
_WORDS["name"] += tuple(
    one + other
    for last in ("name", *_WORDS["last"])
    for first in _WORDS["first"]
    for one, other in ((last, first), (first, last))
)


@dataclass(frozen=True)
class ClassList:
    """A class list as it was read: the learners, and which column was taken for what.

    `taken` has, by kind, the heading that was taken for it; `carried` the headings that are only carried along.
    `guessed` is whether the file did not say in which encoding its letters are, so that those of some languages may be
    read as others.
    """

    learners: tuple[RosterLine, ...]
    taken: Mapping[str, str]
    carried: tuple[str, ...]
    guessed: bool = False

    @property
    def to_look_at(self) -> tuple[str, ...]:
        """What of the names a teacher should look at, in a sentence; none where they are sure."""
        odd = [each.name for each in self.learners if not each.name.isascii()] if self.guessed else []
        if not odd:
            return ()
        told = row_of_names(odd, MOST_NAMES)
        return (f"Look at the letters of {told}: if one is wrong, save the list as CSV in UTF-8 and begin again.",)

    @property
    def table(self) -> list[str]:
        """What was taken for what, as lines of a table with the first learner's values."""
        first = self.learners[0]
        rows = [("taken for", "heading", f"of the first of {len(self.learners)}")]
        rows.append(("id", self.taken.get("id", "(none: numbered in order)"), first.id))
        name = " + ".join(self.taken[kind] for kind in ("first", "name", "last") if kind in self.taken)
        rows.append(("name", name, first.name))
        for kind, value in (("mail", first.mail or ""), ("group", first.group or "")):
            rows.append((kind, self.taken.get(kind, "(none)"), value))
        rows += [("carried", heading, first.more.get(heading, "")) for heading in self.carried]
        wide = [max(len(row[index]) for row in rows) for index in range(2)]
        return [f"  {one:<{wide[0]}}  {two:<{wide[1]}}  {three}".rstrip() for one, two, three in rows]


def read_roster(file: str | os.PathLike[str], columns: Mapping[str, str] | None = None) -> tuple[RosterLine, ...]:
    """The learners of a class list; as `read_class_list`.

    >>> import tempfile
    >>> table = Path(tempfile.mkdtemp()) / "list.csv"
    >>> _ = table.write_text("Number;First name;Last name\\n17;Ada;Quill\\n", encoding="utf-8")
    >>> read_roster(table)
    (RosterLine(id='17', name='Ada Quill'),)
    """
    return read_class_list(file, columns).learners


def read_class_list(
    file: str | os.PathLike[str],
    columns: Mapping[str, str] | None = None,
    ask: Callable[[str, Sequence[str]], str] | None = None,
) -> ClassList:
    """The learners of a CSV file with a heading: an id and a name each, or a first and a last name; mail, group, more.

    Comma, semicolon and tab are known, and UTF-8 (with its mark or without), UTF-16 and Windows-1252, as spreadsheets
    write them. `columns` says which heading is which of `KINDS` where the usual words do not; an empty heading says
    that the list has none. Where no heading is known for the id and some are left, `ask` is asked which it is (nothing
    for none); without it that is an error. A list of names and nothing else, or one that has no ids by what was said,
    gets `learner-001` and so on, in its order. What is none of the kinds is carried along as it is.

    Raises GainError, with the line, for an id that is there twice, a line without a name, and a heading that is not
    there.
    """
    path = Path(file)
    text, guessed = _decoded(read_bytes(path, LARGEST_ROSTER_BYTES, "a class list"), path.name)
    rows = _rows(text, path.name)
    if not rows:
        raise GainError(f"{path.name} is empty; give a heading and one line for each learner.")
    headings = _headings(rows[0][1], path.name)
    at = _taken(headings, [row for _, row in rows[1:]], columns or {}, path.name)
    held = {index for _, row in rows[1:] for index, each in enumerate(row) if each.strip()}
    rest = [each for index, each in enumerate(headings) if index not in at.values() and index in held]
    if "name" not in at and "first" not in at and "last" not in at:
        raise GainError(
            f"the heading of {path.name} is {row_of_names(rows[0][1])[:80]!r}; it must have a column named name, or "
            "first name and last name. Or say which it is: --column name=HEADING."
        )
    if "id" not in at and "id" not in (columns or {}) and rest:
        if ask is None:
            raise GainError(
                f"{path.name} has no column that is known for ids; its other columns are {row_of_names(rest)[:200]}. "
                "Say which it is, --column id=HEADING, or --column id= to have the learners numbered in their order."
            )
        if chosen := ask("id", tuple(rest)).strip():
            at["id"] = _place_of(chosen, "id", headings, path.name)
            rest.remove(headings[at["id"]])
    learners: dict[str, RosterLine] = {}
    for line, row in rows[1:]:
        cell = {heading: " ".join(value.split()) for heading, value in zip(headings, row, strict=False)}
        of = {kind: cell.get(headings[index], "") for kind, index in at.items()}
        where = f"line {line} of {path.name}"
        if len(row) > len(headings) and any(each.strip() for each in row[len(headings) :]):
            raise GainError(f"{where} has more cells than the heading; put a name that holds a separator in quotes.")
        learner_id = of.get("id", "") if "id" in at else f"learner-{len(learners) + 1:03d}"
        learner = RosterLine(
            id=require_text(f"the id in {where}", learner_id),
            name=require_text(f"the name in {where}", _name(of)),
            mail=require_text(f"the mail in {where}", of["mail"]) if of.get("mail") else None,
            group=require_text(f"the group in {where}", of["group"]) if of.get("group") else None,
            more={each: require_text(f"{each} in {where}", cell[each]) for each in rest if cell.get(each)},
        )
        if learner.id in learners:
            raise GainError(f"the id {learner.id!r} in {where} is there twice; give each learner an id of their own.")
        learners[learner.id] = learner
    if not learners:
        raise GainError(f"{path.name} has a heading but no learners; add a line for each.")
    taken = {kind: headings[index] for kind, index in at.items()}
    return ClassList(tuple(learners.values()), taken, tuple(rest), guessed)


def _rows(text: str, name: str) -> list[tuple[int, list[str]]]:
    """The rows that hold something, each with the number of its line."""
    first = next((line for line in text.splitlines() if line.strip()), "")
    separator = max(";\t,", key=first.count)
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
        rows = [(reader.line_num, row) for row in reader]
    except csv.Error as fault:
        raise GainError(f"{name} is not a table ({fault}); save the list as CSV.") from fault
    return [(line, row) for line, row in rows if any(each.strip() for each in row)]


def _headings(row: Sequence[str], name: str) -> list[str]:
    """The headings, each by a name of its own, since a column is known by it."""
    found: list[str] = []
    if len(row) > MOST_COLUMNS:
        raise GainError(f"{name} has {len(row)} columns; keep at most {MOST_COLUMNS}.")
    for index, each in enumerate(row, start=1):
        heading = " ".join(each.split()) or f"column {index}"
        heading = require_text(f"the heading of column {index} of {name}", heading)
        found.append(f"{heading} (column {index})" if heading in found else heading)
    return found


def _taken(
    headings: Sequence[str], rows: Sequence[Sequence[str]], columns: Mapping[str, str], name: str
) -> dict[str, int]:
    """The number of the column that is taken for each kind: as was said, or by the usual words."""
    at: dict[str, int] = {}
    for kind, heading in columns.items():
        if kind not in KINDS:
            raise GainError(f"--column is {kind}={heading}; {suggest(kind, KINDS)}")
        if heading:
            at[kind] = _place_of(heading, kind, headings, name)
            if sum(each == at[kind] for each in at.values()) > 1:
                raise GainError(f"--column takes {heading!r} for two things; give each a column of its own.")
    plain = [each.casefold().translate(_NOT_LETTERS) for each in headings]
    for kind in KINDS:
        if kind in columns:
            continue
        known = [plain.index(word) for word in _WORDS[kind] if word in plain and plain.index(word) not in at.values()]
        if known:
            at[kind] = known[0]
    if "mail" not in at and "mail" not in columns:  # whatever its heading says
        for index in sorted(set(range(len(headings))) - set(at.values())):
            cells = [row[index] for row in rows if index < len(row)]
            if cells and all("@" in each.strip()[1:-1] for each in cells):
                return at | {"mail": index}
    return at


def _place_of(heading: str, kind: str, headings: Sequence[str], name: str) -> int:
    alike = [index for index, each in enumerate(headings) if each.casefold() == heading.strip().casefold()]
    if not alike:
        raise GainError(f"the column for {kind} is {heading!r}, which {name} has not; {suggest(heading, headings)}")
    return alike[0]


def _name(of: Mapping[str, str]) -> str:
    """The whole name, given name first; a column called name may hold all of it or, beside a first name, the rest."""
    whole, first, last = (of.get(kind, "") for kind in ("name", "first", "last"))
    if not whole or last:
        return whole if whole and not first else f"{first} {last}".strip() or whole
    return whole if not first or first.casefold() in whole.casefold().split(" ") else f"{first} {whole}"


def _decoded(content: bytes, name: str) -> tuple[str, bool]:
    """The text of a list, and whether its encoding had to be guessed."""
    marked = next((code for mark, code in _MARKS.items() if content.startswith(mark)), None)
    for code in [marked] if marked else ["utf-8", "cp1252"]:
        try:
            text = content.decode(code or "utf-8")
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text, code == "cp1252"
    raise GainError(f"{name} is not text that can be read; save the list as CSV in UTF-8.")
