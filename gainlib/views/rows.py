"""Levels of several signals on one axis: a row each, RMS dashed, peak solid, figures beside."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from gainlib.flow import Rendering
from gainlib.text import level
from gainlib.views.base import Columns, View
from gainlib.views.style import coloured, decibel_axis, frame, hover, sources_of, write

__all__ = ["Row", "RowView"]

_LOW, _HIGH = -70.0, 12.0
_NAMES_DB, _FIGURES_DB = 26.0, 30.0  # beside the axis: names on the left, figures on the right
_ROW_PX = 26
_EDGES_PX = 78


@dataclass(frozen=True)
class Row:
    """One signal: its name, its peak and RMS in dBFS (NaN for none to be shown), a word of trouble, and how it stands.

    `strong` rows are sums.
    """

    name: str
    peak_dbfs: float
    rms_dbfs: float
    trouble: str = ""
    strong: bool = False


class RowView(View):
    """A view of a row a signal; `rows` says which, `height` is the least, in pixels."""

    def __init__(self, *, height: int = 130) -> None:
        self.height = height

    def rows(self, rendering: Rendering) -> Sequence[Row]:
        """The signals from top to bottom."""
        raise NotImplementedError

    def figure(self, rendering: Rendering) -> Any:
        """dBFS along, one row a signal."""
        return _figure(self.once(rendering, self.rows), self.height)

    def columns(self, rendering: Rendering) -> Columns:
        """The rows in their order."""
        return _columns(self.once(rendering, self.rows))


def _figure(rows: Sequence[Row], least_height: int) -> Any:
    """dBFS along, one row a signal, hatched beyond full scale."""
    count = len(rows)
    drawing = frame(
        max(least_height, _EDGES_PX + _ROW_PX * (count + 1)),
        (_LOW - _NAMES_DB, _HIGH + _FIGURES_DB), (-0.6, count + 0.6), x_axis_label="level, dBFS",
    )  # fmt: skip
    drawing.yaxis.visible = False
    drawing.ygrid.visible = False
    drawing.xgrid.visible = True
    decibel_axis(drawing.xaxis, {each: level(each) for each in range(int(_LOW), 1, 10)})
    drawing.xgrid.ticker = drawing.xaxis[0].ticker
    drawing.xgrid.bounds = (_LOW, _HIGH)
    sources = sources_of(_columns(rows))
    drawing.quad(
        [0.0], [_HIGH], [count - 0.4], [-0.5], fill_alpha=0.0, line_alpha=0.0, hatch_pattern="right_diagonal_line",
        hatch_alpha=0.35, hatch_weight=1.0, hatch_scale=8.0, **coloured(hatch_color="ceiling"),
    )  # fmt: skip
    body = drawing.quad("low", "peak", "above", "below", source=sources["rows"], fill_alpha=0.20, line_alpha=0.0,
                        **coloured(fill_color="peak"))  # fmt: skip
    drawing.segment("rms", "below", "rms", "above", source=sources["rms"], line_width=3.0, line_dash=[4, 2],
                    **coloured(line_color="rms"))  # fmt: skip
    drawing.segment("peak", "below", "peak", "above", source=sources["peaks"], line_width=3.0,
                    **coloured(line_color="peak"))  # fmt: skip
    plain: dict[str, Any] = {"text_font_size": "12px", "text_baseline": "middle"}
    write(drawing, sources["names"], text_align="left")
    for column in ("peak_text", "rms_text"):
        write(drawing, sources["figures"], x=f"x_{column}", text=column, text_align="right")
    write(drawing, sources["trouble"], "trouble", text_align="left", text_font_style="bold")
    top = count + 0.1
    drawing.text([_HIGH + 14.0], [top], ["peak"], text_align="right", text_font_style="bold", **plain,
                 **coloured(text_color="peak"))  # fmt: skip
    drawing.text([_HIGH + _FIGURES_DB - 1.0], [top], ["RMS"], text_align="right", **plain,
                 **coloured(text_color="muted"))  # fmt: skip
    hover(drawing, [body], {"signal": "@name", "peak": "@peak_text dBFS", "RMS": "@rms_text dBFS"})
    return drawing


def _columns(rows: Sequence[Row]) -> Columns:
    """Where each row's strokes and words stand, the first row on top."""
    count = len(rows)
    y = count - 1.0 - np.arange(count)
    peak, rms = (
        np.array([getattr(each, f"{line}_dbfs") for each in rows], dtype=float).reshape(-1) for line in ("peak", "rms")
    )
    drawn_peak, drawn_rms = (np.clip(np.nan_to_num(each, nan=-math.inf), _LOW, _HIGH) for each in (peak, rms))
    half = np.array([0.36 if each.strong else 0.26 for each in rows], dtype=float)
    peaked, heard = (np.flatnonzero(np.isfinite(each) & (each >= _LOW)) for each in (peak, rms))
    troubled = [index for index, each in enumerate(rows) if each.trouble]
    peak_text, rms_text = ([_printed(float(each)) for each in levels] for levels in (peak, rms))
    return {
        "rows": {
            "low": np.minimum(drawn_rms, drawn_peak),
            "peak": drawn_peak,
            "above": y + half,
            "below": y - half,
            "name": [each.name for each in rows],
            "peak_text": peak_text,
            "rms_text": rms_text,
        },
        "peaks": {"peak": drawn_peak[peaked], "above": (y + half)[peaked], "below": (y - half)[peaked]},
        "rms": {"rms": drawn_rms[heard], "above": (y + half)[heard], "below": (y - half)[heard]},
        "names": {
            "x": np.full(count, _LOW - _NAMES_DB + 0.5),
            "y": y,
            "text": [_short(each.name) for each in rows],
        },
        "figures": {
            "x_peak_text": np.full(count, _HIGH + 14.0),
            "x_rms_text": np.full(count, _HIGH + _FIGURES_DB - 1.0),
            "y": y,
            "peak_text": peak_text,
            "rms_text": rms_text,
        },
        "trouble": {
            "x": np.full(len(troubled), _LOW + 1.0),
            "y": y[troubled],
            "text": [f"▼ {rows[index].trouble}" for index in troubled],
        },
    }


def _printed(value: float) -> str:
    if math.isnan(value):
        return ""
    if math.isinf(value):
        return "−∞"
    return f"{'−' if round(value, 1) < 0 else '+' if round(value, 1) > 0 else ''}{abs(value):.1f}"


def _short(name: str) -> str:
    return name if len(name) <= 24 else f"{name[:23]}…"
