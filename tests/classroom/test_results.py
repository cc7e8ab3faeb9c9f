"""Mark sheet, report and feedback: right figures, nothing that computes or runs, the same whoever does the work."""

from __future__ import annotations

import csv
import json
import re
import shutil
import zipfile

import openpyxl
import pytest

from gainlib.classroom import RosterLine
from gainlib.classroom.run import mark_class
from gainlib.classroom.start_files import write_start_files
from gainlib.errors import GainError
from gainlib.exercises import author_answer, load

from .conftest import EXERCISE, GAIN, TRIM, SmallClass

FORMULAS = [
    "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", " =1", '=HYPERLINK("http://x","y")', "＝1", "\xa0=1+1", "\u200b=1",
    "\u202e=1", "\r=1", "＋1", "=cmd|' /C calc'!A0",
]  # fmt: skip


@pytest.fixture
def handed(group):
    """Ada has it right, Bo clipped and trimmed down, Cy handed in nothing, and one file is broken."""
    group.put("1.json", group.content("a-01"))
    group.put("2.json", group.content("a-02", answer={GAIN: author_answer(group.variant("a-02"))[GAIN] + 8, TRIM: -8}))
    group.put("3.json", "{")
    return group


def results(folder):
    """Everything that a marking wrote, but for the store."""
    return {
        file.relative_to(folder).as_posix(): file.read_bytes()
        for file in folder.rglob("*")
        if file.is_file() and file.suffix != ".sqlite"
    }


def table(file):
    with file.open(encoding="utf-8-sig", newline="") as text:
        return list(csv.DictReader(text))


def test_the_mark_sheets_hold_what_was_measured(handed):
    done = mark_class(handed.folder, handed.file)
    rows = {row["id"]: row for row in table(done.out / "marks.csv")}
    assert {key: (row["total"], row["out of"]) for key, row in rows.items()} == {
        "a-01": ("5.0", "5.0"), "a-02": ("1.0", "5.0"), "a-03": ("0.0", "5.0"),
    }  # fmt: skip
    assert rows["a-03"]["remarks"].startswith("Nothing was handed in")
    book = openpyxl.load_workbook(done.out / "marks.xlsx")
    assert book.sheetnames == ["Marks", "Not marked", "Slips"]
    assert [cell.value for cell in book["Marks"]["C"]] == ["percent", 100, 20, 0]
    assert [cell.value for cell in book["Not marked"][2]] == ["3.json", "it is cut off or not JSON (line 1)."]
    assert book["Slips"]["B2"].value == "clipped, then trimmed down"
    assert (done.learners, done.handed_in, done.not_marked, done.pages) == (3, 2, 1, 2)


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_no_cell_of_a_sheet_is_a_formula_whatever_separator_a_spreadsheet_parts_it_by(group, separator):
    """Names, ids and file names that would compute at the start of a cell, or behind a separator within one."""
    texts = [
        *FORMULAS,
        *(f"x{sign}{each}" for sign in ",;\t" for each in FORMULAS),
        'x;"=1',
        'x";=1',
        "\x1f=1",
        "\x00=1",
    ]
    learners = [RosterLine(id=f"{text}{index}", name=text) for index, text in enumerate(texts)]
    group.made_anew(learners)
    for index, each in enumerate(learners):
        group.put(f"{index}.json", group.content(each.id, learner={"id": each.id, "name": f"Other {each.name}"}))
    for text in FORMULAS:
        group.put(f"{text.replace('/', '-')};{text.replace('/', '-')}.json", "{")
    done = mark_class(group.folder, group.file, feedback="none")
    assert done.handed_in == len(learners)
    for file in ("marks.csv", "not-marked.csv"):
        text = (done.out / file).read_text(encoding="utf-8-sig")
        cells = [cell for row in csv.reader(text.splitlines(keepends=True), delimiter=separator) for cell in row]
        # As a spreadsheet may see it: quotes, blanks of any kind and signs that do not show stand before nothing.
        shown = [re.sub(r"^[\s\x00-\x1f\xa0\u200b-\u200f\u2060\ufeff\"]+", "", cell) for cell in cells]
        assert [cell for cell in shown if cell.startswith(("=", "+", "-", "@", "＝", "＋", "﹣", "＠"))] == []
        assert not [cell for cell in cells if cell[:1] < " " and cell]
    with zipfile.ZipFile(done.out / "marks.xlsx") as book:
        sheets = [book.read(name).decode() for name in book.namelist() if "worksheets/" in name]
    assert not any("<f>" in sheet or "hyperlink" in sheet for sheet in sheets)


