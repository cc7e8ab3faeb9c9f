"""The sentence above a bench."""

from __future__ import annotations

from html import escape
from typing import Any

import traitlets

from gainlib.views import Advice
from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["HeadlineLine"]


class HeadlineLine(CourseWidget):
    """The facts and, where something is aimed at, one step; read out when a move has ended, not while it goes on."""

    _esm = script("headline.js")
    _css = STYLES

    title = traitlets.Unicode("").tag(sync=True)
    what = traitlets.Unicode("").tag(sync=True)
    advice = traitlets.Unicode("").tag(sync=True)
    trouble = traitlets.Bool(False).tag(sync=True)

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self.on_msg(self._asked)

    def say(self, advice: Advice) -> None:
        """Put another sentence there."""
        with self.hold_sync():
            self.what, self.advice, self.trouble = advice.facts, advice.step, advice.trouble

    def static_html(self) -> str:
        """The sentence."""
        return f"<p><strong>{escape(self.what)}</strong> {escape(self.advice)}</p>"

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "there":  # the page asks whether anyone is
            self.send({"kind": "here"})
