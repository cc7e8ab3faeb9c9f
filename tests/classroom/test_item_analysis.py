"""Difficulty, discrimination and likeness: against figures from outside, and on classes whose truth is known."""

from __future__ import annotations

import random

import pytest
from scipy.stats import pointbiserialr

from gainlib.classroom import RosterLine
from gainlib.classroom.item_analysis import analyse_items, discrimination
from gainlib.classroom.run import mark_class
from gainlib.classroom.similarity import MarkedAnswer, find_alike
from gainlib.exercises import author_answer

from .conftest import GAIN, TRIM

# (case, item, rest, expected, tolerance, source, standing)
ITEMS = [
    (
        "goes along",
        [0, 0, 0, 1, 1],
        [1, 2, 3, 4, 5],
        0.866,
        0.001,
        "by hand: 3/√12 (deviations ±2, ±1, 0 and −0.4, 0.6)",
        "derived",
    ),
    ("goes against", [1, 1, 0, 0, 0], [1, 2, 3, 4, 5], -0.866, 0.001, "the same, mirrored: −3/√12", "derived"),
]


@pytest.mark.parametrize(("case", "item", "rest", "expected", "tolerance", "source", "standing"), ITEMS)
def test_discrimination_against_what_is_reckoned_by_hand(case, item, rest, expected, tolerance, source, standing):
    assert discrimination(item, rest) == pytest.approx(expected, abs=tolerance)


def test_discrimination_is_the_point_biserial_correlation_for_met_or_not():
    chance = random.Random(5)
    item = [chance.randint(0, 1) for _ in range(200)]
    rest = [3 * each + chance.gauss(0, 2) for each in item]
    assert discrimination(item, rest) == pytest.approx(float(pointbiserialr(item, rest).statistic), abs=6e-4)


@pytest.mark.parametrize(
    ("item", "rest"), [([1, 0, 1, 0], [1, 2, 3, 4]), ([1] * 6, range(6)), ([0, 1] * 3, [2] * 6), ([], [])]
)
def test_where_nothing_can_be_said_nothing_is(item, rest):
    assert discrimination(item, list(rest)) is None


def test_the_figures_of_a_class_are_those_of_its_answers(group):
    own = author_answer(group.variant("a-01"))
    group.put("1.json", group.content("a-01"))
    cut = author_answer(group.variant("a-02"))
    group.put("2.json", group.content("a-02", answer={GAIN: cut[GAIN] + 8, TRIM: -8}))
    lines, _ = group.marked()
    figures = analyse_items(lines.values())
    (exercise,) = figures.exercises
    assert (figures.learners, figures.handed_in, figures.nothing) == (3, 2, ("Cy Fenn",))
    # 5 of 5 points, and 1 of 5 for the level after the trim alone.
    assert (exercise.answered, exercise.passed, exercise.difficulty) == (2, 1, 0.6)
    assert [(each.name, each.count) for each in exercise.slips] == [("clipped, then trimmed down", 1)]
    assert exercise.need_help == ("Bo Marsh",)
    assert [each.met for each in exercise.checks] == [0.5, 0.5, 1.0]
    assert own[TRIM] == 0


def test_an_exercise_is_not_compared_with_its_own_points(group):
    group.grow(12)
    lines, _ = group.marked()
    (exercise,) = analyse_items(lines.values()).exercises
    assert len({each.percent for each in lines.values()}) > 1
    assert exercise.discrimination is None  # there are no other points


def test_what_is_to_be_repeated_is_what_a_class_got_wrong_in_the_same_way(group):
    """Ten answer; seven of them clip and trim down, which is one point of five; the other three have all."""
    group.made_anew(
        [RosterLine(id=f"b-{index}", name=f"Learner {index}", group="AB"[index % 2]) for index in range(12)]
    )
    for index in range(10):
        right = author_answer(group.variant(f"b-{index}"))
        answer = right if index < 3 else {GAIN: right[GAIN] + 8, TRIM: -8}
        content = group.content(f"b-{index}", answer)
        content["answers"][0] |= {"attempts": index + 1, "hints_used": int(index > 7)}
        group.put(f"{index}.json", content)
    lines, _ = group.marked()
    figures = analyse_items(lines.values(), {f"b-{index}": "AB"[index % 2] for index in range(12)})
    (exercise,) = figures.to_repeat
    assert exercise.repeat == (
        "7 of 10 got less than 60\u00a0% of its points; 3 of 10 met “Verse after the converter”; "
        "the slip of 7 was “clipped, then trimmed down”"
    )
    assert exercise.effort == "attempts: 1 to 10, the middle one 5.5; 2 of 10 took a hint"
    # Of the even ones b-0 and b-2 are right, of the odd ones b-1; the others have 20 %.
    assert [(each.name, each.learners, len(each.percents), each.median) for each in figures.groups] == [
        ("A", 6, 5, 20.0), ("B", 6, 5, 20.0),
    ]  # fmt: skip
    done = mark_class(group.folder, group.file, feedback="none")
    report = (done.out / "report.html").read_text(encoding="utf-8")
    assert "<td>Set a recording level, Move</td>" in report
    assert "<h2>The groups</h2>" in report


