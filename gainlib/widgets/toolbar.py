"""The two lines of a bench that are not about sound: the headline above, and the row that takes back and compares."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from gainlib.errors import GainError
from gainlib.views import Headline
from gainlib.widgets.scripts import page_script

__all__ = ["STYLES", "HeadlineLine", "StepsRow"]

_HERE = Path(__file__).parent / "page"
STYLES = _HERE / "bench.css"
"""How everything of a bench looks."""


class HeadlineLine(anywidget.AnyWidget):
    """The sentence above the bench; read out when a move has ended, not at each of its steps."""

    _esm = _HERE / "headline.js"
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

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "there":  # the page asks whether anyone is
            self.send({"kind": "here"})


class StepsRow(anywidget.AnyWidget):
    """Undo, redo, reset, two kept settings to compare, and the settings as text, by button and by key.

    `undo` and `redo` say what each would do and are empty where there is nothing; `kept` has the slots in use, `at` the
    one whose settings are the present ones. `asked` has what each button does and then says.
    """

    _esm = page_script("steps.js")

    undo = traitlets.Unicode("").tag(sync=True)
    redo = traitlets.Unicode("").tag(sync=True)
    kept = traitlets.List(traitlets.Unicode()).tag(sync=True)
    at = traitlets.Unicode("").tag(sync=True)

    def __init__(self, asked: dict[str, Callable[[], str]]) -> None:
        super().__init__()
        self._asked = asked
        self.on_msg(self._hear)

    def _hear(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        wanted = str(content.get("kind"))
        if wanted in self._asked:
            try:
                said = self._asked[wanted]()
            except GainError as fault:  # a key may ask for what no button offers
                said = str(fault)
            self.send({"kind": "text" if wanted == "copy" else "say", "text": said})
