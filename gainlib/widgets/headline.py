"""The sentence above a bench."""

from __future__ import annotations

from html import escape
from typing import Any

import traitlets

from gainlib.views import Headline
from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["HeadlineLine"]


class HeadlineLine(CourseWidget):
    """What matters now and which way to go; read out when a move has ended, not at each of its steps."""

    _esm = script("headline.js")
    _css = STYLES

    title = traitlets.Unicode("").tag(sync=True)
    what = traitlets.Unicode("").tag(sync=True)
    advice = traitlets.Unicode("").tag(sync=True)
    trouble = traitlets.Bool(False).tag(sync=True)

    def __init__(self, **given: Any) -> None:
        super().__init__(**given)
        self.on_msg(self._asked)

    def say(self, headline: Headline) -> None:
        """Put another sentence there."""
        with self.hold_sync():
            self.what, self.advice, self.trouble = headline.what, headline.advice, headline.trouble

    def static_html(self) -> str:
        """The sentence."""
        return f"<p><strong>{escape(self.what)}</strong> {escape(self.advice)}</p>"

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "there":  # the page asks whether anyone is
            self.send({"kind": "here"})
