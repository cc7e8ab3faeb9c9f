"""A number that is moved: a native range input with its value in figures."""

from __future__ import annotations

import traitlets

from gainlib.widgets.assets import script
from gainlib.widgets.base import MovedWidget, setting_html

__all__ = ["RangeInput"]


class RangeInput(MovedWidget):
    """A native range input with its value in figures below, which can be typed over.

    `stroke` counts the drags and the runs of key presses, so that each can be undone as one. With `marks`, positions in
    mm and values from the top down, the slider travels in millimetres: a key moves it by one, with Shift by a quarter.
    `ends` are the words for what lies below 0 and above, such as left and right.
    """

    _esm = script("range_input.js")

    value = traitlets.Float(0.0).tag(sync=True)
    stroke = traitlets.Int(0).tag(sync=True)
    start = traitlets.Float(0.0).tag(sync=True)
    low = traitlets.Float(0.0).tag(sync=True)
    high = traitlets.Float(1.0).tag(sync=True)
    step = traitlets.Float(1.0).tag(sync=True)
    digits = traitlets.Int(1).tag(sync=True)
    marks = traitlets.List(traitlets.List(traitlets.Float())).tag(sync=True)
    ends = traitlets.List(traitlets.Unicode()).tag(sync=True)
    unit = traitlets.Unicode("").tag(sync=True)
    signed = traitlets.Bool(True).tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)
    complaint = traitlets.Unicode("").tag(sync=True)

    def follow(self, value: float) -> None:
        """Stand at another value."""
        with self.hold_sync():
            self.value, self.complaint, self.unread = value, "", ""

    def static_html(self) -> str:
        """The setting and its value."""
        return setting_html(self.name, f"{self.value:.{self.digits}f} {self.unit}")
