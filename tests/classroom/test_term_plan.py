"""The plan of a term: chosen lessons in their order, on their days, with what the notes propose for class and home."""

from __future__ import annotations

import re
from datetime import date

import pytest

from gainlib.classroom import RosterLine
from gainlib.classroom.term_plan import exercises_of_lesson, write_term_plan
from gainlib.errors import GainError
from gainlib.exercises import exercise_names
from gainlib.storage import bundled_folder


def rows(page):
    return [re.sub(r"<[^>]+>", " ", each) for each in page.read_text(encoding="utf-8").split("<tr>")[2:]]


def test_each_exercise_stands_once_in_class_or_at_home():
    found = [name for pair in exercises_of_lesson().values() for part in pair for name in part]
    assert sorted(found) == sorted(exercise_names())


# As the notes for teachers have it, in each form in which they say it.
@pytest.mark.parametrize(
    ("lesson", "in_class"),
    [
        ("set-recording-level", {"recording/leave-room", "recording/least-noise"}),
        ("start-here", {"listening/first-move"}),
        ("read-meters", {"meters/loudest-of-four", "meters/which-is-louder"}),
        ("keep-headroom", {"main/gentle"}),
        ("limit-peaks", {"limiter/who-drives-it"}),
        ("add-density-on-a-bus", {"saturation/which-distorts", "saturation/three-times-four"}),
    ],
)
def test_what_is_for_the_class_is_what_the_notes_say(lesson, in_class):
    assert set(exercises_of_lesson()[lesson][0]) == in_class


def test_lessons_stand_in_the_order_and_on_the_days_that_are_asked_for(tmp_path):
    """Fourteen days after the 21st of December is the 4th of January."""
    page = write_term_plan(tmp_path / "plan.html", ["5", "read-meters"], start=date(2026, 12, 21), every_days=14)
    first, second = rows(page)
    assert ("Monday 21 December 2026" in first, "Set a recording level" in first) == (True, True)
    assert ("Monday 4 January 2027" in second, "Read the meters" in second) == (True, True)
    assert "say what can be mended after the converter, and what cannot" in first
    assert ", 70 minutes in all" in page.read_text(encoding="utf-8")


def test_a_class_puts_its_points_and_its_date_into_the_plan(group):
    page = write_term_plan(group.home / "plan.html", ["set-recording-level"], of_class=group.class_file)
    text = page.read_text(encoding="utf-8")
    assert "due Thursday 15 January 2026, 18:00 (UTC)" in text
    assert text.count("points)</strong>") == 1


def test_what_a_class_sets_of_a_lesson_that_is_not_in_the_plan_is_named_below(group):
    text = write_term_plan(group.home / "plan.html", ["read-meters"], of_class=group.class_file).read_text("utf-8")
    assert "1 lesson, " in text
    below = text.partition("Set as well, of lessons that are not in this plan")[2]
    assert "Leave room for the shout <strong>(5 points)</strong>" in below
    whole = write_term_plan(group.home / "whole.html", of_class=group.class_file).read_text("utf-8")
    assert "Set as well" not in whole


def test_an_exercise_of_the_teacher_s_stands_at_home_with_its_lesson(group):
    own = group.home / "own" / "my-room.toml"
    own.parent.mkdir()
    text = (bundled_folder("exercises") / "recording" / "leave-room.toml").read_text(encoding="utf-8")
    own.write_text(re.sub("(?m)^title .*$", 'title = "My own room"', text), encoding="utf-8")
    group.made_anew([RosterLine(id="a-01", name="Ada Quill")], exercises=[str(own)])
    page = group.home / "plan.html"
    write_term_plan(page, ["read-meters", "set-recording-level"], of_class=group.class_file, class_folder=group.home)
    meters, level = rows(page)
    assert "My own room" not in meters
    assert re.search(r"My own room\s+\(5 points\)", level)


def test_a_lesson_that_is_not_there_is_told_and_nothing_is_written_over(tmp_path):
    with pytest.raises(GainError, match="there is no lesson 'read-meter'; did you mean read-meters"):
        write_term_plan(tmp_path / "plan.html", ["read-meter"])
    write_term_plan(tmp_path / "plan.html", ["read-meters"])
    with pytest.raises(GainError, match="is there already"):
        write_term_plan(tmp_path / "plan.html", ["read-meters"])
