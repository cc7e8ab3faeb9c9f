"""Where an exercise is checked: the buttons, the hints that were taken, and the verdict."""

from __future__ import annotations

from collections.abc import Callable
from html import escape

import traitlets

from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["AnswerPanel"]


class AnswerPanel(CourseWidget):
    """The buttons under an exercise, the hints that were taken, and the verdict.

    `answered` counts what was asked for and done, so that the page knows when it may ask for more. `solution` works out
    a right answer, line by line, for a teacher's page; it is never sent to a learner's.
    """

    _esm = script("answer_panel.js")
    _css = STYLES  # an exercise may have no bench that brings it

    hints = traitlets.List(traitlets.Unicode()).tag(sync=True)
    offer = traitlets.Unicode("").tag(sync=True)
    verdict = traitlets.Dict().tag(sync=True)
    stale = traitlets.Bool(False).tag(sync=True)
    saved = traitlets.Unicode("").tag(sync=True)
    missing = traitlets.Unicode("").tag(sync=True)
    answered = traitlets.Int(0).tag(sync=True)

    solution: Callable[[], list[str]] = list

    def static_html(self) -> str:
        """Nothing: a page cannot check."""
        return ""

    def answer_html(self) -> str:
        """An answer that is right for the numbers on the page."""
        lines = "".join(f"<li>{escape(each)}</li>" for each in self.solution())
        return f"<p><strong>An answer that passes, for these numbers</strong></p><ul>{lines}</ul>" if lines else ""
