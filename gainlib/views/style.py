"""How every picture is drawn: colours, strokes and frame, so that one line means one thing throughout the course."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np
from bokeh.models import ColumnDataSource, FixedTicker, Range1d
from bokeh.models.annotations import Span
from bokeh.plotting import figure

__all__ = [
    "FRAME_LEFT", "FRAME_RIGHT", "PALETTE", "STROKES", "coloured", "css_strokes", "css_variables", "cursor",
    "decibel_axis", "frame", "frame_height", "hatch", "hatched", "key", "key_columns", "sources_of", "stroke",
    "time_frame",
]  # fmt: skip

FRAME_LEFT: Final = 72
FRAME_RIGHT: Final = 14
"""Pixels from a figure's edge to its frame; what stands below a figure keeps the same distances."""

_EDGE: Final = 6

PALETTE: Final[dict[str, tuple[str, str]]] = {
    "peak": ("#0072B2", "#56B4E9"),
    "rms": ("#CC79A7", "#CC79A7"),
    "rms-text": ("#B0568A", "#CC79A7"),
    "noise": ("#5F6670", "#A9B1BC"),
    "third": ("#009E73", "#009E73"),
    "ceiling": ("#D55E00", "#E69F00"),
    "trouble": ("#B34E00", "#E69F00"),
    "text": ("#1A1D21", "#E8EAED"),
    "muted": ("#5F6670", "#A9B1BC"),
    "background": ("#FFFFFF", "#111111"),
    "band": ("#F3F5F7", "#1B1D20"),
    "grid": ("#DFE2E6", "#33373D"),
}
"""Each colour on a light and on a dark background: the Okabe-Ito set (*published*, Okabe and Ito 2002) and greys.

"trouble" and "rms-text" are the ceiling's and the RMS's colours, darkened on a light background until small text in
them has a contrast above 4.5:1. "band" sets a part of a page off from the rest.
"""

STROKES: Final[dict[str, tuple[str, float, tuple[int, ...]]]] = {
    "peak": ("peak", 2.5, ()),
    "rms": ("rms", 2.0, (6, 4)),
    "noise": ("noise", 1.5, (2, 4)),
    "ceiling": ("ceiling", 2.5, ()),
    "target": ("text", 1.5, (2, 4, 6, 4)),
}
"""How each kind of level is drawn in every picture: its colour of the palette, its width and its dashes, in pixels.

A threshold and what an order asks for are both a "target".
"""


def css_variables(dark: str = "") -> str:
    """The palette as CSS: `--gainlib-peak` and its fellows, for any page that draws or writes in these colours.

    Parameters
    ----------
    dark : str
        When the dark set holds, as CSS says it: a media query (`@media (prefers-color-scheme: dark)`) or a selector
        (`body[data-jp-theme-light="false"]`). Empty leaves the light set alone.

    Returns
    -------
    str
        One rule for `:root`, and one more for the dark.

    Examples
    --------
    >>> css_variables()[:30]
    ':root{--gainlib-peak:#0072B2;-'
    """
    light_set, dark_set = (
        ";".join(f"--gainlib-{name}:{pair[theme]}" for name, pair in PALETTE.items()) for theme in (0, 1)
    )
    rule = f"{dark}{{:root{{{dark_set}}}}}" if dark.startswith("@") else f"{dark}{{{dark_set}}}"
    return f":root{{{light_set}}}\n" + (f"{rule}\n" if dark else "")


def css_strokes() -> str:
    """The strokes as CSS, a class each, in the colours of `css_variables`.

    >>> css_strokes().splitlines()[1]
    '.rms{stroke:var(--gainlib-rms);stroke-width:2.0;stroke-dasharray:6 4}'
    """
    return "\n".join(
        f".{name}{{stroke:var(--gainlib-{colour});stroke-width:{width}"
        + (f";stroke-dasharray:{' '.join(map(str, dashes))}}}" if dashes else "}")
        for name, (colour, width, dashes) in STROKES.items()
    )


def stroke(kind: str) -> dict[str, Any]:
    """A stroke as drawing properties of a line.

    >>> stroke("noise")
    {'line_width': 1.5, 'line_dash': [2, 4], 'line_color': '#5F6670', 'tags': ['line_color=noise']}
    """
    colour, width, dashes = STROKES[kind]
    return {"line_width": width, **({"line_dash": list(dashes)} if dashes else {}), **coloured(line_color=colour)}


def coloured(**colours: str) -> dict[str, Any]:
    """Drawing properties in colours of the palette, with the tags by which a page changes them with its theme.

    >>> coloured(line_color="peak")
    {'line_color': '#0072B2', 'tags': ['line_color=peak']}
    """
    return {
        **{prop: PALETTE[colour][0] for prop, colour in colours.items()},
        "tags": [f"{prop}={colour}" for prop, colour in colours.items()],
    }


