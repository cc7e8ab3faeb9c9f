"""The learner's record: made once, found from anywhere in the course, never lost, and never in the way."""

from __future__ import annotations

import json
import math
import os
import re
from datetime import UTC, datetime, timedelta

import pytest

from gainlib.exercises import check, load
from gainlib.learners.course_folder import MANIFEST, MARK, course_folder
from gainlib.learners.progress import FILE, Progress

GAIN, TRIM = "voice/preamp/gain_db", "voice/trim/gain_db"


@pytest.fixture(scope="module")
def variant(stand_in):
    return load(stand_in / "leave-room.toml").with_values({"level": -24.0})


def record(progress, variant, answer, hints_used=0):
    return progress.record(variant, answer, check(variant, answer, hints_used), hints_used)


def kept(folder):
    return json.loads((folder / FILE).read_text(encoding="utf-8"))


@pytest.fixture
def read_only(monkeypatch):
    """Make every new file fail, as in a read-only folder; tests may run as root, whom a real one does not stop."""

    def forbid(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    def make():
        monkeypatch.setattr("gainlib.storage.atomic.os.open", forbid)

    return make


def test_the_id_is_made_once_and_is_random(tmp_path):
    (tmp_path / "other").mkdir()
    first, again, other = Progress.at(tmp_path), Progress.at(tmp_path), Progress.at(tmp_path / "other")
    assert re.fullmatch("[0-9a-f]{32}", first.learner_id)
    assert first.learner_id == again.learner_id != other.learner_id


def test_the_file_is_that_of_the_course_the_current_folder_lies_in(tmp_path, monkeypatch):
    (tmp_path / MARK).mkdir()
    (tmp_path / MARK / MANIFEST).write_text("{}")
    deep = tmp_path / "own" / "takes"
    deep.mkdir(parents=True)
    monkeypatch.chdir(deep)
    assert course_folder() == tmp_path.resolve()
    assert Progress.here().file == tmp_path.resolve() / FILE


def test_without_a_course_the_file_is_in_the_current_folder(tmp_path, monkeypatch):
    inside = tmp_path / "inside"
    inside.mkdir()
    monkeypatch.chdir(inside)
    (tmp_path / MARK).mkdir()  # a folder of that name alone is no mark
    assert Progress.here().file == inside / FILE


def test_a_name_is_kept_and_can_be_changed_without_losing_the_id(tmp_path):
    first = Progress.at(tmp_path, name="Ada")
    assert Progress.at(tmp_path).learner_name == "Ada"
    renamed = Progress.at(tmp_path, name="Bo")
    assert (renamed.learner_id, Progress.at(tmp_path).learner_name) == (first.learner_id, "Bo")


def test_an_attempt_is_kept_with_all_that_marking_needs(tmp_path, variant):
    said = record(Progress.at(tmp_path), variant, {GAIN: 41, TRIM: 0}, hints_used=2)
    content = kept(tmp_path)
    assert (content["schema"], content["version"]) == ("gainlib progress", 1)
    (attempt,) = content["attempts"]
    when = datetime.fromisoformat(attempt.pop("time"))
    assert abs(datetime.now(UTC) - when) < timedelta(minutes=1)
    assert when.utcoffset() == timedelta(0)
    assert attempt == {
        "exercise": variant.exercise.name,
        "exercise_digest": variant.exercise.digest,
        "values": {"level": -24.0},
        "answer": {GAIN: 41.0, TRIM: 0.0},
        "points": 4.5,
        "out_of": 5.0,
        "passed": True,
        "hints_used": 2,
    }
    assert str(tmp_path / FILE) in said
    assert "attempt 1" in said
    assert "4.5 of 5 points" in said


def test_attempts_of_two_notebooks_are_both_kept(tmp_path, variant):
    one, two = Progress.at(tmp_path), Progress.at(tmp_path)
    record(one, variant, {GAIN: 48, TRIM: 0})
    said = record(two, variant, {GAIN: 41, TRIM: 0})
    assert "attempt 2" in said
    after = Progress.at(tmp_path)
    assert [each["passed"] for each in after.attempts] == [False, True]
    assert after.best(variant.exercise.name) == (5.0, 5.0)
    assert after.passed(variant.exercise.name)
    assert after.best("recording/another") is None


@pytest.mark.parametrize("answer", [None, "junk", {GAIN: math.nan, "x": [1], 3: object()}, {GAIN: 10**400}])
def test_an_odd_answer_is_kept_as_plain_json(tmp_path, variant, answer):
    record(Progress.at(tmp_path), variant, answer)

    def refuse(name):
        raise AssertionError(f"{name} is not JSON")

    content = json.loads((tmp_path / FILE).read_text(encoding="utf-8"), parse_constant=refuse)
    assert len(content["attempts"]) == 1
    assert len(Progress.at(tmp_path).attempts) == 1


DAMAGED = {
    "cut off": lambda text: text[: len(text) // 2],
    "empty": lambda text: "",
    "another file": lambda text: '{"schema": "something else"}',
    "a list": lambda text: "[]",
    "attempts spoilt": lambda text: text.replace('"points"', '"pionts"'),
    "points not a number": lambda text: text.replace('"points": 5.0', '"points": NaN'),
    "version spoilt": lambda text: text.replace('"version": 1', '"version": "one"'),
}


@pytest.mark.parametrize("how", DAMAGED)
def test_a_damaged_file_is_set_aside_and_said_so(tmp_path, variant, how):
    first = Progress.at(tmp_path, name="Ada")
    record(first, variant, {GAIN: 41, TRIM: 0})
    damaged = DAMAGED[how]((tmp_path / FILE).read_text(encoding="utf-8"))
    (tmp_path / FILE).write_text(damaged, encoding="utf-8")
    after = Progress.at(tmp_path)
    (aside,) = tmp_path.glob("progress (damaged*).json")
    assert aside.read_text(encoding="utf-8") == damaged
    assert aside.name in after.note
    assert after.attempts == ()
    if first.learner_id in damaged:
        # The id decides which numbers the learner gets, so it is saved when it can still be read.
        assert (after.learner_id, after.learner_name) == (first.learner_id, "Ada")
    assert Progress.at(tmp_path).learner_id == after.learner_id
    assert Progress.at(tmp_path).note == ""


def test_a_file_damaged_between_two_attempts_keeps_the_id_of_the_open_notebook(tmp_path, variant):
    progress = Progress.at(tmp_path)
    (tmp_path / FILE).write_bytes(b"\xff\xfe\x00")
    said = record(progress, variant, {GAIN: 41, TRIM: 0})
    assert "was damaged; it is kept as" in said
    assert "Saved in" in said
    assert kept(tmp_path)["learner"]["id"] == progress.learner_id
    assert len(list(tmp_path.glob("progress (damaged*).json"))) == 1


def test_two_damaged_files_of_one_second_are_both_kept(tmp_path):
    for text in ("first", "second"):
        (tmp_path / FILE).write_text(text)
        Progress.at(tmp_path)
    assert sorted(each.read_text() for each in tmp_path.glob("progress (damaged*).json")) == ["first", "second"]


def test_a_file_of_a_newer_version_is_left_alone(tmp_path, variant):
    first = Progress.at(tmp_path)
    newer = (tmp_path / FILE).read_text(encoding="utf-8").replace('"version": 1', '"version": 2')
    (tmp_path / FILE).write_text(newer, encoding="utf-8")
    progress = Progress.at(tmp_path, name="Bo")
    assert progress.learner_id == first.learner_id
    assert "newer gainlib" in progress.note
    assert "Not saved" in record(progress, variant, {GAIN: 41, TRIM: 0})
    assert (tmp_path / FILE).read_text(encoding="utf-8") == newer


def test_a_read_only_folder_is_said_and_stops_nothing(tmp_path, variant, read_only):
    read_only()
    progress = Progress.at(tmp_path)
    assert "cannot be written (permission denied)" in progress.note
    assert progress.learner_id == Progress.at(tmp_path).learner_id  # the numbers stay the same from cell to cell
    said = record(progress, variant, {GAIN: 41, TRIM: 0})
    assert said.startswith("Not saved: ")
    assert list(tmp_path.iterdir()) == []


def test_a_folder_in_the_way_of_the_file_is_said(tmp_path, variant):
    (tmp_path / FILE).mkdir()
    progress = Progress.at(tmp_path)
    assert "cannot be read" in progress.note
    assert "Not saved" in record(progress, variant, {GAIN: 41, TRIM: 0})


def test_a_file_that_cannot_be_read_is_never_replaced(tmp_path, variant, monkeypatch):
    progress = Progress.at(tmp_path)
    record(progress, variant, {GAIN: 41, TRIM: 0})
    before = (tmp_path / FILE).read_bytes()

    def forbid(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    with monkeypatch.context() as patched:
        patched.setattr("pathlib.Path.read_text", forbid)
        assert "cannot be read (permission denied)" in record(progress, variant, {GAIN: 42, TRIM: 0})
        assert "cannot be read (permission denied)" in Progress.at(tmp_path, name="Bo").note
    assert (tmp_path / FILE).read_bytes() == before


def test_nothing_is_left_behind_when_writing_fails_half_way(tmp_path, variant, monkeypatch):
    progress = Progress.at(tmp_path)
    before = (tmp_path / FILE).read_bytes()

    def full(*args):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    said = record(progress, variant, {GAIN: 41, TRIM: 0})
    assert "no space left on device" in said
    assert (tmp_path / FILE).read_bytes() == before
    assert [each.name for each in tmp_path.iterdir()] == [FILE]


def test_texts_orders_and_drawn_rides_are_kept_as_they_were_answered(tmp_path, variant):
    answer = {"where": "kick", "order": ["B", "A"], "voice/ride/points": ((0.0, 1.5), (2.0, -3.0)), "on": True}
    Progress.at(tmp_path).record(variant, answer, check(variant, {}), draw=3)
    (attempt,) = kept(tmp_path)["attempts"]
    assert attempt["answer"] == {**answer, "voice/ride/points": [[0.0, 1.5], [2.0, -3.0]]}
    assert attempt["draw"] == 3


def test_what_is_too_long_to_be_an_answer_is_named_instead_of_kept(tmp_path, variant):
    deep = [[[[1.0]]]]
    Progress.at(tmp_path).record(variant, {"a": "x" * 10_000, "b": [0.0] * 10_000, "c": deep}, check(variant, {}))
    assert len(json.dumps(kept(tmp_path)["attempts"])) < 1000
