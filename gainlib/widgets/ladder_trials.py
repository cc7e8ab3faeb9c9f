"""Where the trials of a listening ladder are answered, and how the run went."""

from __future__ import annotations

from html import escape
from typing import Any

import traitlets

from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import CourseWidget

__all__ = ["LadderTrials"]


class LadderTrials(CourseWidget):
    """Three buttons for the three sounds of a trial, what the last answer was worth, and at the end the result.

    `intervals` are where each sound begins and ends, by which the button of the one that is heard is marked, told by
    the player on `channel`. `steps` has a place for each rung with its name, `run` a pair for each trial: rung, right.
    """

    _esm = script("ladder_trials.js")
    _css = STYLES

    channel = traitlets.Unicode("").tag(sync=True)
    question = traitlets.Unicode("").tag(sync=True)
    intervals = traitlets.List(traitlets.Any()).tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)
    progress = traitlets.Unicode("").tag(sync=True)
    steps = traitlets.List(traitlets.Unicode()).tag(sync=True)
    run = traitlets.List(traitlets.Any()).tag(sync=True)
    result = traitlets.List(traitlets.Unicode()).tag(sync=True)
    saved = traitlets.Unicode("").tag(sync=True)
    trial = traitlets.Int(0).tag(sync=True)

    def static_html(self) -> str:
        """The question; a page without a kernel plays nothing."""
        return f"<p><strong>{escape(self.question)}</strong> 1, 2 or 3</p>"

    def follow(self, **traits: Any) -> None:
        """Show another state, in one message."""
        with self.hold_sync():
            for name, value in traits.items():
                self.set_trait(name, value)
