"""The row by which another part of long takes is chosen, or all of them are rendered."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import traitlets

from gainlib.errors import GainError
from gainlib.widgets.assets import script
from gainlib.widgets.base import CourseWidget

__all__ = ["PartRow"]


class PartRow(CourseWidget):
    """Where the part begins, the loudest one, and the whole with what that takes; each asked of `commands` by its name.

    `words` say which part it is, `start` is where it begins, of `longest` seconds, and `seconds` how long it lasts;
    `whole` says that all is rendered, `offer` what that would take, `done` how far it is, 0 to 1.
    """

    _esm = script("part_row.js")

    words = traitlets.Unicode("").tag(sync=True)
    start = traitlets.Float(0.0).tag(sync=True)
    seconds = traitlets.Float(0.0).tag(sync=True)
    longest = traitlets.Float(0.0).tag(sync=True)
    whole = traitlets.Bool(False).tag(sync=True)
    offer = traitlets.Unicode("").tag(sync=True)
    done = traitlets.Float(1.0).tag(sync=True)
    complaint = traitlets.Unicode("").tag(sync=True)

    def __init__(self, commands: dict[str, Callable[[Any], object]]) -> None:
        super().__init__()
        self._commands = commands
        self.on_msg(self._hear)

    def static_html(self) -> str:
        """Which part is shown."""
        return f"<p>{self.words}</p>"

    def _hear(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        wanted = self._commands.get(str(content.get("kind")))
        if wanted is None:
            return
        self.complaint = ""
        try:
            wanted(content.get("start"))
        except GainError as fault:
            self.complaint = str(fault)
        self.done = 1.0
