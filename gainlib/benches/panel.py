"""What every panel does: stand in a cell until the cell is run again, and free its widgets then."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Generic, TypeVar

from gainlib.widgets.cell_display import close_tree, replace_in_cell

__all__ = ["Panel", "ShownByPanel"]


class Panel:
    """Widgets in one `box` that follow what they show until they are closed; `follows` holds what ends that."""

    box: Any

    def __init__(self, follows: list[Callable[[], None]]) -> None:
        self.closed = False
        self._follows = follows

    def close(self) -> None:
        """Follow no more, and free every widget."""
        if not self.closed:
            self.closed = True
            for stop in self._follows:
                stop()
            self._free()

    def display(self, text: str, key: str | None = None, **kwargs: Any) -> Any:
        """What a notebook displays; `text` stands where no widget can. What this cell showed before is closed."""
        replace_in_cell(self, key)
        return {**self.box._repr_mimebundle_(**kwargs), "text/plain": text}

    def _free(self) -> None:
        close_tree(self.box)


AnyPanel = TypeVar("AnyPanel", bound=Panel)


class ShownByPanel(Generic[AnyPanel]):
    """What shows itself as a panel where it is the last line of a cell."""

    key: str | None = None

    @property
    def panel(self) -> AnyPanel:
        """The widgets, made when first asked for, and again when they were closed."""
        panel: AnyPanel | None = vars(self).get("_panel")
        if panel is None or panel.closed:
            # In the object's dictionary, for what shows itself may be frozen otherwise.
            panel = vars(self)["_panel"] = self._make_panel()
        return panel

    def close(self) -> None:
        """Close the panel, if there is one, and free what it holds in the page and in the kernel."""
        panel: AnyPanel | None = vars(self).pop("_panel", None)
        if panel is not None:
            panel.close()

    def _make_panel(self) -> AnyPanel:
        raise NotImplementedError

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        return self.panel.display(repr(self), self.key, **kwargs)
