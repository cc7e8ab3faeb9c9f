"""Verdicts that once misled: a wrong answer that passed, points for doing nothing, a cure that made it worse."""

from __future__ import annotations

import pytest

from gainlib.exercises import load
from gainlib.exercises.solution import author_answer
from gainlib.exercises.verdict import check

FIRST = "start"


@pytest.mark.parametrize(
    ("name", "wrong", "least_lost", "said"),
    [
        ("capstone/rough-session", {"main/trim/gain_db": 6}, 2, "lower the main's trim"),
        ("limiter/low-tone", FIRST, 3, "The limiter lets go within each wave"),
        ("limiter/safety-net", FIRST, 5, "Look first whether the limiter works"),
        ("outboard/noisy-device", FIRST, 4, "Raise the trim before the device"),
        ("outboard/note-on-the-desk", {"room": -14.0}, 1, "The level below full scale carries the minus"),
        ("outboard/note-on-the-desk", {"reads": 14.0}, 2, "what stands below it carries a minus"),
        ("limiter/between-samples", {"down": -1.85}, 2, "“Turned down by” says the direction already"),
        ("outboard/late-loop", {"loop/polarity/inverted": True}, 3, "That is the null, well found"),
    ],
)
def test_what_is_wrong_is_not_passed_and_is_told_rightly(name, wrong, least_lost, said) -> None:
    variant = load(name).variant("Ann")
    verdict = check(variant, variant.start if wrong == FIRST else author_answer(variant) | wrong)
    assert not verdict.passed
    assert verdict.points <= verdict.out_of - least_lost
    assert said in verdict.text
