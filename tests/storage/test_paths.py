"""A path that no file can have is one sentence, wherever somebody may give one."""

from __future__ import annotations

import pytest

import gainlib as gl
from gainlib.classroom import new_class, read_class
from gainlib.classroom.roster import read_roster
from gainlib.classroom.run import mark_class
from gainlib.errors import GainError
from gainlib.exercises import load
from gainlib.html.lesson_page import lesson_page
from gainlib.learners.course_folder import install_lessons
from gainlib.learners.enrolment import enrol
from gainlib.learners.submission import hand_in
from gainlib.sound_file import write
from gainlib.storage import atomic_files, atomic_write, bundled
from gainlib.storage.foreign import read_json
from gainlib.surveys.record import read_survey
from gainlib.surveys.sheet import require_writable

TAKE = gl.Audio([0.0] * 480, 48_000, "take")
SESSION = gl.Session.of(TAKE, [gl.Trim()])

TAKERS = {
    "read": gl.read,
    "write": lambda path: write(f"{path}.wav", TAKE),
    "Session.load": gl.Session.load,
    "Session.save": SESSION.save,
    "survey": gl.survey,
    "load": lambda path: load(f"{path}.toml"),
    "new_class": new_class,
    "read_class": read_class,
    "read_roster": read_roster,
    "read_survey": read_survey,
    "read_json": lambda path: read_json(path, 1024, "a list"),
    "mark_class": lambda path: mark_class(path, path),
    "install_lessons": lambda path: install_lessons(path, "1"),
    "enrol": lambda path: enrol(path.parent, path, "a-01"),
    "hand_in": hand_in,
    "lesson_page": lambda path: lesson_page(path, path),
    "a sheet": require_writable,
    "atomic_write": lambda path: atomic_write(path, "x"),
    "atomic_files": lambda path: atomic_files(path).__enter__(),
    "bundled": lambda path: bundled(f"media/{path.name}"),
}


@pytest.mark.parametrize("name", ["x" * 5000, "nul\0 in it"])
@pytest.mark.parametrize("taker", TAKERS)
def test_a_name_that_no_file_can_have_is_one_sentence(tmp_path, taker, name):
    try:
        made = TAKERS[taker](tmp_path / name)
    except GainError as fault:
        said = str(fault)
    else:  # a survey lists what it could not find
        said = "\n".join(sentence for _, sentence in made.unreadable)
    assert 0 < len(said) < 500
    assert "\n" not in said
    assert list(tmp_path.iterdir()) == []


def test_a_path_that_is_none_is_told():
    with pytest.raises(GainError, match=r"a path is 4\.5; give text such as"):
        gl.read(4.5)


def test_a_lesson_that_is_no_notebook_is_told(tmp_path):
    for text, says in (("{", "cut off or not JSON"), ("[1]", "no notebook"), ('{"cells": 3}', "no notebook")):
        (tmp_path / "a.ipynb").write_text(text)
        with pytest.raises(GainError, match=says):
            lesson_page(tmp_path / "a.ipynb", tmp_path / "a.html")