def test_what_most_can_do_is_not_repeated(group):
    group.grow(8)
    for index in range(8):
        group.put(f"b-{index:02d}.json", group.content(f"b-{index:02d}"))
    lines, _ = group.marked()
    assert analyse_items(lines.values()).to_repeat == ()


RANGES = {f"e{number}": {"x": 60.0, "y": 36.0} for number in range(10)}


def by_exercise(given):
    """The answers as the marking gives them: one exercise after the other."""
    return [[each for each in given if each.exercise == exercise] for exercise in RANGES]


def honest(seed: int, learners: int = 30, wrong: float = 0.3, exercises: int = 8) -> list[MarkedAnswer]:
    """A class that works by itself: each learner has numbers of their own, some answers are wrong in their own way."""
    chance = random.Random(seed)
    given = []
    for learner in range(learners):
        for number in range(exercises):
            level = chance.randint(0, 14)
            right = chance.random() > wrong
            x = 20 + level if right else 20 + level + chance.choice([-12, -9, -6, 5, 8, 10])
            y = chance.choice([0, 0, 0, 0, -0.5, 0.5])
            given.append(
                MarkedAnswer(f"l{learner:02d}", f"e{number}", {"level": level}, {"x": x, "y": y}, right, float(right))
            )
    return given


@pytest.mark.parametrize("seed", range(6))
def test_an_honest_class_is_not_suspected(seed):
    assert find_alike(by_exercise(honest(seed)), 30, RANGES, lambda mine, theirs: True) == []


def copied(given: list[MarkedAnswer], mine: str, theirs: str, change: float = 0.0) -> list[MarkedAnswer]:
    of = {each.exercise: each for each in given if each.learner == theirs}
    return [
        MarkedAnswer(mine, each.exercise, each.values, {"x": of[each.exercise].answer["x"] + change,
              "y": of[each.exercise].answer["y"]}, False, 0.2)
        if each.learner == mine and of[each.exercise].passed and of[each.exercise].values != each.values
        else each
        for each in given
    ]  # fmt: skip


def test_who_hands_in_anothers_answers_is_named_with_whose_they_are():
    found = find_alike(by_exercise(copied(honest(1), "l03", "l11")), 30, RANGES)
    assert [(each.learner, each.other) for each in found] == [("l03", "l11")]
    assert len(found[0].exercises) >= 3
    assert found[0].by_chance < 0.05


def test_a_small_change_does_not_hide_it_but_only_if_it_passes_there():
    given = by_exercise(copied(honest(1), "l03", "l11", change=0.5))
    assert [(each.learner, each.other) for each in find_alike(given, 30, RANGES, lambda mine, theirs: True)] == [
        ("l03", "l11")
    ]
    assert find_alike(given, 30, RANGES, lambda mine, theirs: False) == []


def test_one_who_takes_a_right_answer_over_that_is_right_for_them_too_is_left_alone():
    given = [
        MarkedAnswer(each.learner, each.exercise, {"level": 1}, {"x": 3.0, "y": 0.0}, True, 1.0)
        for each in honest(2, wrong=0)
    ]
    assert find_alike(by_exercise(given), 30, RANGES) == []


def test_an_answer_that_passes_under_both_their_numbers_is_left_alone():
    given = []
    for each in honest(4):
        if each.learner in ("l03", "l11"):
            level = {"level": 5 if each.learner == "l03" else 6}
            given.append(MarkedAnswer(each.learner, each.exercise, level, {"x": 77.7, "y": 3.3}, True, 1.0))
        else:
            given.append(each)
    assert find_alike(by_exercise(given), 30, RANGES, lambda mine, theirs: True) == []


def test_an_answer_that_half_the_class_gives_is_no_sign_of_anything():
    given = [
        MarkedAnswer(
            each.learner, each.exercise, each.values, {"x": 0.0, "y": 0.0}, number % 2 == 0, float(number % 2 == 0)
        )
        for number, each in enumerate(honest(3))
    ]
    assert find_alike(by_exercise(given), 30, RANGES) == []
