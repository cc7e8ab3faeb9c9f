"""The widgets that a setting is moved by: a native range input, a native select or checkbox, a table of breakpoints."""

from __future__ import annotations

from typing import Any

import anywidget
import traitlets

from gainlib.benches.controls import Breakpoints, Pick, Range
from gainlib.widgets.scripts import page_script

__all__ = ["Arriving", "PickInput", "RangeInput", "RideTable", "input_of"]


class Arriving(anywidget.AnyWidget):
    """An input whose page knows what has arrived here, and holds a button back until the last move has.

    `turn` counts the values that the page set and `seen` those that are here.
    """

    turn = traitlets.Int(0).tag(sync=True)
    seen = traitlets.Int(0).tag(sync=True)

    @traitlets.observe("turn")
    def _arrived(self, change: Any) -> None:
        self.seen = change["new"]


class RangeInput(Arriving):
    """A native range input with its value in figures below, which can be typed over.

    `stroke` counts the drags and the runs of key presses, so that each can be undone as one.
    """

    _esm = page_script("range.js")

    value = traitlets.Float(0.0).tag(sync=True)
    stroke = traitlets.Int(0).tag(sync=True)
    start = traitlets.Float(0.0).tag(sync=True)
    low = traitlets.Float(0.0).tag(sync=True)
    high = traitlets.Float(1.0).tag(sync=True)
    step = traitlets.Float(1.0).tag(sync=True)
    digits = traitlets.Int(1).tag(sync=True)
    unit = traitlets.Unicode("").tag(sync=True)
    signed = traitlets.Bool(True).tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)
    complaint = traitlets.Unicode("").tag(sync=True)

    def follow(self, value: float) -> None:
        """Stand at another value."""
        with self.hold_sync():
            self.value, self.complaint = value, ""


class PickInput(Arriving):
    """A native select, or a checkbox for what is only on or off; `chosen` counts the options from 0."""

    _esm = page_script("pick.js")

    chosen = traitlets.Int(0).tag(sync=True)
    options = traitlets.List(traitlets.Unicode()).tag(sync=True)
    switch = traitlets.Bool(False).tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)
    complaint = traitlets.Unicode("").tag(sync=True)

    values: tuple[Any, ...] = ()

    @property
    def value(self) -> Any:
        """The chosen option itself."""
        return self.values[self.chosen]

    def follow(self, value: Any) -> None:
        """Stand at another option."""
        with self.hold_sync():
            self.chosen, self.complaint = self.values.index(value), ""


class RideTable(Arriving):
    """Breakpoints in a table of native number inputs; a picture with a source "ride" on the same channel drags them."""

    _esm = page_script("ride.js")

    points = traitlets.List(traitlets.List(traitlets.Float())).tag(sync=True)
    stroke = traitlets.Int(0).tag(sync=True)
    low = traitlets.Float(0.0).tag(sync=True)
    high = traitlets.Float(0.0).tag(sync=True)
    seconds = traitlets.Float(0.0).tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)
    channel = traitlets.Unicode("").tag(sync=True)
    complaint = traitlets.Unicode("").tag(sync=True)

    @property
    def value(self) -> list[list[float]]:
        """The breakpoints as the page has them."""
        return list(self.points)

    def follow(self, value: tuple[tuple[float, float], ...]) -> None:
        """Show other breakpoints."""
        with self.hold_sync():
            self.points, self.complaint = [list(each) for each in value], ""


def input_of(control: Range | Pick | Breakpoints, value: Any, channel: str) -> RangeInput | PickInput | RideTable:
    """The widget of one control."""
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
        digits=control.digits, unit=control.unit, signed=control.unit == "dB", **named,
    )  # fmt: skip
