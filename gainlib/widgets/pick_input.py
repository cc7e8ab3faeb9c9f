"""One of a few values: a native select or checkbox."""

from __future__ import annotations

from typing import Any

import traitlets

from gainlib.widgets.assets import script
from gainlib.widgets.base import MovedWidget, setting_html

__all__ = ["PickInput"]


class PickInput(MovedWidget):
    """A native select, or a checkbox for what is only on or off; `chosen` counts the options from 0."""

    _esm = script("pick_input.js")

    chosen = traitlets.Int(0).tag(sync=True)
    options = traitlets.List(traitlets.Unicode()).tag(sync=True)
    switch = traitlets.Bool(False).tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)
    complaint = traitlets.Unicode("").tag(sync=True)

    values: tuple[Any, ...] = ()

    @property
    def value(self) -> Any:
        """The chosen option itself."""
        return self.values[self.chosen]

    def follow(self, value: Any) -> None:
        """Stand at another option."""
        with self.hold_sync():
            self.chosen, self.complaint = self.values.index(value), ""

    def static_html(self) -> str:
        """The setting and what is chosen."""
        return setting_html(self.name, self.options[self.chosen])
