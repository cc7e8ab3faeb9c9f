"""Which panel a cell shows, so that running the cell again frees what it showed before."""

from __future__ import annotations

from typing import Any, Protocol

import ipywidgets

from gainlib.widgets.resting import rest_in_pauses

__all__ = ["close_tree", "replace_in_cell"]


class Closable(Protocol):
    """What can stand in a cell."""

    def close(self) -> None:
        """Free every widget."""


def replace_in_cell(panel: Closable, key: str | None) -> None:
    """Close what an earlier run of this cell showed, or whatever was shown under the same key.

    The list of what is shown belongs to the running shell, so it is kept there; without one nothing is closed. Two
    panels in one run of one cell stand side by side.
    """
    from IPython import get_ipython

    shell: Any = get_ipython()
    if shell is None:
        return
    rest_in_pauses(shell)
    parent = shell.get_parent() if hasattr(shell, "get_parent") else {}
    cell = (parent.get("metadata") or {}).get("cellId")
    run = (parent.get("header") or {}).get("msg_id")
    place = ("key", key) if key else ("cell", cell)
    if place == ("cell", None):
        return
    shown: dict[Any, list[tuple[Any, Closable]]] = shell.__dict__.setdefault("gainlib_panels", {})
    kept = []
    for earlier_run, earlier in shown.get(place, []):
        if earlier is panel:
            continue
        if key or earlier_run != run:
            earlier.close()
        else:
            kept.append((earlier_run, earlier))
    shown[place] = [*kept, (run, panel)]


def close_tree(widget: Any) -> None:
    """Close a widget with its children, layouts and styles; ipywidgets alone keeps each one for ever."""
    waiting, seen = [widget], set()
    while waiting:
        each = waiting.pop()
        if id(each) in seen:
            continue
        seen.add(id(each))
        for name in list(each.keys):
            value = getattr(each, name, None)
            waiting += [
                one
                for one in (value if isinstance(value, list | tuple) else [value])
                if isinstance(one, ipywidgets.Widget)
            ]
        each.close()
