"""What a view is: a rendering goes in; a figure, the columns that it draws and a sentence come out."""

from __future__ import annotations

import weakref
from collections.abc import Callable
from typing import Any, ClassVar, TypeVar

import numpy as np
from numpy.typing import NDArray

from gainlib.errors import GainError, suggest
from gainlib.flow import Rendering
from gainlib.views.phrasing import of_tap
from gainlib.views.style import FRAME_RIGHT

__all__ = ["Columns", "TapView", "View", "view", "views"]

Columns = dict[str, dict[str, "NDArray[np.floating[Any]] | list[str]"]]
"""Named sources, each with its columns: numbers or words, all of one length."""


Read = TypeVar("Read")


class View:
    """One picture: `figure(rendering)` draws it once, `columns(rendering)` moves it, `sentence(rendering)` says it.

    The figure's ColumnDataSources carry the names that `columns` gives, so that a moved control sends new columns and
    nothing else. A subclass with a `name` is known by it from the moment that it is defined: benches and exercise files
    can ask for it, `views` lists it.
    """

    name: ClassVar[str] = ""
    title: ClassVar[str] = ""
    _held: tuple[weakref.ref[Rendering], Any] | None = None

    def __init_subclass__(cls) -> None:
        """Make the view known by its name; a base of several views has none."""
        super().__init_subclass__()
        name = vars(cls).get("name")
        if not name:
            return
        other = _VIEWS.get(name)
        if other is not None and (other.__module__, other.__qualname__) != (cls.__module__, cls.__qualname__):
            raise GainError(f"a view {name!r} is there already, in {other.__module__}; choose another name.")
        _VIEWS[name] = cls

    def figure(self, rendering: Rendering) -> Any:
        """A Bokeh figure with title, axes with units, and values on hover."""
        raise NotImplementedError

    def columns(self, rendering: Rendering) -> Columns:
        """What the figure's named sources hold for this rendering."""
        raise NotImplementedError

    def sentence(self, rendering: Rendering) -> str:
        """The picture in words."""
        raise NotImplementedError

    def heading(self, rendering: Rendering) -> str:
        """The title, with the tap that is drawn where there is a choice."""
        return self.title

    def taps(self, rendering: Rendering) -> tuple[str, ...]:
        """The taps (strip/stage) that are columns of the picture, left to right; none where time runs along.

        Controls can stand below them.
        """
        return ()

    def right_px(self, rendering: Rendering) -> int:
        """Pixels from the picture's right edge to its frame, so that controls below stand under their columns."""
        return FRAME_RIGHT

    def once(self, rendering: Rendering, read: Callable[[Rendering], Read]) -> Read:
        """What `read` makes of this rendering: picture and sentence of one move read it once.

        The last answer is held, so a view asks with one `read` only.
        """
        if self._held is None or self._held[0]() is not rendering:
            self._held = weakref.ref(rendering), read(rendering)
        found: Read = self._held[1]
        return found


class TapView(View):
    """A view of one stage: `tap` names it, the last one unless `usual_tap` says another; `height` is in pixels.

    The heading is the title, `joined` and the stage in words; the title alone where there is no such stage.
    """

    height: int = 200
    joined: ClassVar[str] = " after the "

    def __init__(self, tap: str | None = None, *, height: int | None = None) -> None:
        self.tap = tap
        if height is not None:
            self.height = height

    def usual_tap(self, rendering: Rendering) -> str:
        """The tap that is drawn unless one is named; empty where there is none to draw."""
        return rendering.last_tap

    def tap_of(self, rendering: Rendering) -> str:
        """The path of the tap that is drawn; empty where there is none."""
        found = self.tap or self.usual_tap(rendering)
        return "/".join(rendering.session.tap(found)) if found else ""

    def heading(self, rendering: Rendering) -> str:
        """The title with its stage."""
        tap = self.tap_of(rendering)
        return f"{self.title}{self.joined}{of_tap(rendering, tap)}" if tap else self.title


_VIEWS: dict[str, type[View]] = {}


def views() -> dict[str, type[View]]:
    """Every view that is defined, by its plain name.

    >>> "level diagram" in views()
    True
    """
    return dict(sorted(_VIEWS.items()))


def view(choice: str | View) -> View:
    """The view of that plain name, or the view itself when one with options is given.

    Raises GainError for a name that is not known, with the nearest one that is.

    >>> view("waveform").name
    'waveform'
    """
    if isinstance(choice, View):
        return choice
    known = views()
    if not isinstance(choice, str):
        raise GainError(f"{choice!r} is not a view; give a name ({', '.join(known)}) or a View.")
    if choice not in known:
        raise GainError(f"{choice!r} is not a view; {suggest(choice, known)}")
    return known[choice]()
