"""Tables for a spreadsheet: no text is a formula, whatever separator the reader takes; numbers are numbers."""

from __future__ import annotations

import csv
import gc
import io
import os
import stat
import tomllib
import unicodedata
import zipfile
from datetime import UTC, date, datetime
from decimal import Decimal

import openpyxl
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from gainlib.errors import GainError
from gainlib.storage import csv_text, plain_cell, toml_value, write_csv, write_workbook

SIGNS = ["=", "+", "-", "@", "＝", "＋", "－", "＠", "﹢", "﹣", "﹦", "﹫"]
BLANKS = [
    "",
    " ",
    "\u00a0",
    "\u2003",
    "\u2007",
    "\u202f",
    "\u3000",
    "\ufeff",
    "\u200b",
    "\t",
    "\r",
    "\n",
    ",",
    ";",
    '"',
    ' ;\u00a0"',
]
SEPARATORS = [",", ";", "\t"]


def computes(cell: str) -> bool:
    """What a spreadsheet may take for a formula, written out by itself: a sign behind whatever may be skipped."""
    skipped = {"Zs", "Zl", "Zp", "Cf", "Cc"}
    for sign in cell:
        if sign in SIGNS:
            return True
        if unicodedata.category(sign) not in skipped and sign not in ',;"':
            return False
    return False


def read_by(separator: str, text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline=""), delimiter=separator))


@pytest.mark.parametrize("separator", SEPARATORS, ids=["comma", "semicolon", "tab"])
@pytest.mark.parametrize("blank", BLANKS, ids=[ascii(each) for each in BLANKS])
@pytest.mark.parametrize("sign", SIGNS)
def test_no_text_is_a_formula_to_a_reader_of_any_separator(separator, blank, sign):
    evil = f"{blank}{sign}1+1"
    table = [
        [evil, "end"],
        ["a", evil, f"kick{separator}{evil}", f'x{separator}"{evil}"'],
        [f"{evil}{separator}{evil}"],
    ]
    assert not [cell for row in read_by(separator, csv_text(table)) for cell in row if computes(cell)]


@pytest.mark.parametrize("separator", SEPARATORS, ids=["comma", "semicolon", "tab"])
@given(
    st.lists(
        st.lists(st.text(st.sampled_from([*SIGNS, *"ab1,;\t\r\n\"' ", "\u00a0", "\ufeff"]), max_size=9), min_size=1),
        max_size=4,
    )
)
@example([["a", "b;=1"]])
@example([["a", 'b;"=1']])
@example([["a", "b\n=1"]])
@example([["a\n;=1"]])
def test_no_texts_make_a_formula_together(separator, table):
    assert not [cell for row in read_by(separator, csv_text(table)) for cell in row if computes(cell)]


@pytest.mark.parametrize("text", ["=1", "\t1", "\r1", "\x00a", "\x7f=", " =1", "\u00a0\u200b-2", '"=1"', ", @SUM(A1)"])
def test_what_would_be_computed_gets_an_apostrophe(text):
    assert plain_cell(text).startswith("'")
    assert plain_cell(text).replace("'", "") == text


@pytest.mark.parametrize(
    "text",
    ["", "Ada", "Ada-Lou, 3+1", "−3.0 dB", "'=1", "kick, -1", "#1", "1=1", " Ada", "ドラム", "it peaks; turn it down"],
)
def test_other_texts_stand_as_they_are(text):
    assert plain_cell(text) == text
    assert read_by(",", csv_text([[text]])) == [[text]]


def test_numbers_are_numbers_in_the_digits_that_they_were_given(tmp_path):
    table = [["level", "n"], [-3.5, 2], [Decimal("-3.50"), None], [float("-inf"), 0]]
    assert csv_text(table) == '"level","n"\r\n"-3.5","2"\r\n"-3.50",""\r\n"-inf","0"\r\n'
    sheet = openpyxl.load_workbook(write_workbook(tmp_path / "a.xlsx", [("Levels", table)]))["Levels"]
    assert [[cell.value for cell in row] for row in sheet] == [["level", "n"], [-3.5, 2], [-3.5, None], [None, 0]]
    assert sheet["A2"].data_type == "n"


def test_a_csv_file_is_marked_as_utf_8(tmp_path):
    assert write_csv(tmp_path / "a.csv", [["Zoë"]]).read_bytes() == b'\xef\xbb\xbf"Zo\xc3\xab"\r\n'


def test_a_workbook_holds_texts_and_no_formula_or_link(tmp_path):
    evil = ["=1+1", "{=1}", "http://x", "mailto:a@b", "-1", "+1", "\x01"]
    path = write_workbook(tmp_path / "a.xlsx", [("A", [["head"], evil])])
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name).decode() for name in book.namelist() if "worksheets" in name}
    assert not [name for name, part in parts.items() if "<f>" in part or "hyperlink" in part.lower()]
    row = list(openpyxl.load_workbook(path)["A"][2])
    assert [cell.data_type for cell in row] == ["s"] * len(evil)
    assert [cell.value for cell in row[:6]] == evil[:6]


def test_the_same_tables_make_the_same_workbook_and_one_for_its_owner_where_asked(tmp_path):
    first, second = (write_workbook(tmp_path / name, [("A", [["x"], [1]])], private=True) for name in "ab")
    assert first.read_bytes() == second.read_bytes()
    if os.name != "nt":
        assert stat.S_IMODE(first.stat().st_mode) == 0o600


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # the library's own temporary file
def test_a_workbook_that_fails_leaves_nothing(tmp_path, monkeypatch):
    def broken():
        yield ["x"]
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_workbook(tmp_path / "a.xlsx", [("A", broken())])

    def full(*_, **__):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("xlsxwriter.workbook.ZipFile", full)
    with pytest.raises(GainError, match="a.xlsx cannot be written .*no space left on device"):
        write_workbook(tmp_path / "a.xlsx", [("A", [["x"]])])
    gc.collect()
    assert list(tmp_path.iterdir()) == []


TEXTS = st.text(st.characters(exclude_categories=["Cs"]))
VALUES = st.recursive(
    st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False)
    | TEXTS | st.dates()
    | st.datetimes(min_value=datetime(1, 1, 2), max_value=datetime(9999, 12, 30), timezones=st.just(UTC)),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=6,
)  # fmt: skip


@given(VALUES)
@example('"\\\x7f\x00\n\u2028')
@example({"": {"a b": 1, "ä": 2, "a-b_1": 3}})
@example(1e300)
def test_what_is_written_as_toml_reads_back_the_same(value):
    assert tomllib.loads(f"x = {toml_value(value)}")["x"] == value


def test_toml_by_the_standards_own_examples():
    # published: TOML 1.0.0, "Comments" to "Array", and "Local Date"
    assert toml_value('I\'m a string. "You can quote me".') == '"I\'m a string. \\"You can quote me\\"."'
    assert toml_value([1, 2, 3]) == "[1, 2, 3]"
    assert toml_value(date(1979, 5, 27)) == "1979-05-27"
    assert toml_value(float("-inf")) == "-inf"
    assert toml_value({"x": 1, "y": 2}) == "{ x = 1, y = 2 }"


def test_what_toml_has_no_word_for_is_told():
    with pytest.raises(GainError, match="a value is NoneType; TOML holds texts"):
        toml_value(None)
