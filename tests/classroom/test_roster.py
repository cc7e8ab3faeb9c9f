"""The class list: which column is taken for what, what is asked, and what is carried to the mark sheet."""

from __future__ import annotations

import csv

import pytest

from gainlib.classroom import new_class, read_class, read_class_list
from gainlib.classroom.run import mark_class
from gainlib.classroom.start_files import own_files_of
from gainlib.errors import GainError
from gainlib.learners.start_file import read_start_file

from .conftest import EXERCISE

HEADING = ["Seat", "Matrikelnummer", "Name", "Vorname", "E-Mail", "Gruppe"]
ADA = ["3", "4711", "Quill", "Ada", "ada@school.example", "B"]
BO = ["4", "4712", "Marsh", "Bo", "bo@school.example", ""]


def listed(folder, *rows, separator=";", code="utf-8-sig"):
    file = folder / "list.csv"
    file.write_bytes("".join(separator.join(row) + "\r\n" for row in rows).encode(code))
    return file


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig"])
def test_each_column_is_taken_for_what_it_is_and_the_rest_is_carried(tmp_path, separator, code):
    found = read_class_list(listed(tmp_path, HEADING, ADA, BO, separator=separator, code=code))
    assert [(each.id, each.name, each.mail, each.group, each.more) for each in found.learners] == [
        ("4711", "Ada Quill", "ada@school.example", "B", {"Seat": "3"}),
        ("4712", "Bo Marsh", "bo@school.example", None, {"Seat": "4"}),
    ]
    assert [line.split() for line in found.table] == [
        ["taken", "for", "heading", "of", "the", "first", "of", "2"],
        ["id", "Matrikelnummer", "4711"],
        ["name", "Vorname", "+", "Name", "Ada", "Quill"],
        ["mail", "E-Mail", "ada@school.example"],
        ["group", "Gruppe", "B"],
        ["carried", "Seat", "3"],
    ]


def test_a_heading_that_no_word_knows_is_asked_and_no_id_is_invented(tmp_path):
    file = listed(tmp_path, ["Kürzel", "Name", "Wo man sie erreicht"], ["aq", "Ada Quill", "ada@school.example"])
    with pytest.raises(GainError, match=r"no column that is known for ids; its other columns are Kürzel\. Say which"):
        read_class_list(file)
    asked = []
    found = read_class_list(file, ask=lambda kind, headings: asked.append((kind, headings)) or "kürzel")
    assert asked == [("id", ("Kürzel",))]  # the mail was known by its cells
    assert found.learners[0].id == read_class_list(file, {"id": "Kürzel"}).learners[0].id == "aq"
    assert found.learners[0].mail == "ada@school.example"
    numbered = read_class_list(file, {"id": ""})
    assert (numbered.learners[0].id, numbered.carried) == ("learner-001", ("Kürzel",))
    assert "(none: numbered in order)" in numbered.table[1]


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"id": "Matrikel"}, "the column for id is 'Matrikel', which list.csv has not; did you mean Matrikelnummer"),
        ({"mial": "E-Mail"}, "--column is mial=E-Mail; did you mean mail"),
        ({"id": "Seat", "group": "Seat"}, "--column takes 'Seat' for two things"),
    ],
)
def test_a_wrong_word_for_a_column_is_one_sentence(tmp_path, columns, said):
    with pytest.raises(GainError, match=said):
        read_class_list(listed(tmp_path, HEADING, ADA), columns)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (["1", "Quill", "Ada", "x"], "line 2 of list.csv has more cells than the heading"),
        (["1", "Ada", "n" * 201], "Note in line 2 of list.csv is"),
    ],
)
def test_a_cell_that_cannot_be_carried_is_told_with_its_line(tmp_path, row, said):
    with pytest.raises(GainError, match=said):
        read_class_list(listed(tmp_path, ["id", "name", "Note"], row))


