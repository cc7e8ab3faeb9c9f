"""Questions asked before anything is shown, and their answer beside the measured one."""

from __future__ import annotations

import pytest

from gainlib.errors import GainError
from gainlib.widgets.predict import compare, predict


def test_a_choice_is_kept_and_set_beside_what_happens():
    asked = predict("clip", "What happens?", choices=["Nothing.", "It clips."])
    assert asked.answer is None
    assert compare("clip", "It clips.").sentence == "You made no prediction. What happens: It clips."
    asked.chosen = 0
    assert asked.answer == "Nothing."
    assert compare("clip", "It clips.").sentence == "You said: “Nothing.” What happens: “It clips.”"
    asked.chosen = 1
    assert compare("clip", "It clips.").sentence == "You said: “It clips.” That is right."


@pytest.mark.parametrize(
    ("answer", "sentence"),
    [
        (None, "You made no prediction. Measured: 10.1 dB."),
        (3.0, "You said: 3.0 dB. Measured: 10.1 dB. You were 7.1 dB too low."),
        (20.0, "You said: 20.0 dB. Measured: 10.1 dB. You were 9.9 dB too high."),
        (10.0, "You said: 10.0 dB. Measured: 10.1 dB. Very close."),
        (float("nan"), "You made no prediction. Measured: 10.1 dB."),
        (-3.0, "You said: −3.0 dB. Measured: 10.1 dB. You were 13.1 dB too low."),
    ],
)
def test_a_number_is_set_beside_the_measured_one(answer, sentence):
    predict("shout", "How far above the verse?", unit="dB").number = answer
    assert compare("shout", 10.1, unit="dB").sentence == sentence


def test_what_was_never_asked_is_no_prediction():
    assert compare("nobody asked this", 1.0, unit="dB").sentence == "You made no prediction. Measured: 1.0 dB."


def test_running_the_cell_again_keeps_the_answer_and_closes_the_first_widget():
    first = predict("again", "How much?", unit="dB")
    first.number = 3.0
    second = predict("again", "How much?", unit="dB")
    assert second.answer == 3.0
    assert first.comm is None


def test_another_question_under_the_same_name_starts_without_an_answer():
    predict("other", "How much?", unit="dB").number = 3.0
    assert predict("other", "How much more?", unit="dB").answer is None
    assert "no prediction" in compare("other", 1.0, unit="dB").sentence


def test_a_learners_text_is_shown_and_not_rendered():
    predict("html", "?", choices=["<b>loud</b>", "soft"]).chosen = 0
    assert "<b>" not in compare("html", "soft")._repr_html_()


@pytest.mark.parametrize("options", [{}, {"choices": ["only one"]}])
def test_a_question_needs_two_choices_or_a_unit(options):
    with pytest.raises(GainError, match="give two choices or a unit"):
        predict("q", "What?", **options)


@pytest.mark.parametrize(
    ("unit", "apart"), [("dBFS", "4.0 dB too high"), ("LUFS", "4.0 LU too high"), ("s", "4.0 s too")]
)
def test_levels_lie_decibels_apart(unit, apart):
    predict("a level", "Where does it stand?", unit=unit).number = -14.0
    assert apart in compare("a level", -18.0, unit=unit).sentence
