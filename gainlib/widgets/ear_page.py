"""The page of an ear: each listening ladder in a row, what was heard on which day, and the button that runs it."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import Any

import traitlets

from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["EarPage"]


class EarPage(CourseWidget):
    """A row for each ladder: its title, what is heard now in words, its runs by day as a picture; `next` is marked."""

    _esm = script("ear_page.js")
    _css = STYLES

    sentence = traitlets.Unicode("").tag(sync=True)
    rows = traitlets.List(traitlets.Dict()).tag(sync=True)
    next = traitlets.Unicode("").tag(sync=True)

    def follow(self, sentence: str, rows: Sequence[dict[str, Any]], following: str) -> None:
        """Show what is so now, in one message."""
        with self.hold_sync():
            self.sentence, self.rows, self.next = sentence, list(rows), following

    def static_html(self) -> str:
        """What is heard, in words."""
        rows = "".join(f"<li>{escape(str(each['title']))} {escape(str(each['said']))}</li>" for each in self.rows)
        return f"<p>{escape(self.sentence)}</p><ul>{rows}</ul>"
