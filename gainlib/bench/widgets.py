"""The four thin widgets of a panel: the headline, a picture that follows its columns, a range input, the player."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import anywidget
import numpy as np
import traitlets

from gainlib.audio import Audio
from gainlib.bench.listening import CAUTION, CEILING_DBFS, listening_codes, matched_db, matched_words
from gainlib.bench.state import Range
from gainlib.views import INKS, Columns, Headline

__all__ = ["HeadlineLine", "Picture", "Player", "RangeInput"]

_HERE = Path(__file__).parent / "page"


class HeadlineLine(anywidget.AnyWidget):
    """The sentence above the bench; read out when a move has ended, not at each of its steps."""

    _esm = _HERE / "headline.js"
    _css = _HERE / "bench.css"

    title = traitlets.Unicode("").tag(sync=True)
    what = traitlets.Unicode("").tag(sync=True)
    advice = traitlets.Unicode("").tag(sync=True)
    trouble = traitlets.Bool(False).tag(sync=True)

    def say(self, headline: Headline) -> None:
        """Put another sentence there."""
        with self.hold_sync():
            self.what, self.advice, self.trouble = headline.what, headline.advice, headline.trouble


class Picture(anywidget.AnyWidget):
    """A Bokeh figure whose named sources follow `show`.

    `spec` is the figure as a JSON string (saved notebooks sort the keys of objects, and Bokeh needs their order);
    `columns` holds binary arrays and lists of words. The first picture of a page asks for BokehJS, which comes from
    the installed Bokeh.
    """

    _esm = _HERE / "picture.js"

    spec = traitlets.Unicode().tag(sync=True)
    columns = traitlets.Dict().tag(sync=True)
    inks = traitlets.Dict({name: list(pair) for name, pair in INKS.items()}).tag(sync=True)
    bokeh_version = traitlets.Unicode().tag(sync=True)
    channel = traitlets.Unicode("").tag(sync=True)
    heading = traitlets.Unicode("").tag(sync=True)
    sentence = traitlets.Unicode("").tag(sync=True)
    captioned = traitlets.Bool(True).tag(sync=True)

    def __init__(self, figure: Any, columns: Columns, **given: Any) -> None:
        import bokeh
        from bokeh.embed import json_item

        super().__init__(
            spec=json.dumps(json_item(figure)), columns=_packed(columns), bokeh_version=bokeh.__version__, **given
        )
        self.on_msg(self._asked)

    def show(self, columns: Columns, sentence: str) -> None:
        """Draw other columns and say another sentence."""
        with self.hold_sync():
            self.columns = _packed(columns)
            self.sentence = sentence

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        if content.get("kind") == "bokeh":
            import bokeh

            script = Path(bokeh.__file__).parent / "server" / "static" / "js" / "bokeh.min.js"
            self.send({"kind": "bokeh"}, [script.read_bytes()])


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


class RangeInput(anywidget.AnyWidget):
    """A native range input with its value in figures below, which can be typed over."""

    _esm = _HERE / "range.js"

    value = traitlets.Float(0.0).tag(sync=True)
    start = traitlets.Float(0.0).tag(sync=True)
    low = traitlets.Float(0.0).tag(sync=True)
    high = traitlets.Float(1.0).tag(sync=True)
    step = traitlets.Float(1.0).tag(sync=True)
    digits = traitlets.Int(1).tag(sync=True)
    unit = traitlets.Unicode("").tag(sync=True)
    signed = traitlets.Bool(True).tag(sync=True)
    label = traitlets.Unicode("").tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)
    complaint = traitlets.Unicode("").tag(sync=True)

    @classmethod
    def of(cls, control: Range, value: float) -> RangeInput:
        """The widget of one control."""
        return cls(
            value=value, start=control.start, low=control.low, high=control.high, step=control.step,
            digits=control.digits, unit=control.unit, signed=control.unit == "dB", label=control.label,
            name=control.name,
        )  # fmt: skip


class Player(anywidget.AnyWidget):
    """Loops what is heard, before or after the moves, at one level; samples are sent while it sounds, and on demand.

    The page gets 16-bit codes whose largest is the listening ceiling. While it plays, the newest version is sent when
    the one before has arrived, so a fast drag never queues.
    """

    _esm = _HERE / "player.js"

    uid = traitlets.Unicode().tag(sync=True)
    heard = traitlets.Unicode("").tag(sync=True)
    ceiling = traitlets.Float(10.0 ** (CEILING_DBFS / 20.0)).tag(sync=True)
    caution = traitlets.Unicode(CAUTION).tag(sync=True)
    gains = traitlets.Dict({"before": 0.0, "after": 0.0}).tag(sync=True)
    matched = traitlets.Unicode("").tag(sync=True)
    rate_hz = traitlets.Int().tag(sync=True)

    def __init__(self, uid: str, heard: str, rate_hz: int, on_reset: Callable[[], object]) -> None:
        super().__init__(uid=uid, heard=heard, rate_hz=rate_hz)
        self._versions: dict[str, tuple[int, Audio]] = {}
        self._sounding = False
        self._under_way = False
        self._sent: dict[str, int] = {}
        self._on_reset = on_reset
        self.on_msg(self._asked)

    def hold(self, before: Audio, after: Audio, levels_dbfs: tuple[float, float]) -> None:
        """Take what is to be heard before and after the moves, with the AES17 RMS of both."""
        for slot, audio in (("before", before), ("after", after)):
            number, held = self._versions.get(slot, (0, None))
            if held is None or held is not audio:
                self._versions[slot] = number + 1, audio
        gains = matched_db(*levels_dbfs)
        with self.hold_sync():
            self.gains = dict(zip(("before", "after"), gains, strict=True))
            self.matched = matched_words(*gains)
        if self._sounding and not self._under_way:
            self._hand_over("after")

    def _hand_over(self, slot: str) -> None:
        number, audio = self._versions[slot]
        if self._sent.get(slot) == number:
            return
        codes = listening_codes(audio.samples)
        self._under_way = True
        self._sent[slot] = number
        self.send(
            {
                "kind": "samples",
                "slot": slot,
                "version": number,
                "channels": codes.shape[0],
                "length": codes.shape[1],
                "rate_hz": audio.rate_hz,
            },
            [codes.tobytes()],
        )

    def _asked(self, _widget: object, content: dict[str, Any], _buffers: object) -> None:
        kind = content.get("kind")
        if kind == "hello":  # a page opened or was loaded again: it holds nothing
            self._sent, self._sounding, self._under_way = {}, False, False
        elif kind == "sounding":
            self._sounding = bool(content.get("now"))
            self._under_way = self._under_way and self._sounding
        elif kind == "want" and content.get("slot") in self._versions:
            self._hand_over(content["slot"])
        elif kind == "arrived":
            self._under_way = False
            if self._sounding:
                self._hand_over("after")
        elif kind == "reset":
            self._on_reset()
