"""Questions asked before anything is shown, and which answer is kept."""

from __future__ import annotations

import pytest

from gainlib.errors import GainError
from gainlib.widgets.predict import predict


def test_running_the_cell_again_keeps_the_answer_and_closes_the_first_widget():
    first = predict("again", "How much?", unit="dB")
    first.number = 3.0
    second = predict("again", "How much?", unit="dB")
    assert second.answer == 3.0
    assert first.comm is None


def test_another_question_under_the_same_name_starts_without_an_answer():
    predict("other", "How much?", unit="dB").number = 3.0
    assert predict("other", "How much more?", unit="dB").answer is None


@pytest.mark.parametrize("options", [{}, {"choices": ["only one"]}])
def test_a_question_needs_two_choices_or_a_unit(options):
    with pytest.raises(GainError, match="give two choices or a unit"):
        predict("q", "What?", **options)
