"""Entering a class at the command line: who one is, asked where nobody says it, and what was changed, told."""

from __future__ import annotations

import pytest

from gainlib.classroom import RosterLine, new_class
from gainlib.classroom.start_files import own_files_of, write_start_files
from gainlib.cli import joining
from gainlib.errors import GainError
from gainlib.learners.enrolment import enrolled

PEOPLE = [
    RosterLine(id="a-01", name="Ada Quill"),
    RosterLine(id="a-02", name="Bo Marsh"),
    RosterLine(id="3", name="Cy"),
    RosterLine(id="b-7", name="Bo Winter"),
]


@pytest.fixture
def group(tmp_path):
    return new_class(tmp_path / "group-a", title="Group A", roster=PEOPLE, exercises=["recording/leave-room"])


@pytest.fixture
def answers(monkeypatch):
    """What is typed at a terminal, one line after the other."""
    typed = []
    monkeypatch.setattr(joining.typer, "prompt", lambda *asked, **given: typed.pop(0))
    monkeypatch.setattr(joining.sys.stdin, "isatty", lambda: True, raising=False)
    return typed


@pytest.mark.parametrize(
    ("typed", "learner"),
    [
        (["a-02"], "a-02"),
        (["bo marsh"], "a-02"),
        (["  Ada "], "a-01"),
        (["2"], "a-02"),
        (["3"], "3"),  # an id goes before a number of the list
        (["", "zoe", "ab", "bo", "bo m"], "a-02"),
    ],
)
def test_who_opens_one_for_all_is_asked_until_it_is_clear(group, answers, tmp_path, capsys, typed, learner):
    answers += typed
    here = joining.join(tmp_path / "course", group[1], "")
    assert (here.learner_id, answers) == (learner, [])
    out = capsys.readouterr().out
    assert " 1  Ada Quill (a-01)" in out
    assert f"You are {here.name} in Group A." in out


def test_without_a_terminal_nobody_is_asked(group, answers, tmp_path, monkeypatch):
    monkeypatch.setattr(joining.sys.stdin, "isatty", lambda: False, raising=False)
    with pytest.raises(GainError, match="group-a.gainclass is for all of Group A; say who you are as well: --learner"):
        joining.join(tmp_path / "course", group[1], "")
    assert joining.join(tmp_path / "course", group[1], "a-01").learner_id == "a-01"


def test_ones_own_asks_nothing(group, answers, tmp_path):
    own = own_files_of(group[0]) / "group-a-for-a-02.gainclass"
    assert joining.join(tmp_path / "course", own, "").name == "Bo Marsh"


def test_what_the_teacher_changed_is_told_when_the_course_is_opened_again(group, tmp_path, capsys):
    course = tmp_path / "course"
    assert joining.join(course, None, "") is None
    joining.join(course, group[1], "a-01")
    text = group[0].read_text(encoding="utf-8")
    group[0].write_text(text.replace("exercises = [\n", 'exercises = [\n  { name = "levels/two-tracks" },\n'))
    write_start_files(group[0])
    capsys.readouterr()
    joining.join(course, None, "")
    assert capsys.readouterr().out == "New: “Two tracks on one bus”.\n"
    joining.join(course, None, "")
    assert capsys.readouterr().out == ""
    assert len(enrolled(course).of.exercises) == 2


def test_the_command_takes_a_start_file_in_a_folders_place(group, run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("gainlib.learners.jupyter_server.serve", lambda folder, say, **given: say(f"served {folder}"))
    status, out, _ = run("open", group[1], "--learner", "a-02")
    assert (status, out.splitlines()[0]) == (0, "You are Bo Marsh in Group A.")
    assert out.splitlines()[-1] == "served gainlib-course"
    assert enrolled(tmp_path / "gainlib-course").learner_id == "a-02"
    status, _, err = run("open", group[1], "--class", group[1])
    assert (status, "are both given as the start file" in err) == (2, True)
