"""The contents in a class: what is set comes first, in the teacher's order, with what is done, handed in and due."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta

import pytest

import gainlib as gl
from gainlib.classroom import RosterLine, new_class
from gainlib.classroom.start_files import write_start_files
from gainlib.cli.joining import join
from gainlib.exercises import author_answer, check, load
from gainlib.learners.course_folder import install_lessons
from gainlib.learners.enrolment import brought_up_to_date, enrol, enrolled, own_variant
from gainlib.learners.progress import Progress
from gainlib.learners.submission import hand_in

SET = ("levels/two-tracks", "recording/leave-room", "clipping/where-it-clipped")
DUE = datetime(2099, 1, 15, 18, tzinfo=UTC)


@pytest.fixture
def course(tmp_path, monkeypatch):
    """A learner's folder with a few lessons, in a class of one, where it is at home."""
    folder = tmp_path / "course"
    install_lessons(folder, "1", only="start-here")
    people = [RosterLine(id="a-01", name="Ada <Quill>")]
    file, for_all = new_class(tmp_path / "a", title="Group A", roster=people, exercises=SET, due=DUE)
    os.utime(for_all, (1e9, 1e9))  # what lies there for a while is not looked into again
    enrol(folder, for_all, "a-01")
    monkeypatch.chdir(folder)
    return folder, file


def answer(folder, name, right=True):
    progress = Progress.at(folder)
    variant = own_variant(load(name), progress)
    given = author_answer(variant)
    if not right:
        given = dict.fromkeys(given, -99.0)
    return progress.record(variant, given, check(variant, given))


def test_what_is_set_stands_first_in_the_teachers_order_and_what_is_open_comes_next(course):
    found = gl.contents()
    assert [each.name for each in found.work.exercises] == list(SET)
    assert [each.state for each in found.work.exercises] == ["not begun"] * 3
    html = found._repr_html_()
    assert html.index("Set by your teacher") < html.index("The whole course") < html.index("Start here")
    page = "set-by-your-teacher/levels/two-tracks.ipynb"
    assert f'Next: <a href="{page}"><strong>Two tracks on one bus</strong></a>' in html
    assert (course[0] / page).is_file()
    assert "Ada &lt;Quill&gt;" in html
    assert ">Work with decibels<" in html  # a lesson that was not laid here is no link in the table of what is set
    assert "work-with-decibels.ipynb" not in html
    assert html.count("<strong>next</strong>") == 1
    assert "Set by your teacher (Group A): Passed: 0 of 3. Points: 0 of" in repr(found)


def test_it_says_what_is_done_and_what_of_it_is_handed_in(course):
    folder, _ = course
    answer(folder, SET[0])
    answer(folder, SET[1], right=False)
    first, second, third = gl.contents().work.exercises
    worth = load(SET[0]).out_of
    assert (first.passed, first.points, first.handed_in) == (True, worth, "not yet")
    assert (second.state, second.handed_in) == ("not passed yet, 0 of 5 points", "not yet")
    assert (third.state, third.handed_in) == ("not begun", "")
    assert gl.contents().work.open[0].name == SET[1]
    hand_in(folder)
    assert [each.handed_in for each in gl.contents().work.exercises] == ["yes", "yes", ""]
    answer(folder, SET[1])
    assert [each.handed_in for each in gl.contents().work.exercises] == [
        "yes", "a better answer is not handed in yet", "",
    ]  # fmt: skip
    assert "Passed: 2 of 3." in gl.contents().work.sentence


def test_points_are_those_of_the_class_and_what_is_for_practice_counts_to_none(course):
    folder, file = course
    text = file.read_text(encoding="utf-8")
    text = text.replace(f'"{SET[1]}", points = 5', f'"{SET[1]}", points = 20')
    text = text.replace(f'"{SET[2]}", points', f'"{SET[2]}", role = "optional", points')
    file.write_text(text, encoding="utf-8")
    write_start_files(file)
    answer(folder, SET[1])
    work = gl.contents().work
    assert [each.role for each in work.exercises] == ["required", "required", "optional"]
    assert (work.exercises[1].points, work.exercises[1].out_of) == (20.0, 20.0)
    assert f"Passed: 1 of 2. Points: 20 of {20 + load(SET[0]).out_of:g}." in work.sentence
    day = enrolled(folder).changed.astimezone()  # by now it may be another
    assert work.news == (
        f"Changed on {day.day} {day:%B}: “Leave room for the shout” is worth 20 points now.",
        f"Changed on {day.day} {day:%B}: “Where did it clip?” is for practice and does not count now.",
    )


