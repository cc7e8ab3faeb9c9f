"""Listening ladders in a class: the report shows how the class hears; no mark follows from it unless it is wanted."""

from __future__ import annotations

import pytest

from gainlib.classroom import RosterLine
from gainlib.classroom.class_file import read_class
from gainlib.classroom.grades import comment_of
from gainlib.classroom.handout import write_handout
from gainlib.classroom.item_analysis import analyse_items
from gainlib.classroom.run import mark_class
from gainlib.classroom.term_plan import write_term_plan
from gainlib.exercises import load
from gainlib.learners.standing import Standing

from .conftest import EXERCISE

STEP = "hearing/step-in-level"


def trials(pairs):
    """A run that turns for the first time on rung 2 × pairs: by the rule the last six turns give 2 × pairs − 1.5."""
    return [[1, 1]] * 2 * pairs + [[2, 1]] + [[3, 3], [1, 1], [2, 3]] * 3 + [[1, 1]] * 2


@pytest.fixture
def hearing(group):
    """Five learners whose runs end on the rungs 2.5, 2.5, 2.5, 4.5 and 4.5; a sixth who broke off."""
    group.made_anew([RosterLine(id=f"b-{index}", name=f"Learner {index}") for index in range(6)], (EXERCISE, STEP))
    for index, pairs in enumerate([2, 2, 2, 3, 3, 2]):
        content = group.content(f"b-{index}")
        run = trials(pairs) if index < 5 else trials(pairs)[:9]
        content["answers"].append(
            {**content["answers"][0], "exercise": STEP, "exercise_digest": load(STEP).digest, "values": {},
             # What a learner's page worked out is not believed: the trials are.
             "answer": {"trials": run, "threshold": 0.001}}
        )  # fmt: skip
        group.put(f"{index}.json", group.signed(content))
    return group


def test_the_class_file_gives_a_ladder_no_points(hearing):
    text = hearing.file.read_text(encoding="utf-8")
    assert f'{{ name = "{STEP}" }}' in text
    lines, _ = hearing.marked()
    assert {(each.total, each.out_of, each.percent) for each in lines.values()} == {(5.0, 5.0, 100.0)}


def test_the_report_shows_the_spread_and_no_hardness(hearing):
    lines, without = hearing.marked()
    assert without == {}
    figures = analyse_items(lines.values())
    assert [each.exercise.name for each in figures.exercises] == [EXERCISE]
    (heard,) = figures.hearing
    assert heard.rungs == (2.5, 2.5, 2.5, 4.5, 4.5)
    # The rungs there are 3 and 2.1 dB, 1.5 and 1.05 dB: half way between two of them.
    assert heard.sizes == pytest.approx((2.55, 2.55, 2.55, 1.275, 1.275))
    assert heard.words == (
        "5 ran it to its end; the middle one just hears 2.5 dB, half of them 1.3 dB to 2.5 dB, all 1.3 dB to 2.5 dB"
    )
    report = (mark_class(hearing.folder, hearing.file, feedback="none").out / "report.html").read_text("utf-8")
    assert "<h2>What the class just hears</h2>" in report
    assert "An ear is no mark" in report


def test_a_page_counts_no_points_where_there_are_none(hearing):
    done = mark_class(hearing.folder, hearing.file, feedback="light")
    heard, broken_off = (
        (done.out / "feedback" / f"for-b-{index}.html").read_text("utf-8").partition('id="exercise-2"')
        for index in (0, 5)
    )
    assert '<td class="number">–</td><td>no: it has no points</td>' in heard[0]
    assert "<strong>Passed.</strong>" in heard[2]
    assert "You just hear a step of" in heard[2]
    assert "application/json" not in heard[2]  # nothing was set, so there is nothing to see
    assert "of 0 points" not in "".join((*heard, *broken_off))
    lines, _ = hearing.marked()
    assert f"{load(STEP).title}: done, without points." in comment_of(lines["b-0"])


def test_a_sheet_and_a_plan_give_it_no_points_either(hearing):
    sheets, _ = write_handout(hearing.file)
    assert "of 5 points" in sheets.read_text("utf-8")
    assert "of 0 point" not in sheets.read_text("utf-8")
    plan = write_term_plan(hearing.home / "plan.html", of_class=read_class(hearing.file)).read_text("utf-8")
    assert plan.count("points)</strong>") == 1
    assert "point)</strong>" not in plan


def test_a_class_that_wants_it_gives_points_for_going_to_the_end_whatever_was_heard(hearing):
    text = hearing.file.read_text(encoding="utf-8")
    hearing.file.write_text(text.replace(f'name = "{STEP}"', f'name = "{STEP}", points = 2'), encoding="utf-8")
    lines, _ = hearing.marked()
    assert [lines[f"b-{index}"].total for index in range(6)] == [7.0] * 5 + [5.0]
    assert len(analyse_items(lines.values()).hearing) == 1


def test_of_several_runs_the_last_one_that_went_to_its_end_is_handed_in():
    kept = [
        {"exercise": STEP, "exercise_digest": load(STEP).digest, "points": points, "answer": {"trials": run}}
        for points, run in ((1.0, trials(2)), (1.0, trials(3)), (0.0, trials(2)[:5]))
    ]
    assert Standing(load(STEP), {}, tuple(kept)).best["answer"]["trials"] == trials(3)


def test_a_class_without_any_run_has_no_such_section(group):
    group.put("1.json", group.content("a-01"))
    report = (mark_class(group.folder, group.file, feedback="none").out / "report.html").read_text("utf-8")
    assert "just hears" not in report
