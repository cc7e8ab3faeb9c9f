"""An exercise on a bench: brief, hints, verdict in words, and what is kept."""

from __future__ import annotations

import json

import pytest

import gainlib as gl
from gainlib.errors import GainError
from gainlib.exercises import author_answer

NAME = "recording/leave-room"


@pytest.fixture
def sitting(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    made = gl.exercise(NAME)
    yield made
    made.close()


def answered(sitting):
    for path, value in author_answer(sitting.variant).items():
        sitting.bench.move(path, value)


def test_the_bench_has_the_variants_controls_and_starts_where_it_says(sitting):
    assert {path.rpartition("/")[2] for path in sitting.bench.values} == {"gain_db"}
    for move in sitting.variant.controls:
        assert sitting.bench.values[move.path] == move.start
        assert (sitting.bench.controls[move.path].low, sitting.bench.controls[move.path].high) == (move.low, move.high)
    assert sitting.bench.listen == sitting.variant.listen


def test_a_wrong_answer_and_a_right_one_are_told_apart_and_kept(sitting, tmp_path):
    desk = sitting.panel.answer
    assert sitting.check().passed is False
    assert desk.verdict["head"].startswith("Not there yet: 0 of 5 points")
    assert {line["passed"] for line in desk.verdict["lines"]} == {False}
    answered(sitting)
    assert desk.stale is True
    assert sitting.check().passed is True
    assert desk.stale is False
    assert desk.verdict["head"] == "Passed: 5 of 5 points."
    assert {line["passed"] for line in desk.verdict["lines"]} == {True}
    assert "Saved:" in desk.saved
    kept = (tmp_path / "attempts.jsonl").read_text().splitlines()
    assert [json.loads(attempt)["points"] for attempt in kept] == [0.0, 5.0]


def test_hints_are_shown_one_by_one_and_their_cost_comes_off(sitting):
    desk = sitting.panel.answer
    assert desk.offer == "Show a hint (free)"
    desk._handle_custom_msg({"kind": "hint", "after": 0}, None)
    assert desk.hints == [sitting.variant.hints[0].text]
    assert desk.offer == "Show a hint (costs 0.5 points)"
    sitting.hint()
    assert desk.offer == "Show a hint (costs 1 point)"
    sitting.hint()
    assert (desk.offer, sitting.hint(), len(sitting.hints)) == ("", None, 3)
    answered(sitting)
    desk._handle_custom_msg({"kind": "check", "after": 1}, None)
    # 5 points less 0, 0.5 and 1 for the three hints of the exercise's file
    assert desk.verdict["head"].startswith("Passed: 3.5 of 5 points, 1.5 taken off for hints")


def test_a_press_that_the_page_says_twice_is_one_attempt(sitting, tmp_path):
    desk = sitting.panel.answer
    for after in (0, 0, 1, 1):
        desk._handle_custom_msg({"kind": "check", "after": after}, None)
    assert len((tmp_path / "attempts.jsonl").read_text().splitlines()) == desk.answered == 2


def test_a_take_that_cannot_be_read_any_more_is_said_and_the_page_waits_for_nothing(sitting, monkeypatch):
    def gone(*_):
        raise GainError("take.wav was changed since it was read; read it again.")

    monkeypatch.setattr(sitting, "check", gone)
    desk = sitting.panel.answer
    desk._handle_custom_msg({"kind": "check", "after": 0}, None)
    assert desk.missing == "Not checked: take.wav was changed since it was read; read it again."
    assert desk.answered == 1


def test_a_hint_that_was_taken_is_not_told_twice(sitting):
    sitting.check()
    told = sitting.panel.answer.verdict["hint"]
    sitting.hint()
    assert sitting.hints[0].text in told
    assert sitting.panel.answer.verdict["hint"] == ""


def test_another_learners_variant_is_shown_and_not_kept(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sitting = gl.exercise(NAME, learner="ada")
    sitting.check()
    assert sitting.saved.startswith("Not saved")
    assert list(tmp_path.iterdir()) == []
    assert sitting.variant.values == gl.exercise(NAME, learner="ada").variant.values


def test_an_exercise_that_is_not_there_is_named():
    with pytest.raises(
        gl.GainError, match="there is no exercise 'recording/leave-rom'; did you mean recording/leave-room"
    ):
        gl.exercise("recording/leave-rom")


def test_closing_frees_the_brief_the_bench_and_the_desk(sitting):
    from ipywidgets.widgets.widget import _instances

    before = len(_instances)
    sitting.panel  # noqa: B018 - makes the widgets
    assert len(_instances) > before
    sitting.close()
    assert len(_instances) == before


def test_an_exercise_tells_the_facts_and_not_which_way_to_go(sitting):
    told = sitting.bench.advice
    assert told.facts.startswith("The converter clips")
    assert told.step == ""
    advising = gl.bench(sitting.variant.session, ["preamp/gain_db"], aim=gl.Aim("peak_dbfs", "converter", most=-10))
    assert advising.advice.step.startswith("Lower the preamp")


def test_the_waveform_tells_the_parts_that_the_exercise_speaks_of(sitting):
    assert "(verse " in " ".join(sitting.bench.sentences)


def test_no_hint_is_sold_once_the_exercise_is_passed(sitting):
    answered(sitting)
    assert sitting.check().passed
    assert sitting.offer == ""
    assert sitting.hint() is None
    assert sitting.hints == ()


def test_a_reckoning_with_nothing_to_see_or_move_has_no_bench(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    reckoning = gl.exercise("meters/zero-vu")
    assert reckoning.bench is None
    assert [type(each).__name__ for each in reckoning.panel.box.children] == ["BriefText", "VBox", "AnswerPanel"]
    right = author_answer(reckoning.variant)["digital"]
    assert not reckoning.reply("digital", right + 1).check().passed
    assert reckoning.reply("digital", right).check().passed
    assert reckoning.answer == {"digital": right}


def test_a_worked_example_says_the_way_to_what_its_checks_ask(written, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    made = gl.exercise(written(("given.strip", "given.advise = true\ngiven.strip")))
    (path,) = (each for each in made.bench.controls if each.endswith("preamp/gain_db"))
    assert made.bench.aims
    for _ in range(len(made.bench.aims) + 1):
        if (move := made.bench.advice.move) is None:
            break
        made.bench.move_all({each: made.bench.values[each] + move.by for each in move.paths})
    assert made.bench.values[path] < 53.0
    assert made.check().passed
    made.close()