def test_what_was_answered_in_an_earlier_version_has_no_points_and_is_open(course):
    folder, _ = course
    answer(folder, SET[1])
    attempts = folder / "attempts.jsonl"
    attempts.write_text(attempts.read_text().replace(load(SET[1]).digest, "0123456789abcdef"))
    row = gl.contents().work.exercises[1]
    assert (row.state, row.points, row.passed) == ("answered in an earlier version; answer it again", 0.0, False)
    assert row.handed_in == "not yet"
    assert row in gl.contents().work.open
    hand_in(folder)
    assert gl.contents().work.exercises[1].handed_in == "your answer to the earlier version"


def test_what_was_changed_is_told_for_two_weeks(course, monkeypatch):
    folder, file = course
    file.write_text(file.read_text().replace("2099-01-15", "2099-01-22"))
    write_start_files(file)
    here = brought_up_to_date(folder)
    assert len(gl.contents().work.news) == 1
    kept = folder / ".gainlib" / "class.json"
    then = here.changed - timedelta(days=15)
    kept.write_text(kept.read_text().replace(here.changed.isoformat(), then.isoformat()))
    assert gl.contents().work.news == ()


def test_an_exercise_that_is_opened_by_itself_has_what_was_changed_too_and_tells_it_once(course, capsys):
    folder, file = course
    assert gl.exercise(SET[1]).note == "Set in Group A, 5 points, due Thursday 15 January 2099, 18:00 (UTC)."
    file.write_text(file.read_text().replace("2099-01-15", "2099-01-22"))
    write_start_files(file)
    now = "Set in Group A, 5 points, due Thursday 22 January 2099, 18:00 (UTC)."
    assert gl.exercise(SET[1], learner="a-01").note == ""  # another's numbers, tried, change nothing here
    assert gl.exercise(SET[1]).note == (
        "Your teacher changed something. Due Thursday 22 January 2099, 18:00 (UTC) now. "
        f"It was Thursday 15 January 2099, 18:00 (UTC). {now}"
    )
    assert gl.exercise(SET[1]).note == now
    assert len(gl.contents().work.news) == 1
    join(folder, None, "")  # as the course is opened again
    assert capsys.readouterr().out == ""
    file.write_text(file.read_text().replace("exercises = [", 'exercises = [ { name = "levels/out-of-line" },'))
    write_start_files(file)
    assert gl.exercise("levels/out-of-line").note.startswith("Your teacher changed something. New: ")
    assert "Set in Group A" in gl.exercise("levels/out-of-line").note
    (file.parent / "a.gainclass").write_bytes(b"PK")
    assert gl.exercise(SET[1]).note.startswith("Your class may have changed, and cannot be read: a.gainclass")


def test_one_that_cannot_be_read_is_told_in_its_row_and_a_class_that_cannot_in_a_sentence(course):
    folder, _ = course
    kept = folder / ".gainlib" / "class.json"
    text = kept.read_text()
    kept.write_text(text.replace(SET[1], "recording/gone"))
    rows = gl.contents().work.exercises
    assert "there is no exercise 'recording/gone'" in rows[1].fault
    assert [each.fault for each in (rows[0], rows[2])] == ["", ""]
    kept.write_text("{")
    found = gl.contents()
    assert found.work is None
    assert "Your class cannot be shown" in found.note
    assert found.lessons


def test_a_learner_alone_is_shown_the_way_into_a_class(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert 'In a class? <a href="#Your-class">Open your start file</a>' in gl.contents()._repr_html_()
