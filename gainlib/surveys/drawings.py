"""The pictures of the gain sheet, drawn in the page itself: levels before and after, waveforms with marks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from gainlib.decibels import db_from_ratio
from gainlib.surveys.checks import Fault
from gainlib.surveys.stem import Stem
from gainlib.text import clock

__all__ = ["Column", "level_diagram", "waveform"]

_TOP_DB, _BOTTOM_DB = 6.0, -84.0
_WIDTH, _LEFT = 1000.0, 54.0
_HEIGHT, _FEET = 300.0, 84.0
_GRID_DB = 12


@dataclass(frozen=True)
class Column:
    """One column of a level diagram: its name, peak, AES17 RMS and noise floor, None where that is not known."""

    name: str
    peak_dbfs: float
    rms_dbfs: float
    noise_dbfs: float | None
    marked: bool = False


def _y(level_dbfs: float) -> float:
    return _HEIGHT * (_TOP_DB - min(max(level_dbfs, _BOTTOM_DB), _TOP_DB)) / (_TOP_DB - _BOTTOM_DB)


def _minus(value: float, digits: int = 0) -> str:
    if math.isinf(value):
        return "−∞" if value < 0 else "∞"
    text = f"{abs(value):.{digits}f}"
    return f"−{text}" if value < 0 and float(text) else text


def level_diagram(columns: Sequence[Column], said: str, *, target_dbfs: float | None = None, last: int = 0) -> str:
    """Columns side by side, each a band from the noise floor to the peak, under the hatched ceiling at 0 dBFS.

    `said` is the same in words, for who cannot see it; `target_dbfs` is drawn through, and before the `last` columns,
    the sum and the main, stands a seam.

    >>> level_diagram([Column("bass", -10.0, -20.0, -70.0)], "bass: peak −10 dBFS").startswith("<svg")
    True
    """
    width = (_WIDTH - _LEFT) / max(1, len(columns))
    parts = [
        f'<svg class="diagram" viewBox="0 -18 {_WIDTH:g} {_HEIGHT + _FEET + 18:g}" role="img" '
        f'aria-label="{escape(said, quote=True)}">',
        '<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<line class="hatch" x1="0" y1="0" x2="0" y2="7"/></pattern></defs>',
    ]
    for level in range(int(_BOTTOM_DB) + _GRID_DB, 1, _GRID_DB):
        y = _y(level)
        parts.append(f'<line class="grid" x1="{_LEFT:g}" x2="{_WIDTH:g}" y1="{y:.1f}" y2="{y:.1f}"/>')
        parts.append(f'<text class="axis" x="{_LEFT - 6:g}" y="{y + 4:.1f}" text-anchor="end">{_minus(level)}</text>')
    parts.append('<text class="axis" x="4" y="-6">dBFS</text>')
    parts.append(
        f'<rect fill="url(#hatch)" x="{_LEFT:g}" y="0" width="{_WIDTH - _LEFT:g}" height="{_y(0.0):.1f}"/>'
        f'<line class="ceiling" x1="{_LEFT:g}" x2="{_WIDTH:g}" y1="{_y(0.0):.1f}" y2="{_y(0.0):.1f}"/>'
    )
    if last:
        seam = _LEFT + width * (len(columns) - last)
        parts.append(f'<line class="seam" x1="{seam:.1f}" x2="{seam:.1f}" y1="0" y2="{_HEIGHT + _FEET:g}"/>')
    if target_dbfs is not None:
        end = _LEFT + width * (len(columns) - last)
        y = _y(target_dbfs)
        parts.append(f'<line class="target" x1="{_LEFT:g}" x2="{end:.1f}" y1="{y:.1f}" y2="{y:.1f}"/>')
    letters = 18
    for index, each in enumerate(columns):
        left, right = _LEFT + width * (index + 0.12), _LEFT + width * (index + 0.88)
        middle = (left + right) / 2
        floor = _BOTTOM_DB if each.noise_dbfs is None else each.noise_dbfs
        top, low = _y(each.peak_dbfs), _y(floor)
        parts.append(
            f'<rect class="river" x="{left:.1f}" y="{top:.1f}" width="{right - left:.1f}" '
            f'height="{max(0.0, low - top):.1f}"/>'
        )
        for kind, line in (("noise", each.noise_dbfs), ("rms", each.rms_dbfs), ("peak", each.peak_dbfs)):
            if line is not None and line > _BOTTOM_DB:
                y = _y(line)
                parts.append(f'<line class="{kind}" x1="{left:.1f}" x2="{right:.1f}" y1="{y:.1f}" y2="{y:.1f}"/>')
        if width >= 26:
            mark = "▲" if each.peak_dbfs > _TOP_DB else ""
            y = -5.0 if top < 14.0 else top - 5
            parts.append(
                f'<text class="number" x="{middle:.1f}" y="{y:.1f}" text-anchor="middle">'
                f"{mark}{_minus(each.peak_dbfs, 1 if width >= 40 else 0)}</text>"
            )
        name = each.name if len(each.name) <= letters else f"{each.name[: letters - 1]}…"
        kind = "stem marked" if each.marked else "stem"
        sign = "▼ " if each.marked else ""
        if width >= 14:
            parts.append(
                f'<text class="{kind}" transform="translate({middle + 4:.1f} {_HEIGHT + 14:g}) rotate(-38)" '
                f'text-anchor="end">{escape(sign + name)}</text>'
            )
    parts.append("</svg>")
    return "".join(parts)


def waveform(stem: Stem, faults: Sequence[Fault]) -> str:
    """A stem's outline against its own peak, a mark over each place where something is wrong.

    >>> from gainlib.storage import bundled
    >>> from gainlib.surveys.stem import measured
    >>> waveform(measured(bundled("media/kick.flac"), "kick"), ()).startswith("<svg")
    True
    """
    lows, highs = stem.lowest.astype(np.float64), stem.highest.astype(np.float64)
    if len(lows) > 240:  # a column of a small picture is two pixels wide
        edges = np.arange(240) * len(lows) // 240
        lows, highs = np.minimum.reduceat(lows, edges), np.maximum.reduceat(highs, edges)
    peak = max(float(np.abs(lows).max()), float(np.abs(highs).max())) or 1.0
    height, width = 54.0, 480.0
    at = np.arange(len(lows)) * width / max(1, len(lows) - 1)

    def points(values: np.ndarray, order: slice) -> str:
        y = height / 2 * (1.0 - values / peak)
        return " ".join(f"{one:.0f},{other:.1f}" for one, other in zip(at[order], y[order], strict=True))

    runs = [stem.clipped] if any(each.kind == "clipped" for each in faults) else []
    runs += [stem.flat] if any(each.kind == "flat tops" for each in faults) else []
    marks = sorted({round(start / stem.frames * width) for each in runs for start in each.start.tolist()})
    told = ", ".join(f"{each.kind} {each.count} times" for each in faults if each.places)
    level = f"peak {_minus(db_from_ratio(peak), 1)} dBFS"
    said = f"{stem.name}, {clock(stem.seconds)} long, {level}{f', marked: {told}' if told else ''}"
    drawn = "".join(_marks(marks, height))
    return (
        f'<svg class="wave" viewBox="-4 -10 {width + 8:g} {height + 12:g}" role="img" '
        f'aria-label="{escape(said, quote=True)}"><line class="grid" x1="0" x2="{width:g}" y1="{height / 2:g}" '
        f'y2="{height / 2:g}"/><polygon class="outline" points="{points(highs, slice(None))} '
        f'{points(lows, slice(None, None, -1))}"/>{drawn}</svg>'
    )


def _marks(at: Sequence[int], height: float) -> Iterable[str]:
    """A triangle over each place that stands alone, a bar over those that crowd."""
    passages: list[tuple[int, int]] = []
    for x in at:
        if passages and x - passages[-1][1] <= 8:
            passages[-1] = (passages[-1][0], x)
        else:
            passages.append((x, x))
    for first, last in passages:
        if last - first < 8:
            x = (first + last) // 2
            yield f'<path class="mark" d="M{x - 4} -9h8l-4 8z"/>'
            yield f'<line class="mark" x1="{x}" x2="{x}" y1="-1" y2="{height:g}"/>'
        else:
            yield f'<path class="mark" d="M{first} -8h{last - first}v5h-{last - first}z"/>'
            for x in (first, last):
                yield f'<line class="mark" x1="{x}" x2="{x}" y1="-3" y2="{height:g}"/>'
