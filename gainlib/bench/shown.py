"""Which panel a cell shows, so that running the cell again frees what it showed before."""

from __future__ import annotations

import contextlib
import ctypes
from typing import Any, Protocol

import ipywidgets

from gainlib.flow import let_rest

__all__ = ["close_tree", "give_back", "take_place"]

_SHORT_SECONDS = 30
"""Up to here a session is rendered again in a moment; the course's recordings last 19 s at most."""


class Closable(Protocol):
    """What can stand in a cell."""

    def close(self) -> None:
        """Free every widget."""


def take_place(panel: Closable, key: str | None) -> None:
    """Close what an earlier run of this cell showed, or whatever was shown under the same key.

    The list of what is shown belongs to the running shell, so it is kept there; without one nothing is closed. Two
    panels in one run of one cell stand side by side.
    """
    from IPython import get_ipython

    shell: Any = get_ipython()
    if shell is None:
        return
    if "gainlib_panels" not in shell.__dict__:
        shell.gainlib_panels = {}
        shell.events.register("post_run_cell", give_back)
    parent = shell.get_parent() if hasattr(shell, "get_parent") else {}
    cell = (parent.get("metadata") or {}).get("cellId")
    run = (parent.get("header") or {}).get("msg_id")
    place = ("key", key) if key else ("cell", cell)
    if place == ("cell", None):
        return
    shown: dict[Any, list[tuple[Any, Closable]]] = shell.gainlib_panels
    kept = []
    for earlier_run, earlier in shown.get(place, []):
        if earlier is panel:
            continue
        if key or earlier_run != run:
            earlier.close()
        else:
            kept.append((earlier_run, earlier))
    shown[place] = [*kept, (run, panel)]


def give_back(*_: object) -> None:
    """Let short renderings rest and give the system back what is free: a lesson that was run waits for its learner.

    What is moved or heard next is rendered again. glibc alone would keep tens of megabytes that passed through; a
    C library without `malloc_trim` is left to itself.
    """
    let_rest(_SHORT_SECONDS)
    with contextlib.suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


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
