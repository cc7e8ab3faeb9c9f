"""A figure in the page that follows its columns."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from html import escape
from typing import Any

import numpy as np
import traitlets

from gainlib.html.figures import bokeh_script, embedded, figure_html
from gainlib.meters import MOMENT_SECONDS
from gainlib.palette import PALETTE
from gainlib.views import Columns
from gainlib.widgets.assets import script
from gainlib.widgets.base import CourseWidget

__all__ = ["FLOOR_DBFS", "STEP_DB", "Picture", "remark_on"]

FLOOR_DBFS, STEP_DB = -100.0, 0.5
"""A moment's level goes to the page as one byte: from −100 to +27.5 dBFS in steps of half a dB."""

_RMS = "RMS is AES17: a full-scale sine reads 0 dBFS."

Tracks = Callable[[float, str], list[tuple[bytes, bytes]]]


class Picture(CourseWidget):
    """A Bokeh figure whose named sources follow `show`.

    `spec` is the figure as a JSON string (saved notebooks sort the keys of objects, and Bokeh needs their order);
    `columns` holds binary arrays and lists of words. The first picture of a page asks for BokehJS, which comes from
    the installed Bokeh. The page puts the last picture into `still`, which stands in a saved notebook that is opened
    without a kernel.

    Where the figure has a column for each stage, `tracks` gives the peaks and the RMS levels of each moment from a
    second on, of what is heard "before" or "after" the moves. The page asks for them while it plays and draws marks
    that move with the sound.
    """

    tracks: Tracks | None = None
    _esm = script("picture.js")

    spec = traitlets.Unicode().tag(sync=True)
    columns = traitlets.Dict().tag(sync=True)
    inks = traitlets.Dict({name: list(pair) for name, pair in PALETTE.items()}).tag(sync=True)
    bokeh_version = traitlets.Unicode().tag(sync=True)
    channel = traitlets.Unicode("").tag(sync=True)
    heading = traitlets.Unicode("").tag(sync=True)
    sentence = traitlets.Unicode("").tag(sync=True)
    captioned = traitlets.Bool(True).tag(sync=True)
    living = traitlets.Bool(False).tag(sync=True)
    still = traitlets.Unicode("").tag(sync=True)

    def __init__(self, figure: Any, columns: Columns, **given: Any) -> None:
        import bokeh

        super().__init__(
            spec=json.dumps(embedded(figure)), columns=_packed(columns), bokeh_version=bokeh.__version__, **given
        )
        self.on_msg(self._asked)

    def show(self, columns: Columns, sentence: str) -> None:
        """Draw other columns and say another sentence."""
        with self.hold_sync():
            self.columns = _packed(columns)
            self.sentence = sentence

    def draw(self, figure: Any, columns: Columns, heading: str, sentence: str) -> None:
        """Put another figure in the place of this one."""
        with self.hold_sync():
            self.columns, self.heading, self.sentence = _packed(columns), heading, sentence
            self.spec = json.dumps(embedded(figure))

    def static_html(self) -> str:
        """The figure as it is drawn now, which the page's own script draws again, and its sentence."""
        heading = f"<p><strong>{escape(self.heading)}</strong></p>" if self.captioned else ""
        drawn = figure_html(json.loads(self.spec), _unpacked(self.columns), self.heading)
        return f"{heading}{drawn}<p>{escape(self.sentence)}</p>"

    def says(self, word: str) -> bool:
        """Whether a word stands on the picture, beside it or in what is told of a place on it."""
        return word in self.sentence or word in self.spec

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "bokeh":
            self.send({"kind": "bokeh"}, [bokeh_script()])
        elif content.get("kind") == "tracks" and self.tracks is not None:
            start, turn, slot = content.get("start"), content.get("turn"), content.get("slot")
            if isinstance(start, int | float) and start >= 0 and slot in ("before", "after"):
                pairs = self.tracks(float(start), slot)
                self.send(
                    {
                        "kind": "tracks", "turn": turn, "start": start, "slot": slot, "moment": MOMENT_SECONDS,
                        "floor": FLOOR_DBFS, "step": STEP_DB,
                    },
                    [track for pair in pairs for track in pair],
                )  # fmt: skip


def remark_on(pictures: Iterable[Picture]) -> str:
    """What must be known to read these pictures; the page says it once, on the first bench where it matters."""
    return _RMS if any(each.says("RMS") for each in pictures) else ""


def _packed(columns: Columns) -> dict[str, dict[str, Any]]:
    return {
        source: {
            name: values
            if isinstance(values, list)
            else {"f4": np.ascontiguousarray(values, dtype="<f4").tobytes()}
            if len(values)
            else []
            for name, values in columns_.items()
        }
        for source, columns_ in columns.items()
    }


def _unpacked(columns: dict[str, dict[str, Any]]) -> dict[str, dict[str, list[Any]]]:
    """The columns as JSON has them: what is no finite number is null."""

    def listed(values: Any) -> list[Any]:
        if isinstance(values, list):
            return values
        numbers = np.frombuffer(values["f4"], dtype="<f4")
        return [float(each) if np.isfinite(each) else None for each in numbers]

    return {source: {name: listed(values) for name, values in columns_.items()} for source, columns_ in columns.items()}
