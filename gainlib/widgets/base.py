"""What every widget of the course is: it can be written out for a page that has no kernel."""

from __future__ import annotations

import threading
from html import escape
from typing import Any

import anywidget
import ipywidgets
import traitlets

from gainlib.widgets.cell_display import running_cell

__all__ = ["CourseWidget", "MovedWidget", "Text", "setting_html"]


_ONE_AFTER_ANOTHER = threading.RLock()
"""What a page says is heard one message after another: JupyterLab hands some to the kernel's main thread and some to a
subshell's, so that two controls moved in one breath would be moved at once, each from where the bench stood before."""


class CourseWidget(anywidget.AnyWidget):
    """A widget with a script of its own; what the page says to any of them is heard one message after another."""

    def _handle_msg(self, msg: dict[str, Any]) -> None:
        with _ONE_AFTER_ANOTHER:
            super()._handle_msg(msg)

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
    """An input that the page moves, and whose page knows what has arrived here.

    `moved` is what the page set last: the number of its turn, and the traits with their values. `seen` is the last turn
    that was taken up; before it is the page's last, the page shows what was set there and nothing that is said here,
    since that is of an earlier state. A kernel may hand on two messages of one page in the wrong order: an earlier turn
    that comes after a later one is left out. `unread` says what was typed there and could not be taken.
    """

    moved = traitlets.Dict().tag(sync=True, echo_update=False)
    seen = traitlets.Int(0).tag(sync=True)
    unread = traitlets.Unicode("").tag(sync=True)

    @traitlets.observe("moved")
    def _arrived(self, change: Any) -> None:
        if change["new"]["turn"] <= self.seen:
            return
        with self.hold_sync():
            try:
                with self.hold_trait_notifications():
                    for name, value in change["new"]["values"].items():
                        self.set_trait(name, value)
            finally:
                self.seen = change["new"]["turn"]


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
