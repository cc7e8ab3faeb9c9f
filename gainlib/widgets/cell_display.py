"""Which panel a cell shows, so that running the cell again frees what it showed before."""

from __future__ import annotations

from typing import Any, NamedTuple, Protocol

import ipywidgets

from gainlib.widgets.resting import rest_in_pauses

__all__ = ["RunningCell", "close_tree", "replace_in_cell", "running_cell"]


class Closable(Protocol):
    """What can stand in a cell."""

    def close(self) -> None:
        """Free every widget."""


class RunningCell(NamedTuple):
    """Which cell runs, in which run of it, and for which page; None where no cell runs, or none is known."""

    cell: str | None
    run: str | None
    session: str | None


def running_cell() -> RunningCell:
    """The cell that runs now, as the page told it that had it run.

    >>> running_cell()  # outside a notebook
    RunningCell(cell=None, run=None, session=None)
    """
    from IPython import get_ipython

    shell: Any = get_ipython()
    parent = shell.get_parent() if hasattr(shell, "get_parent") else {}
    header = parent.get("header") or {}
    if header.get("msg_type") != "execute_request":
        return RunningCell(None, None, None)
    return RunningCell((parent.get("metadata") or {}).get("cellId"), header.get("msg_id"), header.get("session"))


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
    cell, run, _ = running_cell()
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
    """Close a widget with its children, layouts and styles; ipywidgets alone keeps each one for ever.

    The inner ones first: a page takes away what stands in a box with the box, and nothing more is heard there.
    """
    waiting, found = [widget], dict[int, Any]()
    while waiting:
        each = waiting.pop()
        if id(each) in found:
            continue
        found[id(each)] = each
        for name in list(each.keys):
            value = getattr(each, name, None)
            waiting += [
                one
                for one in (value if isinstance(value, list | tuple) else [value])
                if isinstance(one, ipywidgets.Widget)
            ]
    for each in reversed(found.values()):
        each.close()
