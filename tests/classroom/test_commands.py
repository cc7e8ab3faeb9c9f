"""The commands of a class as a terminal meets them: statuses 0, 1 and 2, one sentence for what cannot be done."""

from __future__ import annotations

import json
import re

import pytest

from gainlib.classroom import RosterLine, new_class, read_class
from gainlib.exercises import author_answer, check, load
from gainlib.learners.enrolment import enrol, own_variant
from gainlib.learners.progress import Progress

from .conftest import EXERCISE, text_of


def test_a_class_from_its_list_to_its_marks(run, tmp_path, monkeypatch):
    (tmp_path / "list.csv").write_text("id;name\na-01;Ada Quill\na-02;Bo Marsh\n", encoding="utf-8")
    file, handed = tmp_path / "group-a.toml", tmp_path / "in"
    handed.mkdir()
    status, out, _ = run(
        "new-class", tmp_path / "group-a", "--title", "Group A", "--roster", tmp_path / "list.csv",
        "--exercise", EXERCISE, "--due", "2099-01-15T18:00", "--collect", handed,
    )  # fmt: skip
    assert status == 0
    assert "group-a.toml is yours: it holds the key and 2 names." in out
    own = tmp_path / "group-a-own-files"
    assert f"{own} holds a start file for each learner, with a key of their own: gainlib open FILE" in out
    assert "group-a.gainclass is one for all, where you trust the class: it has everybody's id and name" in out
    assert sorted(each.name for each in own.iterdir()) == ["group-a-for-a-01.gainclass", "group-a-for-a-02.gainclass"]
    assert read_class(file).due.tzinfo is not None

    course = tmp_path / "course"
    enrol(course, own / "group-a-for-a-01.gainclass")
    progress = Progress.at(course)
    variant = own_variant(load(EXERCISE), progress)
    progress.record(variant, author_answer(variant), check(variant, author_answer(variant)))
    status, out, _ = run("hand-in", course)
    assert (status, "Handed in: a copy is in" in out, "Give this file" in out) == (0, True, False)

    status, out, _ = run("mark", handed, "--class", file, "--feedback", "none")
    assert status == 0
    assert out.startswith("1 of 2 learners handed in; 1 answer.\nEverything got a mark.\n")
    # A worker is started in the folder that the command is called in, and takes no module from it.
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    for name in ("pickle", "socket", "tempfile", "numpy"):
        (here / f"{name}.py").write_text(f"open({str(tmp_path / 'said')!r}, 'w')")
    again = ("--class", file, "--out", tmp_path / "again", "--feedback", "none", "--workers", "2")
    assert run("mark", handed, *again)[0] == 0
    assert not (tmp_path / "said").exists()

    (handed / "bad.json").write_text("{")
    status, out, _ = run("mark", handed, "--class", file, "--feedback", "none", "--json")
    assert status == 1
    told = json.loads(out)
    assert (told["handed_in"], told["marked_before"], told["not_marked"]) == (1, 1, 1)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["new-class", "x", "--due", "tomorrow"], "--due is 'tomorrow'; give a date and a time"),
        (["new-class", "x", "--exercise", "recording/leave-rom"], "did you mean recording/leave-room?"),
        (["new-class", "x", "--roster", "no.csv"], "no.csv is not there"),
        (["new-class", "x", "--again"], "x.toml is not there"),
        (["hand-in", "."], "belongs to no class"),
        (["mark", ".", "--class", "no.toml"], "no.toml is not there"),
        (["open", "course", "--class", "no.toml"], "no.toml is not there"),
        (["open", "course", "--learner", "a"], "--learner is an id in a class; give your class's start file as well"),
        (["open", "course", "--class", "no.toml", "--learner", "a"], "no.toml is not there"),
    ],
)
def test_what_cannot_be_done_is_one_sentence_and_2(run, tmp_path, monkeypatch, arguments, said):
    monkeypatch.chdir(tmp_path)
    status, _, err = run(*arguments)
    assert status == 2
    assert said in err
    assert len(err.splitlines()) == 1
    assert list(tmp_path.iterdir()) == []


def test_again_tells_whose_own_files_are_left_over(run, tmp_path):
    file, own = tmp_path / "b[1].toml", tmp_path / "b[1]-own-files"
    new_class(
        file,
        roster=[RosterLine(id="ada", name="Ada"), RosterLine(id="bo", name="Bo")],
        exercises=["recording/leave-room"],
    )
    (own / "note.txt").write_text("the teacher's own")
    assert "no longer" not in run("new-class", file, "--again")[1]
    file.write_text(re.sub(r'\n.*id = "bo".*', "", file.read_text()))
    status, out, _ = run("new-class", file, "--again")
    told = "Of learners who are no longer on the roster (1), yours to delete there: b[1]-for-bo.gainclass"
    assert status == 0
    assert told in out.splitlines()
    assert (own / "b[1]-for-bo.gainclass").exists()


def test_again_writes_the_learners_file_and_keeps_the_key(run, group):
    group.file.write_text(group.file.read_text().replace("Group A", "Group B"))
    status, out, _ = run("new-class", group.file, "--again")
    assert (status, "group-a.gainclass" in out) == (0, True)
    text = text_of(group.for_all)
    assert "Group B" in text
    assert group.class_file.key in text
