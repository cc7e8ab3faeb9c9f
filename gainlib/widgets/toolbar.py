"""The row below the controls that takes back, compares and copies."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import traitlets

from gainlib.errors import GainError
from gainlib.widgets.assets import script
from gainlib.widgets.base import CourseWidget

__all__ = ["Toolbar"]


class Toolbar(CourseWidget):
    """Undo, redo, reset, two kept settings to compare, and the settings as text, by button and by key.

    `undo` and `redo` say what each would do and are empty where there is nothing; `kept` has the slots in use, `at` the
    one whose settings are the present ones; `note` says how the bench came to stand as it does. `commands` has what
    each button does and then says.
    """

    _esm = script("toolbar.js")

    undo = traitlets.Unicode("").tag(sync=True)
    redo = traitlets.Unicode("").tag(sync=True)
    kept = traitlets.List(traitlets.Unicode()).tag(sync=True)
    at = traitlets.Unicode("").tag(sync=True)
    note = traitlets.Unicode("").tag(sync=True)

    def __init__(self, commands: dict[str, Callable[[], str]]) -> None:
        super().__init__()
        self._commands = commands
        self.on_msg(self._hear)

    def static_html(self) -> str:
        """Nothing: there is nothing to take back."""
        return ""

    def _hear(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        wanted = str(content.get("kind"))
        if wanted in self._commands:
            try:
                said = self._commands[wanted]()
            except GainError as fault:  # a key may ask for what no button offers
                said = str(fault)
            self.send({"kind": "text" if wanted == "copy" else "say", "text": said})
