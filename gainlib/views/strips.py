"""All strips as small bands side by side, the one in trouble first."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np

from gainlib.flow import Rendering, TapLevels
from gainlib.text import counted, dbfs, left, plain, times
from gainlib.views.base import Columns, View
from gainlib.views.phrasing import floor_words, of_tap
from gainlib.views.style import coloured, frame, hover, sources_of, words_at, write

__all__ = ["Strips"]

_LOWEST, _HIGHEST = -100.0, 12.0
_EACH_ROW = 8
_ROW_PX = 118
_BAND = (0.33, 0.97)  # of a row's height; below it stand the name and what is left
_EDGES = (0.06, 0.94)


class Strips(View):
    """Peak, RMS and noise floor of every strip, small, with the least room that any of its stages leaves.

    Strips that clip come first, the worst on the left; the others keep the session's order. Buses and the main follow.
    `buses=False` leaves these out.
    """

    name: ClassVar[str] = "strips"
    title: ClassVar[str] = "All strips, trouble first"

    def __init__(self, *, buses: bool = True) -> None:
        self.buses = buses

    def _tables(self, rendering: Rendering) -> list[list[TapLevels]]:
        parts = rendering.session.channels if self.buses else rendering.session.strips
        tables = [[each for each in rendering.levels if each.strip == part.name] for part in parts]
        return sorted(tables, key=lambda table: -_clipped(table))

    def figure(self, rendering: Rendering) -> Any:
        """One small band a strip, in rows of eight; no axis, since each stands between −100 and +12 dBFS."""
        rows = math.ceil(len(self._tables(rendering)) / _EACH_ROW)
        drawing = frame(rows * _ROW_PX + 12, (0.0, float(_EACH_ROW)), (-float(rows), 0.0))
        drawing.axis.visible = False
        drawing.ygrid.visible = False
        sources = sources_of(self.columns(rendering))
        drawing.quad("left", "right", "peak", "noise", source=sources["stages"], fill_alpha=0.16, line_alpha=0.0,
                     **coloured(fill_color="peak"))  # fmt: skip
        lines: dict[str, dict[str, Any]] = {
            "noise": {"line_width": 1.0, "line_dash": "dotted"},
            "rms": {"line_width": 1.5, "line_dash": [4, 3]},
            "peak": {"line_width": 2.0},
        }
        for line, stroke in lines.items():
            drawing.segment(
                "left", line, "right", line, source=sources["stages"], **stroke, **coloured(line_color=line)
            )
        drawing.segment("left", "ceiling", "right", "ceiling", source=sources["ceilings"], line_width=2.5,
                        **coloured(line_color="ceiling"))  # fmt: skip
        write(drawing, sources["names"], text_font_style="bold", text_align="center")
        write(drawing, sources["room"], "muted", text_align="center")
        write(drawing, sources["trouble"], "trouble", text_font_style="bold", text_align="center")
        seen = drawing.quad("left", "right", "top", "bottom", source=sources["stages"], fill_alpha=0.0, line_alpha=0.0)
        hover(
            drawing,
            [seen],
            {
                "stage": "@text",
                "peak": "@peak_said",
                "RMS": "@rms_said",
                "noise floor": "@noise_said",
                "ceiling": "@ceiling_said",
            },
        )
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """Every stage of every strip where it stands in its small band, and what is written below."""
        tables = self._tables(rendering)
        places: list[tuple[float, float, int, TapLevels]] = []
        names: list[tuple[float, float, str]] = []
        calm: list[tuple[float, float, str]] = []
        troubled: list[tuple[float, float, str]] = []
        for index, table in enumerate(tables):
            column, row = index % _EACH_ROW, index // _EACH_ROW
            edges = column + np.linspace(*_EDGES, len(table) + 1)
            places += [(begin, end, row, each) for each, begin, end in zip(table, edges, edges[1:], strict=False)]
            footer = -row - 1.0
            clipped = _clipped(table)
            names.append((column + 0.5, footer + 0.22, _short(plain(table[0].strip))))
            if clipped:
                troubled.append((column + 0.5, footer + 0.08, f"▼ {counted(clipped, 'clip')}"))
            else:
                calm.append((column + 0.5, footer + 0.08, _least(table)))
        said = [each for _, _, _, each in places]
        limited = [place for place in places if math.isfinite(place[3].ceiling_dbfs)]
        return {
            "stages": {
                **_edges(places),
                "peak": np.array([_height(each.peak_dbfs, row) for _, _, row, each in places]),
                "rms": np.array([_height(each.rms_dbfs, row) for _, _, row, each in places]),
                "noise": np.array([_height(min(each.noise_dbfs, each.peak_dbfs), row) for _, _, row, each in places]),
                "top": np.array([_height(_HIGHEST, row) for _, _, row, _ in places]),
                "bottom": np.array([-row - 1.0 for _, _, row, _ in places]),
                "text": [f"{plain(each.strip)}, {plain(each.stage)}" for each in said],
                "peak_said": [dbfs(each.peak_dbfs) for each in said],
                "rms_said": [dbfs(each.rms_dbfs) for each in said],
                "noise_said": [floor_words(each.noise_dbfs) for each in said],
                "ceiling_said": ["none" if math.isinf(each.ceiling_dbfs) else dbfs(each.ceiling_dbfs) for each in said],
            },
            "ceilings": {
                **_edges(limited),
                "ceiling": np.array([_height(each.ceiling_dbfs, row) for _, _, row, each in limited]),
            },
            "names": words_at(names),
            "room": words_at(calm),
            "trouble": words_at(troubled),
        }

    def sentence(self, rendering: Rendering) -> str:
        """Which strips clip, and which has the least room of the others."""
        tables = self._tables(rendering)
        clipping = [f"{plain(table[0].strip)} clips {times(_clipped(table))}" for table in tables if _clipped(table)]
        calm = [table for table in tables if not _clipped(table)]
        said = f"In trouble: {', '.join(clipping)}. " if clipping else "Nothing clips. "
        tight = [each for each in (_tightest(table) for table in calm) if each is not None]
        if tight:
            least = min(tight, key=lambda each: each.headroom_db)
            others = "Of the others the least room is left by" if clipping else "The least room is left by"
            said += f"{others} {plain(least.strip)}, {left(least.headroom_db)} at its {plain(least.stage)}. "
        elif calm:
            loudest = max((table[-1] for table in calm), key=lambda each: each.peak_dbfs)
            said += f"The highest peak comes out of {plain(loudest.strip)}, {dbfs(loudest.peak_dbfs)}. "
        holding = [each for table in tables if (each := _holding(table)) is not None]
        said += " ".join(
            f"The {of_tap(rendering, f'{each.strip}/{each.stage}')} turns down by up to {left(_down_db(each))}."
            for each in holding
        )
        return said.rstrip()


def _edges(places: list[tuple[float, float, int, TapLevels]]) -> dict[str, Any]:
    return {"left": np.array([begin for begin, *_ in places]), "right": np.array([end for _, end, *_ in places])}


def _clipped(table: list[TapLevels]) -> int:
    return sum(each.clipped for each in table)


def _down_db(each: TapLevels) -> float:
    return each.readings.get("gain_reduction_db", 0.0)


def _holding(table: list[TapLevels]) -> TapLevels | None:
    """The stage that holds the peaks under its ceiling hardest; None where none does."""
    found = [each for each in table if math.isfinite(each.ceiling_dbfs) and _down_db(each) >= 0.05]
    return max(found, key=_down_db, default=None)


def _tightest(table: list[TapLevels]) -> TapLevels | None:
    """The stage with the least room below its ceiling, of those that do not hold the peaks under it by themselves."""
    found = [each for each in table if math.isfinite(each.ceiling_dbfs) and _down_db(each) < 0.05]
    return min(found, key=lambda each: each.headroom_db, default=None)


def _least(table: list[TapLevels]) -> str:
    """How far the peaks are held down, else the room at the tightest ceiling, else the peak at the end."""
    holding, tight = _holding(table), _tightest(table)
    if holding is not None:
        return f"{left(_down_db(holding))} down"
    if tight is not None:
        return f"{left(tight.headroom_db)} left"
    return f"peak {dbfs(table[-1].peak_dbfs).removesuffix(' dBFS')}"


def _height(level_dbfs: float, row: int) -> float:
    low, high = _BAND
    part = (min(max(level_dbfs, _LOWEST), _HIGHEST) - _LOWEST) / (_HIGHEST - _LOWEST)
    return -row - 1.0 + low + (high - low) * part


def _short(name: str) -> str:
    return name if len(name) <= 15 else f"{name[:14]}…"
