"""The pictures of the gain sheet, drawn in the page itself: levels before and after, waveforms with marks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gainlib.decibels import db_from_ratio
from gainlib.html.pages import part
from gainlib.surveys.checks import Fault
from gainlib.surveys.stem import Stem
from gainlib.text import clock, signed

__all__ = ["Levels", "level_diagram", "waveform"]

_TOP_DB, _BOTTOM_DB = 6.0, -84.0
_WIDTH, _LEFT = 1000, 54
_HEIGHT, _FOOT = 300, 84
_GRID_DB = 12
_LONGEST_NAME = 18
_WAVE_WIDTH, _WAVE_HEIGHT, _WAVE_STEPS = 480, 54, 240  # a step of a small picture is two pixels wide
_CROWD = 8


@dataclass(frozen=True)
class Levels:
    """One column of a level diagram: its name, peak, AES17 RMS and noise, None where that is not known."""

    name: str
    peak_dbfs: float
    rms_dbfs: float
    noise_dbfs: float | None
    marked: bool = False


def level_diagram(columns: Sequence[Levels], said: str, *, target_dbfs: float | None = None, last: int = 0) -> str:
    """Columns side by side, each a band from its noise to its peak, under the hatched ceiling at 0 dBFS.

    `said` is the same in words, for who cannot see it; `target_dbfs` is drawn through, and before the `last` columns,
    the sum and the main, stands a seam.

    >>> level_diagram([Levels("bass", -10.0, -20.0, -70.0)], "bass: peak −10 dBFS").startswith("<svg")
    True
    """
    width = (_WIDTH - _LEFT) / max(1, len(columns))
    return part(
        "level_diagram.svg",
        said=said, width=_WIDTH, left=_LEFT, height=_HEIGHT, foot=_FOOT, ceiling=_y(0.0),
        grid=[(_y(level), _plain(level)) for level in range(int(_BOTTOM_DB) + _GRID_DB, 1, _GRID_DB)],
        seam=round(_LEFT + width * (len(columns) - last), 1) if last else None,
        target=None if target_dbfs is None else _y(target_dbfs),
        columns=[_column(column, _LEFT + width * index, width) for index, column in enumerate(columns)],
    )  # fmt: skip


def _column(levels: Levels, start: float, width: float) -> dict[str, object]:
    """Where everything of one column stands."""
    left, right, top = start + 0.12 * width, start + 0.88 * width, _y(levels.peak_dbfs)
    low = _y(_BOTTOM_DB if levels.noise_dbfs is None else levels.noise_dbfs)
    lines = (("noise", levels.noise_dbfs), ("rms", levels.rms_dbfs), ("peak", levels.peak_dbfs))
    beyond = "▲" if levels.peak_dbfs > _TOP_DB else ""
    name = levels.name if len(levels.name) <= _LONGEST_NAME else f"{levels.name[: _LONGEST_NAME - 1]}…"
    return {
        "left": round(left, 1), "right": round(right, 1), "middle": round((left + right) / 2, 1),
        "width": round(right - left, 1), "top": top, "height": round(max(0.0, low - top), 1),
        "lines": [(stroke, _y(line)) for stroke, line in lines if line is not None and line > _BOTTOM_DB],
        "number": f"{beyond}{_plain(levels.peak_dbfs, 1 if width >= 40 else 0)}" if width >= 26 else "",
        "number_y": _beside(top, (_y(0.0), _y(levels.rms_dbfs))),
        "name": name if width >= 14 else "", "marked": levels.marked,
    }  # fmt: skip


def _beside(top: float, lines: Sequence[float]) -> float:
    """Where the number of a peak stands: above it, or below where a line would go through it."""
    if top < 14.0:
        return -5.0
    free = (y for y in (top - 5, top + 14) if not any(y - 12 < line < y + 2 for line in lines))
    return round(next(free, top - 5), 1)


def waveform(stem: Stem, faults: Sequence[Fault]) -> str:
    """A stem's outline against its own peak, a mark over each place where something is wrong.

    >>> from gainlib.storage import bundled
    >>> from gainlib.surveys.stem import measure_stem
    >>> waveform(measure_stem(bundled("media/kick.flac"), "kick"), ()).startswith("<svg")
    True
    """
    lows, highs = stem.lowest.astype(np.float64), stem.highest.astype(np.float64)
    if len(lows) > _WAVE_STEPS:
        edges = np.arange(_WAVE_STEPS) * len(lows) // _WAVE_STEPS
        lows, highs = np.minimum.reduceat(lows, edges), np.maximum.reduceat(highs, edges)
    peak = max(float(np.abs(lows).max()), float(np.abs(highs).max())) or 1.0
    along = np.arange(len(lows)) * _WAVE_WIDTH / max(1, len(lows) - 1)
    x = np.concatenate((along, along[::-1]))
    y = _WAVE_HEIGHT / 2 * (1.0 - np.concatenate((highs, lows[::-1])) / peak)
    runs = [stem.clipped] if any(fault.kind == "clipped" for fault in faults) else []
    runs += [stem.flat] if any(fault.kind == "flat tops" for fault in faults) else []
    others = [place.sample for fault in faults if fault.kind not in ("clipped", "flat tops") for place in fault.places]
    starts = [start for run in runs for start in run.start.tolist()] + others
    told = ", ".join(f"{fault.kind} {fault.count} times" for fault in faults if fault.places)
    level = f"peak {_plain(db_from_ratio(peak), 1)} dBFS"
    return part(
        "waveform.svg",
        said=f"{stem.name}, {clock(stem.seconds)} long, {level}{f', marked: {told}' if told else ''}",
        width=_WAVE_WIDTH, height=_WAVE_HEIGHT, points=" ".join(map("{:.0f},{:.1f}".format, x, y)),
        marks=_marks({round(start / stem.frames * _WAVE_WIDTH) for start in starts}),
    )  # fmt: skip


def _marks(places: set[int]) -> list[tuple[int, int]]:
    """From where to where a mark goes: over one place that stands alone, over several that crowd."""
    passages: list[tuple[int, int]] = []
    for x in sorted(places):
        if passages and x - passages[-1][1] <= _CROWD:
            passages[-1] = (passages[-1][0], x)
        else:
            passages.append((x, x))
    return [
        (first, last) if last - first >= _CROWD else ((first + last) // 2, (first + last) // 2)
        for first, last in passages
    ]


def _y(level_dbfs: float) -> float:
    return round(_HEIGHT * (_TOP_DB - min(max(level_dbfs, _BOTTOM_DB), _TOP_DB)) / (_TOP_DB - _BOTTOM_DB), 1)


def _plain(level: float, digits: int = 0) -> str:
    return signed(level, digits, "", plus=False)
