"""A class list as schools export it: CSV in any usual encoding and with any usual separator."""

from __future__ import annotations

import csv
import io
import os
from pathlib import Path

from gainlib.classroom.class_file import RosterLine
from gainlib.errors import GainError
from gainlib.learners.naming import require_text
from gainlib.storage.foreign import read_bytes

__all__ = ["read_roster"]

LARGEST_ROSTER_BYTES = 8 * 1024 * 1024
_MARKS = {b"\xef\xbb\xbf": "utf-8-sig", b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}
_ID = ("id", "learner id", "student id", "number", "no", "no.", "login", "user", "username")
_NAME = ("name", "full name", "learner", "student", "learner name", "student name")
_FIRST = ("first name", "given name", "forename", "firstname")
_LAST = ("last name", "family name", "surname", "lastname")


def read_roster(file: str | os.PathLike[str]) -> tuple[RosterLine, ...]:
    """The learners of a CSV file with a heading: an id and a name each, or a first and a last name.

    Comma, semicolon and tab are known, and UTF-8 (with its mark or without), UTF-16 and Windows-1252, as spreadsheets
    write them. A list without ids gets `learner-001` and so on, in its order. Raises GainError, with the line, for an
    id that is there twice, a line without a name, and a heading in which no name is found.

    >>> import tempfile
    >>> table = Path(tempfile.mkdtemp()) / "list.csv"
    >>> _ = table.write_text("Number;First name;Last name\\n17;Ada;Quill\\n", encoding="utf-8")
    >>> read_roster(table)
    (RosterLine(id='17', name='Ada Quill'),)
    """
    path = Path(file)
    text = _decoded(read_bytes(path, LARGEST_ROSTER_BYTES, "a class list"), path.name)
    separator = max(";\t,", key=lambda each: text.partition("\n")[0].count(each))
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))
    except csv.Error as fault:
        raise GainError(f"{path.name} is not a table ({fault}); save the list as CSV.") from fault
    if not rows:
        raise GainError(f"{path.name} is empty; give a heading and one line for each learner.")
    heading = [each.strip().lower() for each in rows[0]]
    at = {kind: _column(heading, words) for kind, words in
          {"id": _ID, "name": _NAME, "first": _FIRST, "last": _LAST}.items()}  # fmt: skip
    if at["name"] is None and at["first"] is None and at["last"] is None:
        raise GainError(
            f"the heading of {path.name} is {', '.join(rows[0])[:80]!r}; it must have a column named name, "
            "or first name and last name, and may have one named id."
        )
    learners: dict[str, RosterLine] = {}
    for line, row in enumerate(rows[1:], start=2):
        if not any(each.strip() for each in row):
            continue
        cell = {
            kind: row[index].strip() if index is not None and index < len(row) else "" for kind, index in at.items()
        }
        name = " ".join((cell["name"] or f"{cell['first']} {cell['last']}").split())
        learner_id = cell["id"] or (f"learner-{len(learners) + 1:03d}" if at["id"] is None else "")
        where = f"line {line} of {path.name}"
        learner = RosterLine(
            id=require_text(f"the id in {where}", learner_id), name=require_text(f"the name in {where}", name)
        )
        if learner.id in learners:
            raise GainError(f"the id {learner.id!r} in {where} is there twice; give each learner an id of their own.")
        learners[learner.id] = learner
    if not learners:
        raise GainError(f"{path.name} has a heading but no learners; add a line for each.")
    return tuple(learners.values())


def _decoded(content: bytes, name: str) -> str:
    marked = next((code for mark, code in _MARKS.items() if content.startswith(mark)), None)
    for code in [marked] if marked else ["utf-8", "cp1252"]:
        try:
            text = content.decode(code or "utf-8")
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise GainError(f"{name} is not text that can be read; save the list as CSV in UTF-8.")


def _column(heading: list[str], words: tuple[str, ...]) -> int | None:
    return next((heading.index(each) for each in words if each in heading), None)
