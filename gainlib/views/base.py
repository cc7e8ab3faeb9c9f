"""What a view is: a rendering goes in; a figure, the columns that it draws and a sentence come out."""

from __future__ import annotations

import weakref
from typing import Any, ClassVar, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from gainlib.errors import GainError, nearest
from gainlib.flow import Rendering

__all__ = ["Columns", "View", "view", "views"]

Columns = dict[str, dict[str, "NDArray[np.floating[Any]] | list[str]"]]
"""Named sources, each with its columns: numbers or words, all of one length."""


Read = TypeVar("Read")


class Kept(Generic[Read]):
    """What was read of the last rendering, so that picture and sentence of one move read it once."""

    def __init__(self) -> None:
        self._of: weakref.ref[Rendering] | None = None
        self._read: Read | None = None

    def get(self, rendering: Rendering) -> Read | None:
        """What was read of this very rendering, None for another."""
        return self._read if self._of is not None and self._of() is rendering else None

    def keep(self, rendering: Rendering, read: Read) -> Read:
        """Remember what was read, in the place of what was before."""
        self._of, self._read = weakref.ref(rendering), read
        return read


class View:
    """One picture: `figure(rendering)` draws it once, `columns(rendering)` moves it, `sentence(rendering)` says it.

    The figure's ColumnDataSources carry the names that `columns` gives, so that a moved control sends new columns and
    nothing else. `taps` names the stages that stand side by side in the picture, so that controls can stand below them.
    """

    name: ClassVar[str] = ""
    title: ClassVar[str] = ""

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
        """The taps (strip/stage) that are columns of the picture, left to right; none where time runs along."""
        return ()


def views() -> dict[str, type[View]]:
    """Every view by its plain name.

    >>> "level diagram" in views()
    True
    """
    from gainlib.views.balance import Balance
    from gainlib.views.close_up import CloseUp
    from gainlib.views.contributors import SumByContributor
    from gainlib.views.envelope import Envelope
    from gainlib.views.fader_taper import FaderTaper
    from gainlib.views.gain_reduction import GainReductionTrace
    from gainlib.views.level_diagram import LevelDiagram
    from gainlib.views.loudness_over_time import LoudnessOverTime
    from gainlib.views.meters_over_time import MetersOverTime
    from gainlib.views.ride import DrawnRide
    from gainlib.views.spectrum import HarmonicSpectrum
    from gainlib.views.strips import Strips
    from gainlib.views.transfer_curve import TransferCurve
    from gainlib.views.waveform import Waveform
    from gainlib.views.word_length import WordLength

    every: tuple[type[View], ...] = (
        LevelDiagram, Strips, Waveform, CloseUp, Envelope, TransferCurve, GainReductionTrace, DrawnRide, MetersOverTime,
        HarmonicSpectrum, LoudnessOverTime, SumByContributor, FaderTaper, WordLength, Balance,
    )  # fmt: skip
    return {each.name: each for each in every}


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
        raise GainError(f"{choice!r} is not a view; {nearest(choice, known)}")
    return known[choice]()