def frame(height: int, x_range: tuple[float, float], y_range: tuple[float, float], **given: Any) -> Any:
    """An empty figure as wide as its place, its frame at fixed distances, without tools that a glance does not need."""
    drawing = figure(
        height=height,
        sizing_mode="stretch_width",
        x_range=Range1d(start=x_range[0], end=x_range[1]),
        y_range=Range1d(start=y_range[0], end=y_range[1]),
        min_border_left=FRAME_LEFT,
        min_border_right=FRAME_RIGHT,
        min_border_top=_EDGE,
        min_border_bottom=_EDGE,
        toolbar_location=None,
        tools="",
        outline_line_color=None,
        **given,
    )
    # The page's own background shows through, light or dark.
    drawing.background_fill_color = drawing.border_fill_color = None
    drawing.xgrid.visible = False
    for grid in drawing.grid:
        grid.grid_line_color = PALETTE["grid"][0]
        grid.tags = ["grid_line_color=grid"]
    for axis in drawing.axis:
        axis.axis_line_color = None
        axis.major_tick_line_color = None
        axis.minor_tick_line_color = None
        axis.axis_label_text_font_style = "normal"
        axis.axis_label_text_font_size = axis.major_label_text_font_size = "12px"
        axis.axis_label_text_color = axis.major_label_text_color = PALETTE["muted"][0]
        axis.tags = ["axis_label_text_color=muted", "major_label_text_color=muted"]
    return drawing


def frame_height(height: int) -> int:
    """The pixels inside the frame of a figure that has no axis below."""
    return height - 2 * _EDGE


def decibel_axis(axis: Any, at: dict[float, str]) -> None:
    """Ticks at these values with these words, and no others."""
    axis.ticker = FixedTicker(ticks=list(at))
    axis.major_label_overrides = dict(at)


def cursor() -> Any:
    """The line that follows the player; it stays out of sight until something plays."""
    return Span(
        name="cursor", dimension="height", location=-1.0, line_width=1.5, level="overlay", **coloured(line_color="text")
    )


def time_frame(height: int, seconds: float, y_range: tuple[float, float], unit: str) -> Any:
    """An empty figure with seconds along and the line that follows the player."""
    drawing = frame(height, (0.0, seconds), y_range, x_axis_label="seconds", y_axis_label=unit)
    drawing.add_layout(cursor())
    return drawing


def sources_of(columns: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """A named source for each of a view's columns."""
    return {name: ColumnDataSource(data=dict(data), name=name) for name, data in columns.items()}


def hatched(drawing: Any, source: Any) -> None:
    """The hatch from a ceiling upward, its edge drawn."""
    hatch(drawing, source)
    drawing.segment("left", "bottom", "right", "bottom", source=source, **stroke("ceiling"))


def key_columns(
    texts: Sequence[str], each_row: int, along: Callable[[float], float], top: float, row: float
) -> dict[str, Any]:
    """Where the strokes of a picture and their names stand, in rows above all that is drawn."""
    at = np.arange(len(texts))
    part, y = (at % each_row) / each_row, top - row * (0.5 + at // each_row)
    return {
        "left": np.array([along(float(each) + 0.005) for each in part]),
        "right": np.array([along(float(each) + 0.040) for each in part]),
        "x": np.array([along(float(each) + 0.047) for each in part]),
        "y": y,
        "text": list(texts),
    }


def hatch(drawing: Any, source: Any) -> None:
    """The hatch of what lies beyond a ceiling, over each `left`, `right`, `top`, `bottom` of a source."""
    drawing.quad(
        "left", "right", "top", "bottom", source=source, fill_alpha=0.0, line_alpha=0.0,
        hatch_pattern="right_diagonal_line", hatch_alpha=0.55, hatch_weight=1.0, hatch_scale=8.0,
        **coloured(hatch_color="ceiling"),
    )  # fmt: skip


def key(drawing: Any, source: Any, strokes: Sequence[tuple[str, dict[str, Any]]]) -> None:
    """The strokes in their colours beside the words of the source `key`, which may change with every move."""
    for index, (ink, stroke) in enumerate(strokes):
        left, right, y = (source.data[name][index] for name in ("left", "right", "y"))
        drawing.segment([left], [y], [right], [y], **stroke, **coloured(line_color=ink))
    drawing.text("x", "y", "text", source=source, text_font_size="12px", text_baseline="middle",
                 **coloured(text_color="text"))  # fmt: skip
