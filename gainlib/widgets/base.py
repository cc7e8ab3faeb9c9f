"""What every widget of the course is: it can be written out for a page that has no kernel."""

from __future__ import annotations

from html import escape
from typing import Any

import anywidget
import ipywidgets
import traitlets

from gainlib.widgets.cell_display import running_cell

__all__ = ["CourseWidget", "MovedWidget", "Text", "setting_html"]


class CourseWidget(anywidget.AnyWidget):
    """A widget with a script of its own."""

    def static_html(self) -> str:
        """The widget as it stands, as HTML for a page without a kernel; empty where nothing of it would help there."""
        raise NotImplementedError(f"{type(self).__name__} has no still of its own")

    def close(self) -> None:
        """Free it; a page on which it stands is told which page ran the cell that took it away."""
        by = running_cell().session
        if by:
            self.send({"kind": "taken away", "by": by})
        super().close()


class MovedWidget(CourseWidget):
    """An input whose page knows what has arrived here, and holds a button back until the last move has.

    `turn` counts the values that the page set and `seen` those that are here.
    """

    turn = traitlets.Int(0).tag(sync=True)
    seen = traitlets.Int(0).tag(sync=True)

    @traitlets.observe("turn")
    def _arrived(self, change: Any) -> None:
        self.seen = change["new"]


class Text(ipywidgets.HTML):  # type: ignore[misc]
    """HTML that stands on a panel and on a page alike."""

    def static_html(self) -> str:
        """Itself."""
        return str(self.value)


def setting_html(name: str, value: str) -> str:
    """One setting on a page without a kernel.

    >>> setting_html("Trim", "−3.0 dB")
    '<p>Trim: −3.0 dB</p>'
    """
    return f"<p>{escape(name)}: {escape(value)}</p>"
