"""One line of a page that opens what is longer, and folds it away again."""

from __future__ import annotations

from html import escape

import traitlets

from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["Fold"]


class Fold(CourseWidget):
    """A line to press, with a note beside it; `unfolded` says whether what belongs to it stands below."""

    _esm = script("fold.js")
    _css = STYLES

    title = traitlets.Unicode("").tag(sync=True)
    note = traitlets.Unicode("").tag(sync=True)
    unfolded = traitlets.Bool(False).tag(sync=True)

    def static_html(self) -> str:
        """The line."""
        return f"<p><strong>{escape(self.title)}</strong> {escape(self.note)}</p>"
