"""The page of an ear: runs of planted days and trials, what comes next, and a run that is sat from it."""

from __future__ import annotations

import json
from datetime import date, datetime

import pytest

import gainlib as gl
from gainlib.benches.ear_panel import Ear
from gainlib.errors import GainError
from gainlib.exercises import load
from gainlib.learners.progress import Progress

STEP = "hearing/step-in-level"
TRIALS = [[1, 1]] * 4 + [[2, 1]] + [[3, 3], [1, 1], [2, 3]] * 3 + [[1, 1]] * 2
"""By the rule: it turns on the rungs 4, 2, 3, 2, 3, 2, 3, 2, so the last six give 2.5."""


@pytest.fixture
def kept(tmp_path, monkeypatch):
    """Keeps runs of these days and sizes in the record of the folder, and gives the page of it."""
    monkeypatch.chdir(tmp_path)
    progress = Progress.at(tmp_path)

    def made(*runs, name=STEP, today=date(2030, 3, 9), **change):
        lines = []
        for day, size in runs:
            noon = datetime(2030, 3, day, 12).astimezone()
            attempt = {
                "exercise": name, "exercise_digest": load(name).digest, "values": {},
                "answer": {"trials": TRIALS, "threshold": size}, "points": 1.0, "out_of": 1.0, "passed": True,
                "hints_used": 0, "time": noon.isoformat(), **change,
            }  # fmt: skip
            lines.append(json.dumps(attempt))
        with (tmp_path / "attempts.jsonl").open("a") as file:
            file.write("".join(f"{each}\n" for each in lines))
        return Ear(progress, lambda: today)

    return made


def step_of(ear):
    return next(each for each in ear.histories if each.exercise.name == STEP)


def test_who_has_heard_nothing_yet_is_told_where_to_begin(kept):
    ear = kept()
    assert len(ear.exercises) >= 7
    assert ear.sentence.startswith("Five minutes a day train an ear. Begin with “")
    assert all(each.sentence == "Not tried yet." for each in ear.histories)
    assert ear.next.exercise.level == 1


def test_the_last_three_runs_say_where_an_ear_stands_and_the_first_where_it_began(kept):
    ear = kept((1, 3.0), (3, 1.5), (5, 0.5), (7, 1.0))
    history = step_of(ear)
    assert [each.day.day for each in history.runs] == [1, 3, 5, 7]
    assert {each.estimate.rung for each in history.runs} == {2.5}
    # The middle one of 1.5, 0.5 and 1.0.
    assert history.sentence == "Over your last 3 runs: a step of 1 dB. First: a step of 3 dB."


def test_what_was_never_run_comes_first_then_what_was_run_longest_ago(kept):
    names = list(kept().exercises)
    for day, name in enumerate(names, 1):
        ear = kept((day, 1.0), name=name)
    assert ear.next.exercise.name == names[0]
    assert ear.sentence.startswith("Five minutes for today: “")
    ear = kept((9, 1.0), name=names[0])
    assert ear.next.exercise.name == names[1]
    assert ear.sentence.startswith("Done for today: 1 run. Tomorrow comes “")


@pytest.mark.parametrize(
    "change",
    [
        {"exercise_digest": "another file"},
        {"answer": {"trials": TRIALS[:6], "threshold": 1.0}},
        {"answer": {"trials": "none", "threshold": 1.0}},
        {"answer": {"trials": TRIALS}},
        {"answer": "it"},
        {"time": "yesterday"},
    ],
)
def test_what_is_no_whole_run_of_this_ladder_is_left_out(kept, change):
    assert step_of(kept((1, 1.0), **change)).runs == ()


def test_a_run_that_is_sat_from_the_page_stands_on_it(kept):
    ear = kept()
    page = ear.panel.page
    page._handle_custom_msg({"kind": "open", "name": STEP}, None)
    run = ear.opened.run
    assert ear.opened.panel.box in ear.panel.box.children
    for odd, picked in TRIALS:
        run.odd = odd
        run.pick(picked)
    row = next(each for each in page.rows if each["name"] == STEP)
    assert [each["rung"] for each in row["runs"]] == [2.5]
    assert row["said"].startswith("Your one run: a step of ")
    ear.close()


def test_a_ladder_that_is_not_there_is_refused_and_named(kept):
    with pytest.raises(
        GainError, match="there is no ladder 'hearing/step-in-levels'; did you mean hearing/step-in-level"
    ):
        kept().open("hearing/step-in-levels")


def test_a_ladder_is_one_line_until_it_is_asked_for_and_nothing_is_rendered_before(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sitting = gl.exercise(STEP)
    panel = sitting.panel
    assert (panel.box.children, panel.listening) == ((panel.line,), None)
    assert "rung" not in str(panel.line.get_state())
    panel.line.unfolded = True
    assert len(panel.box.children) == 3
    # Which one is odd is in nothing that the page is told.
    before = {name: value for name, value in panel.listening.trials.get_state().items() if name != "layout"}
    sitting.run.odd = sitting.run.odd % 3 + 1
    assert {name: value for name, value in panel.listening.trials.get_state().items() if name != "layout"} == before
    panel.line.unfolded = False
    assert panel.box.children == (panel.line,)
    sitting.close()


def test_an_answer_that_comes_twice_or_late_counts_once(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sitting = gl.exercise(STEP)
    sitting.panel.line.unfolded = True
    trials = sitting.panel.listening.trials
    for _ in range(2):
        trials._handle_custom_msg({"kind": "pick", "interval": 1, "trial": 1}, None)
    trials._handle_custom_msg({"kind": "pick", "interval": 7, "trial": 2}, None)
    assert len(sitting.run.trials) == 1
    sitting.close()
