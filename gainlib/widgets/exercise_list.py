"""The front of the exercise book."""

from __future__ import annotations

from html import escape

import traitlets

from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["ExerciseList"]


class ExerciseList(CourseWidget):
    """Where one picks: topic, level, only what was missed, and the list of what fits."""

    _esm = script("exercise_list.js")
    _css = STYLES

    topics = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    levels = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    missed = traitlets.Unicode("").tag(sync=True)
    items = traitlets.List(traitlets.List(traitlets.Unicode())).tag(sync=True)
    chosen = traitlets.Unicode("").tag(sync=True)
    note = traitlets.Unicode("").tag(sync=True)
    opened = traitlets.Unicode("").tag(sync=True)

    def static_html(self) -> str:
        """The list of what fits."""
        return f"<ul>{''.join(f'<li>{escape(text)}</li>' for _, text in self.items)}</ul>"
