"""What an exercise asks its learner to achieve."""

from __future__ import annotations

from html import escape

import traitlets

from gainlib.widgets.assets import script
from gainlib.widgets.base import CourseWidget

__all__ = ["BriefText"]


class BriefText(CourseWidget):
    """The title of an exercise and what is asked."""

    _esm = script("brief.js")

    title = traitlets.Unicode("").tag(sync=True)
    goal = traitlets.Unicode("").tag(sync=True)
    brief = traitlets.Unicode("").tag(sync=True)
    note = traitlets.Unicode("").tag(sync=True)

    def static_html(self) -> str:
        """The title and the brief."""
        return f"<h3>{escape(self.title)}</h3><p>{escape(self.brief)}</p>"
