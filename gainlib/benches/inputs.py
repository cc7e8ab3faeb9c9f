"""The widget of one control, and of one question."""

from __future__ import annotations

from typing import Any

from gainlib.benches.controls import Breakpoints, Pick, Range
from gainlib.exercises import Question
from gainlib.widgets.pick_input import PickInput
from gainlib.widgets.question import QuestionInput
from gainlib.widgets.range_input import RangeInput
from gainlib.widgets.ride_table import RideTable

__all__ = ["input_of", "moved_trait", "question_input"]


def input_of(control: Range | Pick | Breakpoints, value: Any, channel: str) -> RangeInput | PickInput | RideTable:
    """The widget that moves a control, standing at a value; `channel` is the one of the bench's pictures."""
    named = {"label": control.label, "name": control.name}
    if isinstance(control, Pick):
        made = PickInput(options=[control.printed(each) for each in control.options], switch=control.switch, **named)
        made.values = control.options
        made.follow(control.held(value))
        return made
    if isinstance(control, Breakpoints):
        return RideTable(
            points=[list(each) for each in value], low=control.low, high=control.high, seconds=control.seconds,
            channel=channel, **named,
        )  # fmt: skip
    return RangeInput(
        value=value, start=control.start, low=control.low, high=control.high, step=control.step,
        digits=control.digits, unit=control.unit, signed=control.signed,
        marks=[list(each) for each in control.taper.marks] if control.taper else [],
        ends=list(control.ends or ()), **named,
    )  # fmt: skip


def moved_trait(widget: RangeInput | PickInput | RideTable) -> str:
    """The trait that changes when the page moves it."""
    return "points" if isinstance(widget, RideTable) else "chosen" if isinstance(widget, PickInput) else "value"


def question_input(question: Question, channel: str = "") -> QuestionInput:
    """The widget of one question; `channel` is the one of the player whose place can be taken over."""
    return QuestionInput(
        form=question.form, title=question.title, unit=question.unit, low=float(question.low or 0.0),
        high=float(question.high or 0.0), choices=list(question.choices), channel=channel,
    )  # fmt: skip
