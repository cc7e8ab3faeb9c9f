"""The envelope before a stage and after it, on one axis: what the stage made of the level."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np

from gainlib.audio import Audio
from gainlib.flow import Rendering
from gainlib.meters import crest_db, peak_dbfs, rms_dbfs
from gainlib.text import dbfs, level
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.signal_path import entering, last_of, peaks_over_time
from gainlib.views.style import coloured, hover, key, key_columns, level_axis, sources_of, time_frame

__all__ = ["Envelope"]

_COLUMNS = 600
_FLOOR_DBFS = -60.0
_TOP_DBFS = 12.0
_KEY_DB = 9.0


class Envelope(TapView):
    """Peaks over time before a stage and after it.

    `tap` is the stage, by default the last that bends the level, else the last stage of all; `before` is
    the tap to compare with, by default what comes into that stage.
    """

    name: ClassVar[str] = "envelope"
    title: ClassVar[str] = "Envelope before and after"
    joined: ClassVar[str] = " the "

    def __init__(self, tap: str | None = None, *, before: str | None = None, height: int = 210) -> None:
        super().__init__(tap, height=height)
        self.before = before

    def usual_tap(self, rendering: Rendering) -> str:
        """The last stage that bends the level, else the last of all."""
        return last_of(rendering, lambda stage: stage.bends) or rendering.last_tap

    def _pair(self, rendering: Rendering) -> tuple[Audio, Audio]:
        tap = self.tap_of(rendering)
        return rendering.at(self.before) if self.before else entering(rendering, tap), rendering.at(tap)

    def _words(self, rendering: Rendering) -> tuple[str, str]:
        behind = of_tap(rendering, self.tap_of(rendering))
        return f"after the {self.before.split('/')[-1]}" if self.before else f"before the {behind}", behind

    def figure(self, rendering: Rendering) -> Any:
        """Seconds along, dBFS up: a thin line before, a strong line behind, what was taken away tinted between."""
        before, _ = self.once(rendering, self._pair)
        drawing = time_frame(self.height, before.seconds, (_FLOOR_DBFS, _TOP_DBFS + _KEY_DB), "peak, dBFS")
        level_axis(drawing, {each: level(each) for each in range(int(_FLOOR_DBFS), int(_TOP_DBFS), 20)})
        sources = sources_of(self.columns(rendering))
        drawing.varea("seconds", "behind", "before", source=sources["envelope"], fill_alpha=0.16,
                      **coloured(fill_color="peak"))  # fmt: skip
        thin, strong = {"line_width": 1.0}, {"line_width": 2.0}
        drawing.line("seconds", "before", source=sources["envelope"], **thin, **coloured(line_color="text"))
        seen = drawing.line("seconds", "behind", source=sources["envelope"], **strong, **coloured(line_color="peak"))
        key(drawing, sources["key"], [("text", thin), ("peak", strong)])
        hover(
            drawing,
            [seen],
            {"at": "@seconds{0.00} s", "before": "@before{0.0} dBFS", "behind": "@behind{0.0} dBFS"},
            along=True,
        )
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The peaks in each of some hundred columns; what is below the picture lies on its ground."""
        before, behind = self.once(rendering, self._pair)
        seconds, earlier = peaks_over_time(before, _COLUMNS)
        at, later = peaks_over_time(behind, _COLUMNS)
        earlier, later = (np.clip(each, _FLOOR_DBFS, _TOP_DBFS) for each in (earlier, later))
        if len(at) != len(seconds):  # only for a handful of samples at another rate
            later = np.interp(seconds, at, later)
        first, then = self._words(rendering)
        return {
            "envelope": {"seconds": seconds, "before": earlier, "behind": later},
            "key": key_columns(
                [first, f"after the {then}"], 2, lambda part: part * before.seconds, _TOP_DBFS + _KEY_DB, _KEY_DB
            ),
        }

    def sentence(self, rendering: Rendering) -> str:
        """Peak, RMS and crest factor before and after."""
        pair = self.once(rendering, self._pair)
        first, then = self._words(rendering)
        if peak_dbfs(pair[0].samples).max() == -math.inf:
            return f"{first[:1].upper()}{first[1:]}: silence."
        said = [
            f"peak {dbfs(float(peak_dbfs(each.samples).max()))}, RMS {dbfs(float(rms_dbfs(each.samples).max()))}, "
            f"crest factor {crest_db(each.samples)[int(rms_dbfs(each.samples).argmax())]:.1f} dB"
            for each in pair
        ]
        return (
            f"{first[:1].upper()}{first[1:]}: {said[0]}; after the {then}: {said[1]}. "
            "The crest factor is peak − RMS + 3.0 dB."
        )
