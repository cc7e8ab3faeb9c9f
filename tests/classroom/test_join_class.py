"""Joining on a page: a start file comes in parts, one says who one is, and what is wrong with it is one sentence."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import gainlib as gl
from gainlib.classroom import start_files
from gainlib.classroom.start_files import own_files_of
from gainlib.learners.course_folder import install_lessons
from gainlib.learners.enrolment import enrol, enrolled
from gainlib.learners.progress import Progress
from gainlib.widgets import join_class


@pytest.fixture
def page(tmp_path, monkeypatch):
    folder = tmp_path / "course"
    install_lessons(folder, "1", only="start-here")
    monkeypatch.chdir(folder)
    made = gl.join_class()
    yield made
    made.close()


def send(page, content, part=1000, name="group-a.gainclass"):
    """Hand a file over as the page's script does."""
    page._asked(page, {"kind": "file", "name": name, "size": len(content)}, [])
    while page.wanted:
        start = page.received
        page._asked(page, {"kind": "part", "from": start}, [memoryview(content[start : start + part])])


def test_one_for_all_asks_who_one_is_from_the_list(page, group):
    send(page, group.for_all.read_bytes(), part=97)
    assert (page.asks, page.known) == ("who", "")
    assert page.people == [["a-01", "Ada Quill"], ["a-02", "Bo Marsh"], ["a-03", "Cy Fenn"]]
    assert page.said == ["Group A: 1 exercise, due Thursday 15 January 2026, 18:00 (UTC)."]
    page._asked(page, {"kind": "join", "learner": ""}, [])
    assert page.said == ["Not joined: say who you are."]
    page._asked(page, {"kind": "join", "learner": "a-9"}, [])
    assert page.said == ["Not joined: the id is 'a-9', which is no id of Group A; ask your teacher for yours."]
    page._asked(page, {"kind": "join", "learner": "a-02"}, [])
    assert page.said == ["You are Bo Marsh in Group A. What is set stands on top of this page."]
    assert (page.joined, page.asks, page.people) == (1, "", [])
    assert enrolled().learner_id == "a-02"
    assert Progress.here().learner_name == "Bo Marsh"
    assert enrolled().source is None  # where it lay is not known, so nothing is looked for there


def test_a_newer_one_is_taken_by_the_same_button_and_the_page_says_so(page, group):
    send(page, (own_files_of(group.file) / "group-a-for-a-03.gainclass").read_bytes())
    page._asked(page, {"kind": "join", "learner": ""}, [])
    told = gl.contents().work.newer
    assert told.endswith("When your teacher gives out a newer start file, open it under “Your class”, below.")
    text = group.file.read_text(encoding="utf-8").replace("2026-01-15T18", "2026-01-22T18")
    group.file.write_text(text.replace("points = 5", "points = 8"), encoding="utf-8")
    start_files.write_start_files(group.file)
    assert gl.contents().work.due.day == 15  # it is not known where the file lay
    send(page, group.for_all.read_bytes())
    assert (page.asks, page.known) == ("who", "a-03")  # who one is stands there already
    send(page, (own_files_of(group.file) / "group-a-for-a-03.gainclass").read_bytes())
    page._asked(page, {"kind": "join", "learner": ""}, [])
    assert page.said[1:] == [
        "Due Thursday 22 January 2026, 18:00 (UTC) now. It was Thursday 15 January 2026, 18:00 (UTC).",
        "“Leave room for the shout” is worth 8 points now.",
    ]


def test_who_opened_theirs_on_a_share_goes_on_to_follow_it(page, group, tmp_path):
    share = tmp_path / "share" / "mine.gainclass"
    mine = own_files_of(group.file) / "group-a-for-a-03.gainclass"
    share.parent.mkdir()
    shutil.copy(mine, share)
    enrol(Path.cwd(), share)
    assert f"A newer start file in {share.parent} is taken over" in gl.contents().work.newer
    send(page, mine.read_bytes())
    page._asked(page, {"kind": "join", "learner": ""}, [])
    assert enrolled().source == share
    text = group.file.read_text(encoding="utf-8").replace("2026-01-15T18", "2026-01-22T18")
    group.file.write_text(text, encoding="utf-8")
    start_files.write_start_files(group.file)
    shutil.copy(mine, share)
    assert gl.contents().work.due.day == 22


def test_ones_own_asks_nothing_more(page, group):
    send(page, (own_files_of(group.file) / "group-a-for-a-03.gainclass").read_bytes())
    assert (page.asks, page.people) == ("yes", [])
    assert page.said[0].startswith("It is the start file of Cy Fenn. Group A")
    page._asked(page, {"kind": "join", "learner": ""}, [])
    assert enrolled().learner_id == "a-03"


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "Not opened: holiday.gainclass is empty, or larger than 200 MB"),
        (b"no archive", "Not opened: holiday.gainclass is no start file of a class, or it came cut off"),
    ],
)
def test_what_is_none_is_told_by_the_name_that_it_has(page, content, said):
    send(page, content, name="holiday.gainclass")
    assert page.said[0].startswith(said)
    assert (page.asks, page.wanted) == ("", 0)
    assert enrolled() is None


def test_no_more_is_taken_than_was_announced(page, group, monkeypatch):
    page._asked(page, {"kind": "file", "name": "x", "size": 10}, [])
    page._asked(page, {"kind": "part", "from": 0}, [b"0" * 11])
    assert page.said == ["Not opened: it came otherwise than it was announced; choose it again."]
    page._asked(page, {"kind": "part", "from": 0}, [b"0"])  # of one that was given up
    assert page._coming == []
    monkeypatch.setattr(join_class, "LARGEST_HERE_BYTES", 10)
    send(page, group.for_all.read_bytes())
    assert "gainlib open FILE" in page.said[0]


def test_a_part_that_comes_twice_is_taken_once(page, group):
    content = group.for_all.read_bytes()
    page._asked(page, {"kind": "file", "name": "a.gainclass", "size": len(content)}, [])
    page._asked(page, {"kind": "part", "from": 0}, [content[:100]])
    page._asked(page, {"kind": "part", "from": 0}, [content[:100]])
    page._asked(page, {"kind": "part", "from": 100}, [content[100:]])
    assert page.asks == "who"


def test_outside_a_learners_folder_it_says_what_to_do(group, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = gl.join_class()
    send(made, group.for_all.read_bytes())
    assert made.join("a-01") is None
    assert made.said == ["Not joined: this page lies in no folder of a learner's; close it, then: gainlib open FILE."]
    made.close()
