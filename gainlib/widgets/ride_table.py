"""A drawn ride: a table of breakpoints."""

from __future__ import annotations

import traitlets

from gainlib.text import ride_points
from gainlib.widgets.assets import script
from gainlib.widgets.base import MovedWidget, setting_html

__all__ = ["RideTable"]


class RideTable(MovedWidget):
    """Breakpoints in a table of fields; a picture with a source "ride" on the same channel drags them."""

    _esm = script("ride_table.js")

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
            self.points, self.complaint, self.unread = [list(each) for each in value], "", ""

    def static_html(self) -> str:
        """The ride and its breakpoints."""
        return setting_html(self.name, ride_points(self.points, most=len(self.points)))