def test_a_name_of_markup_is_text_on_every_page(handed):
    evil = "<script>alert(1)</script>"
    handed.file.write_text(handed.file.read_text().replace("Ada Quill", evil).replace("Group A", f"</title>{evil}"))
    write_start_files(handed.file)
    handed.put("1.json", handed.content("a-01", learner={"id": "a-01", "name": evil}, answer={evil: evil}))
    handed.put(f"{evil.replace('/', '-')}.json", "{")
    done = mark_class(handed.folder, handed.file)
    pages = list(done.out.rglob("*.html"))
    assert len(pages) == 4
    for each in pages:
        text = each.read_text(encoding="utf-8")
        assert evil not in text
        assert "alert(1)" in text


def test_pages_ask_nobody_for_anything(handed):
    done = mark_class(handed.folder, handed.file)
    for each in done.out.rglob("*.html"):
        text = each.read_text(encoding="utf-8")
        assert not re.search(r"""(?:src|href)\s*=\s*["']?(?:https?:)?//""", text)
        assert "<link" not in text


def test_light_pages_share_the_script_that_lies_beside_them(handed):
    done = mark_class(handed.folder, handed.file, feedback="light")
    page = done.out / "feedback" / "for-a-02.html"
    assert 'src="bokeh.min.js"' in page.read_text(encoding="utf-8")
    assert page.stat().st_size < 100_000
    assert (done.out / "feedback" / "bokeh.min.js").stat().st_size > 500_000


def test_feedback_says_what_is_off_and_shows_what_the_settings_did(handed):
    done = mark_class(handed.folder, handed.file, feedback="light")
    page = (done.out / "feedback" / "for-a-02.html").read_text(encoding="utf-8")
    assert "1 of 5 points" in page
    assert "Turning it down afterwards does not mend it" in page
    assert "Trim −8.0 dB" in page
    drawn = json.loads(re.search(r'<script type="application/json">(.*?)</script>', page)[1])
    assert "clips" in json.dumps(drawn["columns"])
    assert not (done.out / "feedback" / "for-a-03.html").exists()


def test_two_ids_that_some_systems_take_for_one_get_two_pages(tmp_path):
    group = SmallClass(tmp_path)
    group.file.write_text(group.file.read_text().replace("a-02", "A-01"))
    group.put("1.json", group.content("a-01"))
    group.put("2.json", group.content("A-01"))
    done = mark_class(group.folder, group.file, feedback="light")
    assert len({each.name.lower() for each in (done.out / "feedback").glob("*.html")}) == 2


def test_the_same_marks_make_the_same_files_in_any_order_and_by_any_number_of_workers(handed, tmp_path):
    one = mark_class(handed.folder, handed.file, tmp_path / "one")
    names = {"1.json": "z.json", "2.json": "b.json", "3.json": "3.json"}
    shutil.copytree(handed.folder, tmp_path / "again")
    two = mark_class(tmp_path / "again", handed.file, tmp_path / "two", workers=2)
    first, second = results(one.out), results(two.out)
    assert first.keys() == second.keys()
    assert [name for name in first if first[name] != second[name]] == []
    for old, new in names.items():
        (tmp_path / "again" / old).rename(tmp_path / "again" / new)
    three = mark_class(tmp_path / "again", handed.file, tmp_path / "three", feedback="none")
    totals = [[(row["id"], row["total"]) for row in table(each.out / "marks.csv")] for each in (one, three)]
    assert totals[0] == totals[1]


def test_results_in_the_folder_of_the_hand_ins_are_refused(handed):
    with pytest.raises(GainError, match="lies in the folder of the hand-ins"):
        mark_class(handed.folder, handed.file, handed.folder / "marks")


def test_an_unknown_kind_of_feedback_is_refused(handed):
    with pytest.raises(GainError, match="--feedback is 'all'; it must be one of whole, light, none"):
        mark_class(handed.folder, handed.file, feedback="all")


def test_the_sheet_follows_the_weight_that_the_class_gives_an_exercise(handed):
    handed.file.write_text(handed.file.read_text().replace("points = 5", "points = 20"))
    done = mark_class(handed.folder, handed.file, feedback="none")
    assert [row["total"] for row in table(done.out / "marks.csv")] == ["20.0", "4.0", "0.0"]
    assert load(EXERCISE).out_of == 5


def test_what_gave_way_to_another_hand_in_is_told_apart_from_what_got_no_mark(group):
    group.put("1.json", group.content("a-01"))
    done = mark_class(group.folder, group.file, feedback="none")
    assert "\nEverything got a mark.\n" in done.text
    group.put("2.json", group.content("a-01", made="2026-01-15T13:00:00Z"))
    done = mark_class(group.folder, group.file, feedback="none")
    assert "\nEverything got a mark, and 1 hand-in gave way to another of the same learner; not-marked.csv" in done.text
    group.put("3.json", "{")
    done = mark_class(group.folder, group.file, feedback="none")
    assert (
        "\n1 got no mark, and 1 hand-in gave way to another of the same learner; not-marked.csv says why." in done.text
    )
    assert len((done.out / "not-marked.csv").read_text(encoding="utf-8-sig").splitlines()) == 1 + 2
