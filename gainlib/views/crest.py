"""The crest factor as a figure of its own, drawn from the plain RMS up to the peak."""

from __future__ import annotations

import math
from typing import Any, ClassVar, NamedTuple

import numpy as np

from gainlib.audio import Audio
from gainlib.flow import Rendering
from gainlib.meters import crest_db, peak_dbfs, rms_dbfs
from gainlib.text import dbfs, level
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.signal_path import entering, last_of
from gainlib.views.style import coloured, decibel_axis, frame, hover, sources_of, write

__all__ = ["AES17_OVER_PLAIN_RMS_DB", "CrestFactor"]

AES17_OVER_PLAIN_RMS_DB = 20.0 * math.log10(math.sqrt(2.0))
"""How much higher AES17 reads than the plain RMS does, so that a sine reads its peak: 3.01 dB (*published*, AES17)."""

_LOW, _HIGH = -70.0, 6.0
_NAMES_DB, _FIGURES_DB = 30.0, 34.0  # beside the axis: names on the left, the figure on the right
_HALF = 0.3


class _Read(NamedTuple):
    peak_dbfs: float
    rms_dbfs: float
    crest_db: float


class CrestFactor(TapView):
    """How far the peak stands over the plain RMS, before a stage and after it: peak − RMS (AES17) + 3.0 dB.

    `tap` is the stage, by default the last that can change the crest factor, which no plain gain does. The solid stroke
    is the peak, the dashed one the RMS as meters read it (AES17), and the line reaches from the plain RMS, 3.0 dB below
    that, up to the peak: its length is the figure. Of several channels the one with the largest crest factor is shown,
    as the measure `crest_db` has it.
    """

    name: ClassVar[str] = "crest factor"
    title: ClassVar[str] = "Crest factor"
    height = 124

    def usual_tap(self, rendering: Rendering) -> str:
        """The last stage that bends or holds the level, else the last of all."""
        return last_of(rendering, lambda stage: stage.bends or stage.traced) or rendering.last_tap

    def _rows(self, rendering: Rendering) -> dict[str, _Read]:
        tap = self.tap_of(rendering)
        where = of_tap(rendering, tap)
        return {
            f"before the {where}": _read(entering(rendering, tap)),
            f"after the {where}": _read(rendering.at(tap)),
        }

    def figure(self, rendering: Rendering) -> Any:
        """dBFS along, a row before the stage and one after it, the figure beside each."""
        drawing = frame(self.height, (_LOW - _NAMES_DB, _HIGH + _FIGURES_DB), (-0.6, 2.5), x_axis_label="level, dBFS")
        drawing.yaxis.visible = False
        drawing.ygrid.visible = False
        decibel_axis(drawing.xaxis, {each: level(each) for each in range(int(_LOW), 1, 10)})
        sources = sources_of(self.columns(rendering))
        body = drawing.quad("plain", "peak", "above", "below", source=sources["rows"], fill_alpha=0.16, line_alpha=0.0,
                            **coloured(fill_color="peak"))  # fmt: skip
        drawing.segment("plain", "y", "peak", "y", source=sources["rows"], line_width=1.5,
                        **coloured(line_color="text"))  # fmt: skip
        drawing.segment("rms", "below", "rms", "above", source=sources["rows"], line_width=3.0, line_dash=[4, 2],
                        **coloured(line_color="rms"))  # fmt: skip
        drawing.segment("peak", "below", "peak", "above", source=sources["rows"], line_width=3.0,
                        **coloured(line_color="peak"))  # fmt: skip
        plain: dict[str, Any] = {"text_font_size": "12px", "text_baseline": "middle"}
        write(drawing, sources["names"], text="name", text_align="left")
        write(drawing, sources["figures"], text_align="right", text_font_style="bold", text_font_size="13px")
        drawing.text([_HIGH + _FIGURES_DB - 1.0], [2.0], ["peak − RMS + 3.0 dB"], text_align="right", **plain,
                     **coloured(text_color="muted"))  # fmt: skip
        hover(drawing, [body], {"where": "@name", "peak": "@peak_said", "RMS": "@rms_said", "crest": "@crest"})
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The strokes and the figure of both rows, the one before the stage on top; none for silence."""
        rows = self.once(rendering, self._rows)
        heard = [(1.0 - index, name, read) for index, (name, read) in enumerate(rows.items()) if _sounds(read)]
        y = np.array([at for at, _, _ in heard], dtype=float)
        peak, rms = (
            np.array([getattr(read, line) for _, _, read in heard], dtype=float) for line in ("peak_dbfs", "rms_dbfs")
        )
        return {
            "rows": {
                "y": y,
                "above": y + _HALF,
                "below": y - _HALF,
                "peak": np.clip(peak, _LOW, _HIGH),
                "rms": np.clip(rms, _LOW, _HIGH),
                "plain": np.clip(rms - AES17_OVER_PLAIN_RMS_DB, _LOW, _HIGH),
                "name": [name for _, name, _ in heard],
                "peak_said": [dbfs(each) for each in peak],
                "rms_said": [dbfs(each) for each in rms],
                "crest": [f"{read.crest_db:.1f} dB" for _, _, read in heard],
            },
            "names": {"x": np.full(2, _LOW - _NAMES_DB + 0.5), "y": np.array([1.0, 0.0]), "name": list(rows)},
            "figures": {
                "x": np.full(2, _HIGH + _FIGURES_DB - 1.0),
                "y": np.array([1.0, 0.0]),
                "text": [f"{read.crest_db:.1f} dB" if _sounds(read) else "silence" for read in rows.values()],
            },
        }

    def sentence(self, rendering: Rendering) -> str:
        """The figure after the stage, how it follows from the two lines, and the figure before it."""
        (first, before), (then, after) = self.once(rendering, self._rows).items()
        if not _sounds(after):
            return f"{then[:1].upper()}{then[1:]}: silence."
        said = (
            f"{then[:1].upper()}{then[1:]} the crest factor is {after.crest_db:.1f} dB: peak {dbfs(after.peak_dbfs)}, "
            f"less RMS {dbfs(after.rms_dbfs)}, plus {AES17_OVER_PLAIN_RMS_DB:.1f} dB, since the RMS is "
            "read that much higher than the plain one"
        )
        return f"{said}; {first} it is {before.crest_db:.1f} dB." if _sounds(before) else f"{said}."


def _sounds(read: _Read) -> bool:
    return math.isfinite(read.peak_dbfs)


def _read(audio: Audio) -> _Read:
    crests = crest_db(audio.samples)
    most = int(crests.argmax())
    return _Read(float(peak_dbfs(audio.samples)[most]), float(rms_dbfs(audio.samples)[most]), float(crests[most]))
