"""Tables that a spreadsheet opens, as CSV and as XLSX: no text in them can be computed by the program that opens it."""

from __future__ import annotations

import csv
import io
import math
import os
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

from gainlib.storage.atomic import atomic_path, atomic_write
from gainlib.text import reason_of

__all__ = ["Cell", "CsvForm", "csv_text", "plain_cell", "write_csv", "write_workbook"]

Cell = str | int | float | Decimal | None
"""What a table holds: a text, a number, a number with the digits that it is printed with, or nothing."""

_OPERATORS = frozenset("=+-@")
_SEPARATORS = frozenset(",;\t\r\n")
_LONGEST_CELL = 32_000


@dataclass(frozen=True)
class CsvForm:
    """How the program that reads a CSV wants it: what parts the cells, and the sign before decimals.

    `marked` puts the mark of UTF-8 in front, by which a spreadsheet knows its letters.
    """

    separator: Literal[",", ";", "tab"] = ","
    decimal: Literal[".", ","] = "."
    marked: bool = True


_PLAIN_FORM = CsvForm()


def csv_text(rows: Iterable[Sequence[Cell]], form: CsvForm = _PLAIN_FORM) -> str:
    """A table as CSV: every cell in quotes, commas between them, a point in numbers, texts as `plain_cell` has them.

    Another `form` has another separator or decimal sign.

    >>> print(*csv_text([["stem", "level"], ["=lead", -3.5]]).split(), sep="\\n")
    "stem","level"
    "'=lead","-3.5"
    >>> print(csv_text([["lead", -3.5]], CsvForm(separator=";", decimal=",")).strip())
    "lead";"-3,5"
    """
    out = io.StringIO(newline="")
    table = csv.writer(out, quoting=csv.QUOTE_ALL, delimiter="\t" if form.separator == "tab" else form.separator)
    for cells in rows:
        table.writerow([
            plain_cell(each) if isinstance(each, str) else "" if each is None else str(each).replace(".", form.decimal)
            for each in cells
        ])  # fmt: skip
    return out.getvalue()


def write_csv(
    path: str | os.PathLike[str],
    rows: Iterable[Sequence[Cell]],
    form: CsvForm = _PLAIN_FORM,
    *,
    private: bool = False,
    make_folder: bool = False,
) -> Path:
    """Write a table as CSV in UTF-8, marked as such so that a spreadsheet reads its letters; as `atomic_write`."""
    content = csv_text(rows, form).encode("utf-8-sig" if form.marked else "utf-8")
    return atomic_write(path, content, private=private, make_folder=make_folder)


def write_workbook(
    path: str | os.PathLike[str], sheets: Iterable[tuple[str, Iterable[Sequence[Cell]]]], *, private: bool = False
) -> Path:
    """Write tables as the sheets of one XLSX file, each with its heading in the first row; as `atomic_write`.

    A text is a text there, so it stands as it is; a number that is not finite is left out.
    """
    import xlsxwriter
    from xlsxwriter.exceptions import XlsxFileError

    # Made in memory, since a workbook that was being written as the disk became full says so once more when it is gone.
    content = io.BytesIO()
    with atomic_path(path, private=private) as half:
        try:
            with xlsxwriter.Workbook(content, {"in_memory": True}) as book:
                # The same tables make the same file, so nothing tells when it was made.
                book.set_properties({"created": datetime(2000, 1, 1, tzinfo=UTC).replace(tzinfo=None)})
                bold = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
                for name, rows in sheets:
                    _fill(book.add_worksheet(name), rows, bold)
        except XlsxFileError as fault:
            raise fault.args[0] if isinstance(fault.args[0], OSError) else OSError(reason_of(fault)) from fault
        half.write_bytes(content.getvalue())
    return Path(path)


def _fill(sheet: Any, rows: Iterable[Sequence[Cell]], bold: object) -> None:
    sheet.freeze_panes(1, 0)
    sheet.set_column(0, 1, 22)
    for index, cells in enumerate(rows):
        for column, cell in enumerate(cells):
            if isinstance(cell, str):
                # As a string and nothing else: no formula, no link.
                sheet.write_string(index, column, cell[:_LONGEST_CELL], None if index else bold)
            elif cell is not None and math.isfinite(cell):
                sheet.write_number(index, column, float(cell))


def plain_cell(text: str) -> str:
    """A text that a spreadsheet shows and does not compute: an apostrophe stands before what would start a formula.

    That is an equals, plus, minus or at sign, of any width, or a control character, behind any blanks, separators and
    quotation marks, at the start of the text; and such a sign behind a separator within it, where a program that parts
    the line at another separator would begin a cell. *Common practice* for tables that spreadsheets open.

    >>> plain_cell("=1+1"), plain_cell("\\u00a0-1"), plain_cell("kick;=1"), plain_cell("Ada-Lou, 3+1")
    ("'=1+1", "'\\xa0-1", "kick;'=1", 'Ada-Lou, 3+1')
    """
    parts = []
    for at, sign in enumerate(text):
        before = text[at - 1] if at else ""
        # Only a comma cannot part the line there: in quotes, it is the one separator that is known to part cells.
        starts = not at or (before in _SEPARATORS and before != ",")
        if starts and _computes(text[at:], at == 0):
            parts.append("'")
        parts.append(sign)
    return "".join(parts)


def _computes(text: str, first: bool) -> bool:
    """Whether a cell that begins so would be taken for a formula."""
    for sign in text:
        if unicodedata.normalize("NFKC", sign) in _OPERATORS:
            return True
        kind = unicodedata.category(sign)
        if kind == "Cc" and (first or sign not in _SEPARATORS):
            return True
        if not (sign.isspace() or sign == '"' or sign in _SEPARATORS or kind in ("Cf", "Zs", "Zl", "Zp")):
            return False
    return False
