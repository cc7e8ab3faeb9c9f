"""A course that is taught on a school's own takes: opened, told, kept, gone back from, and nothing lost."""

from __future__ import annotations

import hashlib
import json
import shutil
import tomllib
import zipfile

import pytest
import second_takes

import gainlib as gl
from gainlib.classroom import new_class
from gainlib.errors import GainError
from gainlib.exercises import load
from gainlib.learners import media_choice
from gainlib.learners.contents import contents
from gainlib.learners.course_folder import MARK, install_lessons
from gainlib.learners.enrolment import enrol

LESSON = "set-recording-level"


@pytest.fixture
def second(second_takes_folder):
    return second_takes_folder


@pytest.fixture
def home(tmp_path, monkeypatch):
    install_lessons(tmp_path / "own", "1", only=LESSON)
    monkeypatch.chdir(tmp_path / "own")
    return tmp_path / "own"


def test_a_course_is_taught_on_a_set_until_another_is_given(home, second):
    told = media_choice.keep_media(home, media_choice.media_meant(str(second)))
    assert any(each.startswith("  05 Set a recording level: your takes (lead voice ") for each in told)
    assert gl.takes(LESSON).own
    assert gl.takes(LESSON)["lead voice"].seconds == second_takes.SECONDS
    lessons = "01 Work with decibels; 03 Read the meters; 05 Set a recording level"
    assert f"Your school's takes (Second song) are in: {lessons}" in contents().note
    assert "keeps the bundled takes, since" not in contents().note
    install_lessons(home, "2")  # opened again, without a word of takes
    assert gl.takes(LESSON).own
    media_choice.keep_media(home, media_choice.media_meant("bundled"))
    assert not gl.takes(LESSON).own
    assert contents().note == ""


def test_the_contents_say_of_each_lesson_why_it_keeps_the_bundled_takes(home, second, tmp_path):
    fewer = shutil.copytree(second, tmp_path / "fewer")
    table = (fewer / "takes.toml").read_text(encoding="utf-8").splitlines(keepends=True)
    (fewer / "takes.toml").write_text("".join(each for each in table if "shout" not in each), encoding="utf-8")
    media_choice.keep_media(home, media_choice.media_meant(str(fewer)))
    why = "05 Set a recording level keeps the bundled takes, since your table has no part named shout."
    assert why in contents().note
    assert "So do the other lessons, and all exercises." in contents().note


def test_takes_that_are_gone_are_told_and_the_way_back(home, second, tmp_path):
    stick = shutil.copytree(second, tmp_path / "stick")
    media_choice.keep_media(home, media_choice.media_meant(str(stick)))
    shutil.rmtree(stick)
    with pytest.raises(GainError, match="bring them back, or open it with --media bundled"):
        gl.takes(LESSON)
    assert "bring them back" in contents().note


@pytest.mark.parametrize("content", ["", "[]", '{"folder": 3, "lessons": 4}', "{"])
def test_a_choice_that_cannot_be_read_chose_nothing(home, content):
    (home / MARK / media_choice.CHOICE).write_text(content, encoding="utf-8")
    assert not gl.takes(LESSON).own
    assert contents().note == ""


def test_the_command_checks_the_set_before_anything_is_laid(run, tmp_path, second):
    broken = shutil.copytree(second, tmp_path / "broken")
    (broken / "takes.toml").write_text('title = "x"\n[takes]\nkik = "kick.wav"\n', encoding="utf-8")
    status, _, said = run("open", tmp_path / "new", "--media", broken, "--no-browser")
    assert (status, (tmp_path / "new").exists()) == (2, False)
    assert "takes.toml, line 3: there is no role 'kik'; did you mean kick?" in said


def test_a_folder_without_a_table_gets_a_first_one(run, tmp_path, second):
    bare = shutil.copytree(second, tmp_path / "bare", ignore=shutil.ignore_patterns("*.toml"))
    status, _, said = run("open", tmp_path / "new", "--media", bare, "--no-browser")
    assert status == 2
    assert "a first takes.toml is there now, with 8 files" in said
    assert '"lead voice" = "lead voice.wav"' in (bare / "takes.toml").read_text(encoding="utf-8")


def test_what_a_learner_had_done_is_there_again_when_the_takes_come_back(home, second):
    """What is kept of a page hangs on the takes' folder in no way: no file of it is touched."""
    left = home / MARK / "as-left" / "one.json"
    left.parent.mkdir(parents=True)
    left.write_text('{"preamp/gain_db": 41.0}', encoding="utf-8")
    for each in (str(second), "bundled"):
        media_choice.keep_media(home, media_choice.media_meant(each))
    assert json.loads(left.read_text(encoding="utf-8")) == {"preamp/gain_db": 41.0}


@pytest.fixture
def in_class(home, second, tmp_path):
    """The learner is in a class that is taught on the second set."""
    _, start_file = new_class(tmp_path / "group-a", title="Group A", exercises=["recording/leave-room"], takes=second)
    enrol(home, start_file, "a-17")
    return start_file


def test_who_opens_a_class_without_its_takes_is_told_which_and_where_to_ask(home, second, in_class, tmp_path):
    asked = "“Second song”, and this course {}: ask your teacher which folder they lie in"
    assert asked.format("has the bundled takes") in contents().note
    other = shutil.copytree(second, tmp_path / "other")
    table = (other / "takes.toml").read_text(encoding="utf-8")
    (other / "takes.toml").write_text(table.replace("Second song", "Third song"), encoding="utf-8")
    media_choice.keep_media(home, media_choice.media_meant(str(other)))
    assert asked.format("is taught on “Third song”") in contents().note
    (other / "takes.toml").write_text(table + "# another\n", encoding="utf-8")
    assert "another takes.toml of “Second song” than Group A: ask your teacher" in contents().note
    # Wherever its folder lies, the set of the class is known again.
    (other / "takes.toml").write_bytes(table.encode())
    assert "ask your teacher" not in contents().note


def test_a_start_file_names_the_takes_and_holds_no_sound_and_marks_keep_the_bundled_ones(in_class, second):
    with zipfile.ZipFile(in_class) as archive:
        assert archive.namelist() == ["class.toml"]
        known = tomllib.loads(archive.read("class.toml").decode())["takes"]
    table = (second / "takes.toml").read_bytes()
    assert known == {"title": "Second song", "sha256": hashlib.sha256(table).hexdigest()}
    variant = load("recording/leave-room").variant("a-17")
    assert variant.session.strips[0].take == gl.read("media/lead-voice.flac")


def test_takes_that_are_none_make_no_class(tmp_path):
    with pytest.raises(GainError, match=r"has no takes\.toml"):
        new_class(tmp_path / "group-a", exercises=["recording/leave-room"], takes=tmp_path)
    assert not list(tmp_path.iterdir())
