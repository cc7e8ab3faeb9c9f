"""A group of labelled fields: lines, longer texts, numbers, choices, ticks; and buttons below them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import traitlets

from gainlib.widgets.assets import STYLES, script
from gainlib.widgets.base import MovedWidget

__all__ = ["Form"]


class Form(MovedWidget):
    """Fields of a form; `values` holds what stands in each by its name, `said` a sentence on what was done.

    `fields` say in order what stands there: each is a table with a `name`, a `label` and a `form`, which is "line" (it
    may propose `options`), "prose", "number" (with a `unit`, or none), "choice" (with `options`, each a text or a value
    with its text), "tick", "button", "heading" or "told" (text that nobody changes). A number that cannot be read is
    said on the page and does not arrive. A function given as `pressed` is called with the name of a button, one given
    as `changed` with the values after a change by hand.
    """

    _esm = script("form.js")
    _css = STYLES

    heading = traitlets.Unicode("").tag(sync=True)
    fields = traitlets.List(traitlets.Dict()).tag(sync=True)
    values = traitlets.Dict().tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)
    busy = traitlets.Bool(False).tag(sync=True)
    pressed_at = traitlets.Int(0).tag(sync=True)

    def __init__(
        self,
        *,
        pressed: Callable[[str], None] = lambda name: None,
        changed: Callable[[dict[str, Any]], None] = lambda values: None,
        **traits: Any,
    ) -> None:
        super().__init__(**traits)
        self._pressed, self._changed = pressed, changed
        self.on_msg(self._asked)

    def static_html(self) -> str:
        """Nothing: a page without a kernel writes no exercise."""
        return ""

    @traitlets.observe("moved")
    def _arrived(self, change: Any) -> None:
        before = dict(self.values)
        super()._arrived(change)
        if self.values != before:
            self._changed(dict(self.values))

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") != "press":
            return
        try:
            self._pressed(str(content.get("name", "")))
        finally:
            self.pressed_at += 1
