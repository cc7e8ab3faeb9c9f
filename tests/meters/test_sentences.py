"""Text with measured figures: each form, a real minus, silence, and what cannot be filled in."""

import math

import pytest

import gainlib as gl
from gainlib.errors import GainError


def test_figures_stand_in_the_text_as_they_are_printed_everywhere():
    said = gl.say("{a} dB, {a:0} dB, {a:2} dB, {b:+0} dB, {c} dBFS", a=-3.14159, b=2.6, c=-math.inf)
    assert said.text == "−3.1 dB, −3 dB, −3.14 dB, +3 dB, −∞ dBFS"
    assert said._repr_markdown_() == repr(said) == said.text


@pytest.mark.parametrize(
    ("text", "figures", "says"),
    [
        ("It is {one}.", {}, "the text names 'one', and no such figure is given"),
        ("It is loud.", {"one": 1.0}, "the figure one stands nowhere in the text"),
        ("It is {one:.1f}.", {"one": 1.0}, "write {name}, {name:0} or {name:\\+1} for a figure"),
        ("It is {one", {"one": 1.0}, "cannot be filled in"),
    ],
)
def test_what_cannot_be_filled_in_is_told(text, figures, says):
    with pytest.raises(GainError, match=says):
        gl.say(text, **figures)
