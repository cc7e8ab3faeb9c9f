"""Marking without names: codes in sheet, pages and report, and nothing by which a learner could be known."""

from __future__ import annotations

import csv
import re
import zipfile

import pytest

from gainlib.classroom import RosterLine
from gainlib.classroom.run import mark_class
from gainlib.classroom.store import Store
from gainlib.errors import GainError
from gainlib.exercises import author_answer

from .conftest import EXERCISE, GAIN, TRIM

NAMES = (
    "Ada",
    "Quill",
    "Zoë",
    "Krüger",
    "Cy",
    "Fenn",
    "Marsh",
    "Dale",
    "zk-9",
    "pupil-",
    "school.example",
    "Fensterplatz",
    "Tuesday",
)
ROSTER = (
    RosterLine(
        id="pupil-1", name="Ada Quill", mail="ada@school.example", group="Tuesday", more={"Seat": "Fensterplatz"}
    ),
    RosterLine(id="zk-9", name="Zoë Krüger", group="Friday"),
    RosterLine(id="pupil-3", name="Cy Fenn"),
    RosterLine(id="pupil-4", name="Bo Marsh"),
    RosterLine(id="pupil-5", name="Di Dale"),
)


@pytest.fixture
def handed(group):
    """One right, one wrong, one copied with its id changed, one cut off, one with another name in it, and litter."""
    group.made_anew(ROSTER)
    ada = group.content("pupil-1")
    wrong = {GAIN: author_answer(group.variant("zk-9"))[GAIN] + 8, TRIM: -8}
    group.put("hand-in pupil-1 20260115-120000-000.json", ada)
    group.put("Zoë Krüger.json", group.content("zk-9", wrong, learner={"id": "zk-9", "name": "Zoë K"}))
    group.put("hand-in pupil-3 20260115-120000-000.json", "{")
    group.put("pupil-4.json", ada | {"learner": {"id": "pupil-4", "name": "Bo Marsh"}})
    group.put("Ada.txt", "Ada Quill")
    return group


def texts(folder):
    """All that stands in a folder's files, the sheets of workbooks as well."""
    for file in folder.rglob("*"):
        if file.suffix == ".xlsx":
            with zipfile.ZipFile(file) as book:
                yield from ((file, book.read(name).decode()) for name in book.namelist() if name.endswith(".xml"))
        elif file.is_file():
            yield file, file.read_text(encoding="utf-8")


def table(file):
    with file.open(encoding="utf-8-sig", newline="") as text:
        return list(csv.DictReader(text))


def test_a_marking_without_names_compares_nothing_with_the_last_one(handed, monkeypatch):
    mark_class(handed.folder, handed.file, feedback="none")
    read, told = [], Store.told
    monkeypatch.setattr(Store, "told", lambda store, learner: read.append(learner) or told(store, learner))
    mark_class(handed.folder, handed.file, feedback="none", anonymous=True)
    assert read == []
    mark_class(handed.folder, handed.file, feedback="none")
    assert sorted(read) == sorted(each.id for each in ROSTER)


def test_nothing_tells_whose_a_mark_is(handed):
    done = mark_class(handed.folder, handed.file, anonymous=True)
    assert sorted(each.name for each in done.out.parent.iterdir()) == ["marks.sqlite", "without-names"]
    found = list(texts(done.out))
    assert len(found) > 8
    for file, text in found:
        told = text.split("<script")[0] if file.suffix == ".html" else text  # the drawing library holds any word
        words = re.findall(r"[\w.-]+", f"{told} {file.name}".casefold())
        assert [each for each in NAMES if any(word.startswith(each.casefold()) for word in words)] == [], file


def test_the_marks_are_the_same_and_stand_in_the_order_of_the_codes(handed):
    hidden = mark_class(handed.folder, handed.file, anonymous=True)
    named = mark_class(handed.folder, handed.file)
    codes = handed.class_file.codes
    with_names = {codes[row["id"]]: row for row in table(named.out / "marks.csv")}
    without = table(hidden.out / "marks.csv")
    assert [row["id"] for row in without] == sorted(codes.values())
    assert all(row["total"] == with_names[row["id"]]["total"] for row in without)
    pages = {each.name for each in (hidden.out / "feedback").iterdir()}
    assert pages == {f"for-{codes[each]}.html" for each in ("pupil-1", "zk-9", "pupil-4")}
    assert (hidden.not_marked, hidden.learners) == (named.not_marked, named.learners)


def test_an_answer_beside_the_class_is_counted_as_with_names(handed):
    """What got no mark: Cy's file, the litter, Bo's copied answer; Zoë's one to an exercise that is not set."""
    content = handed.content("zk-9", learner={"id": "zk-9", "name": "Zoë K"})
    content["answers"].append(content["answers"][0] | {"exercise": "levels/unity"})
    handed.put("Zoë Krüger.json", content)
    done = [mark_class(handed.folder, handed.file, anonymous=each, feedback="none") for each in (True, False)]
    assert [each.not_marked for each in done] == [4, 4]
    assert len(table(done[0].out / "not-marked.csv")) == 4


def test_a_correction_by_code_is_the_learner_s(handed):
    text = handed.file.read_text(encoding="utf-8")
    code = handed.class_file.codes["zk-9"]
    given = f'corrections = [{{ learner = "{code}", exercise = "{EXERCISE}", points = 4 }}]'
    handed.file.write_text(text.replace("exercises = [", f"{given}\nexercises = [", 1), encoding="utf-8")
    done = mark_class(handed.folder, handed.file, feedback="none")
    assert {row["id"]: row["total"] for row in table(done.out / "marks.csv")}["zk-9"] == "4.0"


def test_grades_do_not_go_out_without_names(handed):
    with pytest.raises(GainError, match="--anonymous cannot be followed: grades go out with names"):
        mark_class(handed.folder, handed.file, anonymous=True, grades=["office.toml"])