def test_two_columns_of_one_heading_and_one_without_are_kept_apart(tmp_path):
    file = listed(tmp_path, ["id", "name", "Note", "Note", "", ""], ["1", "Ada", "a", "b", "c", ""])
    assert read_class_list(file).learners[0].more == {"Note": "a", "Note (column 4)": "b", "column 5": "c"}


def test_mail_and_further_columns_come_to_the_mark_sheet_and_to_no_learner(tmp_path):
    learners = read_class_list(listed(tmp_path, [*HEADING, "percent"], [*ADA, "=7"], [*BO, ""])).learners
    file, for_all = new_class(tmp_path / "group", roster=learners, exercises=[EXERCISE])
    assert tuple(read_class(file).learners) == learners
    for each in [for_all, *own_files_of(file).iterdir()]:
        text = read_start_file(each).text
        assert not any(word in text for word in ("school.example", "Seat", "group =", "more"))
    (tmp_path / "in").mkdir()
    done = mark_class(tmp_path / "in", file, feedback="none")
    with (done.out / "marks.csv").open(encoding="utf-8-sig", newline="") as sheet:
        heading, ada, bo = csv.reader(sheet)
    assert heading[:5] == ["id", "name", "mail", "group", "percent"]
    assert heading[-2:] == ["Seat", "percent (list)"]
    assert (ada[:4], ada[-2:]) == (["4711", "Ada Quill", "ada@school.example", "B"], ["3", "'=7"])
    assert (bo[:4], bo[-2:]) == (["4712", "Bo Marsh", "bo@school.example", ""], ["4", ""])


def test_the_command_shows_what_was_taken_and_takes_a_heading(run, tmp_path):
    file = listed(tmp_path, ["Kürzel", "Name"], ["aq", "Ada Quill"])
    status, _, err = run("new-class", tmp_path / "group", "--roster", file, "--exercise", EXERCISE)
    assert (status, "Say which it is, --column id=HEADING" in err) == (2, True)
    assert not (tmp_path / "group.toml").exists()
    status, out, _ = run(
        "new-class", tmp_path / "group", "--roster", file, "--column", "id=Kürzel", "--exercise", EXERCISE
    )
    assert (status, "  id         Kürzel   aq" in out.splitlines()) == (0, True)
    assert [each.id for each in read_class(tmp_path / "group.toml").learners] == ["aq"]


@pytest.mark.parametrize(("code", "told"), [("utf-8", ()), ("utf-8-sig", ()), ("cp1250", ("Vera £ad", "Gül Özdemir"))])
def test_letters_of_an_encoding_that_had_to_be_guessed_are_to_be_looked_at(tmp_path, code, told):
    """The letter of "Ład" is byte 0xA3 in Windows-1250, which is the pound sign in Windows-1252 (published)."""
    file = listed(tmp_path, ["id", "name"], ["1", "Vera Ład"], ["2", "Ada Quill"], ["3", "Gül Özdemir"], code=code)
    said = " ".join(read_class_list(file).to_look_at)
    assert all(each in said for each in told)
    assert ("Look at the letters of" in said) == bool(told)
    assert "Ada" not in said


@pytest.mark.parametrize("heading", ["Nachname, Vorname", "Name/Vorname", "First name, Last name"])
def test_both_names_in_one_column_are_the_name_and_stay_apart_from_the_next(tmp_path, heading):
    rows = ["7", '"Šmíd, Jan"'], ["8", '"Gül, Ela"']
    found = read_class_list(listed(tmp_path, ["id", f'"{heading}"'], *rows, code="cp1250"))
    assert [each.name.split(", ")[1] for each in found.learners] == ["Jan", "Ela"]
    assert "Jan; Gül, Ela:" in found.to_look_at[0]


def test_a_heading_that_has_no_name_is_told_so_that_its_columns_stand_apart(tmp_path):
    file = listed(tmp_path, ["id", '"Wer, wo"'], ["7", "Ada"])
    with pytest.raises(GainError, match=r"the heading of list\.csv is 'id; Wer, wo'; it must have a column named name"):
        read_class_list(file)
