"""How every picture is drawn: colours, strokes and frame, so that one line means one thing throughout the course.

Bokeh is opened with the first picture: whoever asks a view for its name or its sentence needs none of it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, Final, Literal

import numpy as np

from gainlib.palette import PALETTE, STROKES

__all__ = [
    "FRAME_LEFT", "FRAME_RIGHT", "FRAME_SCALE", "amplitude_frame", "beyond_full_scale", "coloured", "decibel_axis",
    "frame", "frame_height", "hatch", "hatched", "hover", "key", "key_columns", "level_axis", "second_scale",
    "sources_of", "stroke", "time_along", "time_frame", "words_at", "write",
]  # fmt: skip

FRAME_LEFT: Final = 72
FRAME_RIGHT: Final = 14
"""Pixels from a figure's edge to its frame; what stands below a figure keeps the same distances."""

FRAME_SCALE: Final = 64
"""The same at the right of a figure that has a second scale there."""

_EDGE: Final = 6


def stroke(kind: str) -> dict[str, Any]:
    """A stroke as drawing properties of a line.

    >>> stroke("noise") == {"line_width": 1.5, "line_dash": [2, 4], **coloured(line_color="noise")}
    True
    """
    colour, width, dashes = STROKES[kind]
    return {"line_width": width, **({"line_dash": list(dashes)} if dashes else {}), **coloured(line_color=colour)}


def coloured(**colours: str) -> dict[str, Any]:
    """Drawing properties in colours of the palette, with the tags by which a page changes them with its theme.

    >>> coloured(line_color="peak") == {"line_color": PALETTE["peak"][0], "tags": ["line_color=peak"]}
    True
    """
    return {
        **{prop: PALETTE[colour][0] for prop, colour in colours.items()},
        "tags": [f"{prop}={colour}" for prop, colour in colours.items()],
    }


def frame(height: int, x_range: tuple[float, float], y_range: tuple[float, float], **given: Any) -> Any:
    """An empty figure as wide as its place, its frame at fixed distances, without tools that a glance does not need."""
    from bokeh.models import Range1d
    from bokeh.plotting import figure

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
    for kind in ("line", "quad", "rect", "scatter", "segment", "text", "varea"):
        object.__setattr__(drawing, kind, partial(_drawn, drawing, kind))  # in place of the figure's method
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


def _drawn(drawing: Any, kind: str, *places: Any, source: Any = None, **given: Any) -> Any:
    """One glyph, as the figure's method of that name draws it; which makes two more, for what is not selected or muted.

    Nothing is selected here nor muted, and making, sending and painting those was most of a picture's work.
    """
    from bokeh.models import ColumnDataSource, glyphs

    glyph = getattr(glyphs, {"varea": "VArea"}.get(kind, kind.title()))
    columns = dict(zip(glyph._args, places, strict=False))
    if source is None:
        source = ColumnDataSource(data={name: values for name, values in columns.items() if isinstance(values, list)})
        columns |= dict(zip(source.data, source.data, strict=True))
    return drawing.add_glyph(source, glyph(**columns, **given))


def frame_height(height: int) -> int:
    """The pixels inside the frame of a figure that has no axis below."""
    return height - 2 * _EDGE


def level_axis(drawing: Any, at: Mapping[float, str]) -> None:
    """Ticks up the side at these values with these words, a line of the grid at each."""
    decibel_axis(drawing.yaxis, at)
    drawing.ygrid.ticker = drawing.yaxis[0].ticker


def second_scale(drawing: Any, label: str, at: Mapping[float, str], start: float, end: float) -> None:
    """A scale of its own at the right; its range is named after the label, so that the columns can move it."""
    from bokeh.models import LinearAxis, Range1d

    drawing.extra_y_ranges = {label: Range1d(start=start, end=end, name=label)}
    axis = LinearAxis(
        y_range_name=label, axis_label=label, axis_line_color=None, major_tick_line_color=None,
        minor_tick_line_color=None, axis_label_text_font_style="normal", axis_label_text_font_size="12px",
        major_label_text_font_size="12px", axis_label_text_color=PALETTE["muted"][0],
        major_label_text_color=PALETTE["muted"][0], axis_label_standoff=2, major_label_standoff=2,
        tags=["axis_label_text_color=muted", "major_label_text_color=muted"],
    )  # fmt: skip
    decibel_axis(axis, at)
    drawing.add_layout(axis, "right")
    drawing.min_border_right = FRAME_SCALE


def decibel_axis(axis: Any, at: Mapping[float, str]) -> None:
    """Ticks at these values with these words, and no others."""
    from bokeh.models import FixedTicker

    axis.ticker = FixedTicker(ticks=list(at))
    axis.major_label_overrides = dict(at)


def time_along(drawing: Any) -> Any:
    """The figure, marked as one along which seconds run: a page draws the line that follows the player over it."""
    drawing.tags = ["time along"]
    return drawing


def time_frame(height: int, seconds: float, y_range: tuple[float, float], unit: str) -> Any:
    """An empty figure with seconds along and the line that follows the player."""
    return time_along(frame(height, (0.0, seconds), y_range, x_axis_label="seconds", y_axis_label=unit))


def amplitude_frame(
    height: int, x_range: tuple[float, float], x_label: str, top: float, levels: Mapping[int, str]
) -> Any:
    """An empty figure of samples up to `top`, full scale at 1, with words at these levels in dBFS on both sides."""
    drawing = frame(height, x_range, (-top, top), x_axis_label=x_label, y_axis_label="dBFS")
    ticks = {sign * round(10 ** (level / 20), 6): word for level, word in levels.items() for sign in (1, -1)}
    level_axis(drawing, {**ticks, 0.0: "−∞"})
    return drawing


def beyond_full_scale(left: float, right: float, top: float) -> dict[str, Any]:
    """What `hatch` draws on both sides of an `amplitude_frame`."""
    return {
        "left": np.full(2, left),
        "right": np.full(2, right),
        "bottom": np.array([1.0, -top]),
        "top": np.array([top, -1.0]),
    }


def sources_of(columns: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """A named source for each of a view's columns."""
    from bokeh.models import ColumnDataSource

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
    write(drawing, source)


def write(
    drawing: Any, source: Any, ink: str = "text", *, x: str = "x", y: str = "y", text: str = "text", **given: Any
) -> None:
    """The words of a source in the middle of their height, in a colour of the palette."""
    properties = {"text_font_size": "12px", "text_baseline": "middle", **given}
    drawing.text(x, y, text, source=source, **properties, **coloured(text_color=ink))


def words_at(placed: Sequence[tuple[float, float, str]]) -> dict[str, Any]:
    """The columns that `write` reads of words, each with the place where it stands.

    >>> words_at([(1.0, 2.0, "peak")])
    {'x': array([1.]), 'y': array([2.]), 'text': ['peak']}
    """
    return {
        "x": np.array([x for x, _, _ in placed]),
        "y": np.array([y for _, y, _ in placed]),
        "text": [text for _, _, text in placed],
    }


def hover(drawing: Any, seen: Sequence[Any], told: Mapping[str, str], *, along: bool = False) -> None:
    """What is told where the pointer stands on something seen; with `along`, wherever it stands above or below."""
    from bokeh.models import HoverTool

    mode: Literal["vline", "mouse"] = "vline" if along else "mouse"
    drawing.add_tools(HoverTool(renderers=list(seen), tooltips=list(told.items()), mode=mode))
