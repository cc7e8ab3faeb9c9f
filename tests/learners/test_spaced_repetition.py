"""What was missed comes back after one, three and seven days: tables of attempts and the day that follows."""

from __future__ import annotations

import json
from datetime import UTC, date, timedelta, timezone

import pytest

from gainlib.learners.progress import Progress
from gainlib.learners.spaced_repetition import Missed, missed

MARCH = "2030-03-{:02d}T12:00:00Z"


def attempts(*told, name="levels/one"):
    """From texts such as "1 missed", "4 passed": the day of March and what came of it."""
    pairs = [each.split() for each in told]
    return [{"exercise": name, "passed": how == "passed", "time": MARCH.format(int(day))} for day, how in pairs]


@pytest.mark.parametrize(
    ("told", "due", "repeated"),
    [
        # case: what happened on which day of March; then the day it is due, and how often it was repeated
        (["1 missed"], 2, 0),
        (["1 missed", "1 passed"], 2, 0),  # put right at once: it still comes back
        (["1 missed", "2 passed"], 5, 1),
        (["1 missed", "4 passed"], 7, 1),  # late: three days from when it was passed
        (["1 missed", "2 passed", "3 passed"], 5, 1),  # before it is due a pass changes nothing
        (["1 missed", "2 passed", "5 passed"], 12, 2),
        (["1 missed", "2 passed", "5 passed", "11 passed"], 12, 2),
        (["1 missed", "2 passed", "5 passed", "6 missed"], 7, 0),  # a miss begins anew
        (["1 missed", "2 missed", "2 passed"], 3, 0),
        (["9 passed", "10 missed"], 11, 0),
    ],
)
def test_the_day_on_which_a_missed_exercise_is_due(told, due, repeated):
    assert missed(attempts(*told), UTC) == (Missed("levels/one", date(2030, 3, due), repeated),)


@pytest.mark.parametrize("told", [[], ["1 passed"], ["1 missed", "2 passed", "5 passed", "12 passed"]])
def test_what_was_never_missed_or_passed_three_times_when_due_does_not_come_back(told):
    assert missed(attempts(*told), UTC) == ()


def test_it_is_due_from_its_day_on():
    (one,) = missed(attempts("1 missed"), UTC)
    assert [one.is_due(date(2030, 3, day)) for day in (1, 2, 3)] == [False, True, True]


def test_the_order_of_the_file_plays_no_part_and_the_first_due_stands_first():
    mixed = attempts("5 missed", name="b/late") + attempts("2 passed", "1 missed", name="a/early")
    assert [each.exercise for each in missed(mixed, UTC)] == ["a/early", "b/late"]
    assert missed(mixed, UTC) == missed(list(reversed(mixed)), UTC)


def test_a_day_is_the_learners_own():
    evening = [{"exercise": "a/b", "passed": False, "time": "2030-03-01T23:30:00Z"}]
    assert missed(evening, UTC)[0].due == date(2030, 3, 2)
    assert missed(evening, timezone(timedelta(hours=2)))[0].due == date(2030, 3, 3)


@pytest.mark.parametrize(
    "time", [None, "", "yesterday", 3, "2030-03-01", "2030-03-01T12:00:00", "0001-01-01T00:00:00+14:00"]
)
def test_an_attempt_without_a_readable_time_is_left_out(time):
    assert missed([{"exercise": "a/b", "passed": False, "time": time}], UTC) == ()


def test_it_reads_what_progress_keeps(tmp_path):
    entry = {"exercise": "a/b", "passed": False, "points": 0.0, "out_of": 1.0, "time": MARCH.format(1)}
    content = {"schema": "gainlib progress", "version": 1, "learner": {"id": "x", "name": ""}, "attempts": [entry]}
    (tmp_path / "progress.json").write_text(json.dumps(content))
    assert missed(Progress.at(tmp_path).attempts, UTC)[0].due == date(2030, 3, 2)
