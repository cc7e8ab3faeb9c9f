"""The mark sheet, as CSV and as XLSX; no text in it can be computed by the program that opens it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from gainlib.classroom.marks import LearnerMark
from gainlib.storage import atomic_write

__all__ = ["plain_cell", "write_csv", "write_sheets"]

Cell = str | float | int
_COMPUTES = ("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")
_LONGEST_CELL = 32_000


def plain_cell(text: str) -> str:
    """A text that a spreadsheet shows and does not compute, with an apostrophe before what would start a formula.

    *Common practice* for tables that spreadsheets open.

    >>> plain_cell("=1+1"), plain_cell("Ada")
    ("'=1+1", 'Ada')
    """
    return f"'{text}" if text.lstrip(" ").startswith(_COMPUTES) or text.startswith(_COMPUTES) else text


def heading(exercises: Sequence[str]) -> list[str]:
    """The heading of the mark sheet."""
    return [
        "id", "name", "percent", "total", "out of", "before lateness", "days late", "taken off, percent", *exercises,
        "made", "hand-in", "remarks",
    ]  # fmt: skip


def row(line: LearnerMark) -> list[Cell]:
    """One learner's row; an exercise without an answer or a mark is left empty."""
    points: list[Cell] = [each.points if each.answered else "" for each in line.exercises]
    told = [f"{each.exercise.name}: {each.fault}" for each in line.exercises if each.fault]
    remarks = " ".join([*line.remarks, *told]) if line.file else "Nothing was handed in, or nothing that can be marked."
    return [
        line.learner_id, line.name, line.percent, line.total, line.out_of, line.before_lateness, line.days_late,
        line.penalty_percent, *points, line.made.isoformat(timespec="minutes") if line.made else "",
        line.file.place if line.file else "", remarks,
    ]  # fmt: skip


def write_csv(file: Path, rows: Iterable[Sequence[Cell]]) -> None:
    """Write a table as CSV in UTF-8, marked as such so that a spreadsheet reads its letters; whole or not at all."""
    out = io.StringIO(newline="")
    table = csv.writer(out)
    for each in rows:
        table.writerow([plain_cell(cell) if isinstance(cell, str) else cell for cell in each])
    atomic_write(file, out.getvalue().encode("utf-8-sig"), private=True)


def write_sheets(file: Path, sheets: Iterable[tuple[str, Iterable[Sequence[Cell]]]]) -> None:
    """Write tables as the sheets of one XLSX file, each with its heading in the first row; whole or not at all."""
    import xlsxwriter

    half = file.with_name(f".{file.name}.half")
    book = xlsxwriter.Workbook(str(half), {"constant_memory": True})
    try:
        # The same marks make the same file, so nothing tells when it was made.
        book.set_properties({"created": datetime(2000, 1, 1, tzinfo=UTC).replace(tzinfo=None)})
        bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        for name, rows in sheets:
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 0)
            sheet.set_column(0, 1, 22)
            for index, cells in enumerate(rows):
                for column, cell in enumerate(cells):
                    if isinstance(cell, str):
                        # As a string and nothing else: no formula, no link.
                        sheet.write_string(index, column, cell[:_LONGEST_CELL], None if index else bold)
                    else:
                        sheet.write_number(index, column, cell)
        book.close()
        half.chmod(0o600)  # names and marks
        half.replace(file)
    finally:
        half.unlink(missing_ok=True)
