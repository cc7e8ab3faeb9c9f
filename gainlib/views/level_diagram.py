"""The level diagram: the signal as a band from source to file, between its noise floor and its peaks."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np

from gainlib.decibels import alignment
from gainlib.flow import Rendering, TapLevels
from gainlib.meters.take_noise import take_noise_dbfs
from gainlib.stages import Converter, Source
from gainlib.text import dbfs, left, level, plain, signed, times
from gainlib.views.base import Columns, View
from gainlib.views.phrasing import floor_words, stage_of
from gainlib.views.signal_path import route
from gainlib.views.style import (
    FRAME_RIGHT,
    FRAME_SCALE,
    coloured,
    frame,
    frame_height,
    hatched,
    hover,
    level_axis,
    second_scale,
    sources_of,
    stroke,
    words_at,
    write,
)

__all__ = ["LevelDiagram"]

_LOWEST_DBFS = -100.0
_FOOTER_DB = 26.0  # below the lowest level: the stages' names and what is left in each
_FLAT = 0.42  # half of the width in which a stage's lines run flat; between two stages they slope
_TEXT_PX = 15.0
_GAP_PX = 4.0
_ASIDE_PX = 9
_MARK_PX = 7.0  # the mark of a clip stands on the ceiling with its tip
_GRID_DB = 20
_ZERO_DBU = 18.0  # where the analogue half's scale stands: 0 dBFS of a converter with this full scale
_LETTERS = 125  # as many stand side by side in a picture as wide as a notebook on a small screen
_BOLD_LETTERS = 113  # bold ones are wider
_FEW = 8  # more columns than these are narrow
_LEAST_DOWN_DB = 0.05
_LEAST_PERCENT = 0.05


class LevelDiagram(View):
    """Peak, RMS and noise floor behind every stage, each against its ceiling, from the recording to the file.

    In front of a converter levels stand in dBu, with the scale at the left, and the converter's full scale runs through
    as a line; behind it in dBFS, with the scale at the right. Another alignment moves that line and the right half's
    scale, and no voltage.

    `strip` chooses the strip that is drawn (the first unless named); where it goes through buses to a main, their
    stages follow. `height` is in pixels.
    """

    name: ClassVar[str] = "level diagram"
    title: ClassVar[str] = "Level from source to file"

    def __init__(self, strip: str | None = None, *, height: int = 312) -> None:
        self.strip = strip
        self.height = height

    def _table(self, rendering: Rendering) -> list[TapLevels]:
        session = rendering.session
        parts = route(session, self.strip or session.strips[0].name)
        return [rendering.level(f"{part.name}/{stage}") for part in parts for stage in part.stage_names]

    def taps(self, rendering: Rendering) -> tuple[str, ...]:
        """The stages of the strip, its buses and the main, left to right."""
        return tuple(f"{each.strip}/{each.stage}" for each in self._table(rendering))

    def heading(self, rendering: Rendering) -> str:
        """The title, of several strips with the one that is drawn."""
        strips = rendering.session.strips
        return f"{self.title}, {plain(self.strip or strips[0].name)}" if len(strips) > 1 else self.title

    def right_px(self, rendering: Rendering) -> int:
        """Room for the scale of the digital half where there is an analogue one."""
        return FRAME_RIGHT if _Scales(rendering, self._table(rendering)).seam is None else FRAME_SCALE

    def _highest(self, table: list[TapLevels], scales: _Scales) -> float:
        """The top of the picture: 12 dB, or what shows every ceiling; levels do not move it, so nothing jumps."""
        ceilings = [
            each.ceiling_dbfs + lift
            for each, lift in zip(table, scales.lift, strict=True)
            if math.isfinite(each.ceiling_dbfs)
        ]
        return max(12.0, 6.0 * math.ceil((max(ceilings, default=0.0) + 6.0) / 6.0))

    def _db_per_pixel(self, top: float) -> float:
        return (top - _LOWEST_DBFS + _FOOTER_DB) / frame_height(self.height)

    def figure(self, rendering: Rendering) -> Any:
        """Solid peak, dashed RMS (AES17), dotted noise floor, each ceiling hatched upward."""
        table = self._table(rendering)
        scales = _Scales(rendering, table)
        top = self._highest(table, scales)
        drawing = frame(
            self.height,
            x_range=(-0.5, len(table) - 0.5),
            y_range=(_LOWEST_DBFS - _FOOTER_DB, top),
            y_axis_label="level, dBFS" if scales.seam is None else "level, dBu",
        )
        drawing.xaxis.visible = False
        zero = 0.0 if scales.seam is None else _ZERO_DBU
        level_axis(drawing, {y: level(y + zero, plus=scales.seam is not None) for y in _ticks(zero, top)})
        if scales.seam is not None:
            drawing.ygrid.visible = False  # each half has a grid of its own
            digital = range(int(_LOWEST_DBFS), 2 * _GRID_DB + 1, _GRID_DB)
            second_scale(drawing, "dBFS", {each: level(each) for each in digital}, *scales.ends(top))
        sources = sources_of(self.columns(rendering))
        band, ceilings, numbers = sources["band"], sources["ceilings"], sources["numbers"]
        if scales.seam is not None:
            drawing.segment("left", "y", "right", "y", source=sources["grid"], **coloured(line_color="grid"))
            drawing.segment("left", "y", "right", "y", source=sources["full_scale"], **stroke("ceiling"))
            write(drawing, sources["full_scale_words"], "muted", text_align="left")
        drawing.segment(
            "x", "bottom", "x", "top", source=sources["dividers"], line_width=1.0, **coloured(line_color="grid")
        )
        drawing.varea("x", "noise", "peak", source=band, fill_alpha=0.16, **coloured(fill_color="peak"))
        hatched(drawing, ceilings)
        for line in ("noise", "rms", "peak"):
            drawing.line("x", line, source=sources["floor"] if line == "noise" else band, **stroke(line))
        drawing.segment("left", "level", "right", "level", source=sources["thresholds"], **stroke("target"))
        write(drawing, numbers, "peak", text_font_size="13px", text_font_style="bold", text_align="center")
        # Clear of the marks that move with the sound, left in each column.
        write(drawing, sources["words"], "muted", text_align="center", x_offset=_ASIDE_PX)
        write(
            drawing,
            sources["stages"],
            text_font_size="13px" if len(table) <= _FEW else "11px",
            text_font_style="bold",
            text_align="center",
        )
        write(drawing, sources["room"], "muted", text_align="center")
        write(drawing, sources["trouble"], "trouble", text_font_style="bold", text_align="center")
        drawing.scatter(
            "x", "edge", source=sources["trouble"], marker="inverted_triangle", size=11,
            **coloured(fill_color="ceiling", line_color="background"),
        )  # fmt: skip
        seen = drawing.quad("left", "right", "top", "bottom", source=sources["stages"], fill_alpha=0.0, line_alpha=0.0)
        hover(
            drawing,
            [seen],
            {
                "stage": "@text",
                "peak": "@peak",
                "RMS": "@rms",
                "noise floor": "@noise",
                "ceiling": "@ceiling",
                "left": "@left_over",
            },
        )
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The band's edges, the ceilings, and every number and word with a free place to stand."""
        table = self._table(rendering)
        scales = _Scales(rendering, table)
        top = self._highest(table, scales)
        at = np.arange(len(table), dtype=float)
        peak, rms, noise = (
            np.clip([getattr(each, f"{line}_dbfs") for each in table] + scales.lift, _LOWEST_DBFS, top)
            for line in ("peak", "rms", "noise")
        )
        flat = np.column_stack((at - _FLAT, at + _FLAT)).ravel()
        # What cannot be read, since nothing pauses, is not drawn.
        told = np.repeat([math.isfinite(each.noise_dbfs) for each in table], 2)
        limited = [index for index, each in enumerate(table) if math.isfinite(each.ceiling_dbfs)]
        ceilings = np.array([table[index].ceiling_dbfs + scales.lift[index] for index in limited])
        clipping = [index for index, each in enumerate(table) if each.clipped]
        calm = [index for index, each in enumerate(table) if _room(each) and not each.clipped]
        thresholds = {index: y + scales.lift[index] for index, y in _thresholds(rendering, table).items()}
        dividers = np.array(
            [index - 0.5 for index, each in enumerate(table) if index and (each.kind == "Sum" or index == scales.seam)]
        )
        letters, bold_letters = _LETTERS // len(table), _BOLD_LETTERS // len(table)
        numbers, words, full_scale = self._written(
            table, scales, peak, rms, noise, thresholds, top,
            "equipment’s noise" if _equipment_alone(rendering, table) else "noise floor",
        )  # fmt: skip
        footer = np.full(len(table), _LOWEST_DBFS - 0.36 * _FOOTER_DB)
        under = _LOWEST_DBFS - 0.78 * _FOOTER_DB
        halves: Columns = {}
        if scales.seam is not None:
            analogue, digital = _ticks(_ZERO_DBU, top), _ticks(-scales.full_scale_y, top)
            start, end = scales.ends(top)
            halves = {
                "grid": {
                    "left": np.array([-0.5] * len(analogue) + [scales.seam - 0.5] * len(digital)),
                    "right": np.array([scales.seam - 0.5] * len(analogue) + [len(table) - 0.5] * len(digital)),
                    "y": np.array([*analogue, *digital], dtype=float),
                },
                "full_scale": {
                    "left": np.array([-0.5]),
                    "right": np.array([scales.seam - _FLAT]),
                    "y": np.array([scales.full_scale_y]),
                },
                "full_scale_words": full_scale,
                "dBFS": {"start": np.array([start]), "end": np.array([end])},
            }
        return halves | {
            "band": {
                "x": flat,
                "peak": np.repeat(peak, 2),
                "rms": np.repeat(rms, 2),
                "noise": np.repeat(np.minimum(noise, peak), 2),
            },
            "floor": {"x": flat[told], "noise": np.repeat(np.minimum(noise, peak), 2)[told]},
            "ceilings": {
                "left": at[limited] - _FLAT,
                "right": at[limited] + _FLAT,
                "bottom": ceilings,
                "top": np.full(len(limited), top),
            },
            "thresholds": {
                "left": np.array([index - _FLAT for index in thresholds], dtype=float),
                "right": np.array([index + _FLAT for index in thresholds], dtype=float),
                "level": np.clip(np.array(list(thresholds.values()), dtype=float), _LOWEST_DBFS, top),
            },
            "dividers": {
                "x": dividers,
                "bottom": np.full(len(dividers), _LOWEST_DBFS - _FOOTER_DB),
                "top": np.full(len(dividers), top),
            },
            "numbers": numbers,
            "words": words,
            "stages": {
                "x": at,
                "y": footer,
                "left": at - 0.5,
                "right": at + 0.5,
                "bottom": np.full(len(table), _LOWEST_DBFS - _FOOTER_DB),
                "top": np.full(len(table), top),
                "text": [_cut(_headed(each), letters) for each in table],
                "peak": [scales.told(index, each.peak_dbfs) for index, each in enumerate(table)],
                "rms": [scales.told(index, each.rms_dbfs) for index, each in enumerate(table)],
                "noise": [_floor(scales, index, each) for index, each in enumerate(table)],
                "ceiling": [
                    "none" if math.isinf(each.ceiling_dbfs) else scales.told(index, each.ceiling_dbfs)
                    for index, each in enumerate(table)
                ],
                "lift": scales.lift,
                "left_over": [_room(each) or "no ceiling" for each in table],
            },
            "room": {
                "x": at[calm],
                "y": np.full(len(calm), under),
                "text": [_room(table[index]) for index in calm],
            },
            "trouble": {
                "x": at[clipping],
                "y": np.full(len(clipping), under),
                "edge": np.array([table[index].ceiling_dbfs + scales.lift[index] for index in clipping])
                + _MARK_PX * self._db_per_pixel(top),
                "text": [
                    _cut(f"▼ {_room(table[index])}", bold_letters, f"▼ {table[index].clipped} clips")
                    for index in clipping
                ],
            },
        }

    def _written(
        self,
        table: list[TapLevels],
        scales: _Scales,
        peak: Any,
        rms: Any,
        noise: Any,
        thresholds: dict[int, float],
        top: float,
        floor: str,
    ) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
        """Where the numbers and the names of the lines stand: never on a line, never on each other."""
        per_px = self._db_per_pixel(top)
        half, reach = _TEXT_PX / 2 * per_px, (_TEXT_PX / 2 + _GAP_PX) * per_px
        seam = scales.seam or 0
        grids = [
            [
                (each - per_px, each + per_px)
                for each in _ticks(_ZERO_DBU if index < seam else -scales.full_scale_y, top)
            ]
            for index in range(len(table))
        ]
        taken: list[list[tuple[float, float]]] = []
        heights: list[float] = []
        for index, each in enumerate(table):
            lines = [(float(line[index]) - per_px, float(line[index]) + per_px) for line in (peak, rms, noise)]
            if math.isfinite(each.ceiling_dbfs):
                lines.append((each.ceiling_dbfs + scales.lift[index] - per_px, top))
            if index < seam:
                lines.append((scales.full_scale_y - per_px, scales.full_scale_y + per_px))
            if index in thresholds:
                lines.append((thresholds[index] - per_px, thresholds[index] + per_px))
            # Above the peak line if there is room, else below it, below the RMS line, below the noise floor.
            places = _places((peak[index], 1), (peak[index], -1), (rms[index], -1), (noise[index], -1), reach=reach)
            y = _free(places, lines, grids[index], half, top)
            taken.append([*lines, (y - half, y + half)])
            heights.append(y)
        words: list[tuple[float, float, str]] = []
        bends = np.array([thresholds.get(index, -math.inf) for index in range(len(table))])
        for line, text in ((rms, "RMS"), (noise, floor), (bends, "threshold")):
            # In narrow columns a name would reach out of the picture at its edge.
            for index in range(len(table) - (1 if len(table) <= _FEW else 2), -1, -1):
                if line[index] <= _LOWEST_DBFS:
                    continue
                places = _places((line[index], -1), (line[index], 1), reach=reach)
                # In narrow columns a word reaches over its neighbours.
                reached = [index] if len(table) <= _FEW else [index - 1, index, index + 1]
                around = [each for near in reached if 0 <= near < len(table) for each in taken[near]]
                y = _free(places, around, grids[index], half, top)
                if not _meets(y, around, half):
                    taken[index].append((y - half, y + half))
                    words.append((float(index), y, text))
                    break
        around = [each for near in taken[: 1 if len(table) <= _FEW else 2] for each in near]
        places = _places((scales.full_scale_y, -1), (scales.full_scale_y, 1), reach=reach)
        y = _free(places, around, grids[0], half, top)
        free = bool(seam) and not _meets(y, around, half)
        full_scale = words_at([(-_FLAT, y, f"full scale {signed(scales.full_scale_dbu, 0, 'dBu')}")] if free else [])
        marked = []
        for index, each in enumerate(table):
            beyond = "↑ " if each.peak_dbfs + scales.lift[index] > top else ""
            unit = scales.unit(index) if index == seam and seam else ""
            marked.append(f"{beyond}{level(each.peak_dbfs + scales.dbu[index], plus=True)} {unit}".rstrip())
        marked[0] = f"peak {marked[0]}"
        return (
            {"x": np.arange(len(table), dtype=float), "y": np.array(heights), "text": marked},
            words_at(words),
            full_scale,
        )

    def sentence(self, rendering: Rendering) -> str:
        """Every stage with its peak, RMS, noise floor where there is one to read, and what is left.

        Of a take that never pauses nobody can tell its own noise: the floor is then told as that of the equipment.
        """
        parts = []
        table = self._table(rendering)
        scales = _Scales(rendering, table)
        alone = _equipment_alone(rendering, table)
        for index, each in enumerate(table):
            peak, rms = scales.told(index, each.peak_dbfs), scales.told(index, each.rms_dbfs)
            said = f"{_headed(each)}: peak {peak}, RMS {rms}"
            if math.isfinite(each.noise_dbfs):
                said += f", {'equipment’s noise' if alone else 'noise floor'} {_floor(scales, index, each)}"
            parts.append(f"{said}, {_room(each)}" if _room(each) else said)
        unjudged = " The take never pauses, so its own noise cannot be judged." if alone else ""
        return "; ".join(parts) + "." + unjudged


class _Scales:
    """Where the columns stand: in front of a converter in dBu, behind it in dBFS, drawn as one band.

    `lift` is added to a level against full scale for its place, `dbu` for its figure; `seam` is the first digital
    column behind analogue ones, None where all are digital.
    """

    def __init__(self, rendering: Rendering, table: list[TapLevels]) -> None:
        stages = [stage_of(rendering, each.strip, each.stage) for each in table]
        analogue = [each.output_domain == "analogue" for each in stages]
        self.seam = None if True not in analogue else len(analogue) - analogue[::-1].index(True)
        self.full_scale_dbu = _ZERO_DBU
        if self.seam is not None:
            converter = next(each for each in stages[self.seam :] if isinstance(each, Converter))
            self.full_scale_dbu = alignment(converter.alignment).dbu_at_full_scale
        self.full_scale_y = self.full_scale_dbu - _ZERO_DBU
        self.lift = np.full(len(table), self.full_scale_y)
        self.dbu = np.where(analogue, self.full_scale_dbu, 0.0)

    def unit(self, index: int) -> str:
        """The unit of a column."""
        return "dBu" if index < (self.seam or 0) else "dBFS"

    def told(self, index: int, level_dbfs: float) -> str:
        """A level of a column, in its unit."""
        value = float(level_dbfs + self.dbu[index])
        return signed(value, unit="dBu") if index < (self.seam or 0) else dbfs(value)

    def ends(self, top: float) -> tuple[float, float]:
        """The ends of the scale in dBFS."""
        return _LOWEST_DBFS - _FOOTER_DB - self.full_scale_y, top - self.full_scale_y


def _equipment_alone(rendering: Rendering, table: list[TapLevels]) -> bool:
    """Whether the floor is that of the equipment, since nobody can tell the recording's own."""
    first = table[0]
    known = math.isfinite(first.noise_dbfs) or not any(math.isfinite(each.noise_dbfs) for each in table)
    return not known and rendering.once(f"{first.strip}/{first.stage}", _noise_is_untold)


def _noise_is_untold(rendering: Rendering, tap: str) -> bool:
    """Whether nobody can tell the noise of the recording at the head of a strip, and no setting says what it is."""
    strip, stage = rendering.session.tap(tap)
    head = stage_of(rendering, strip, stage)
    take = next((each.take for each in rendering.session.strips if each.name == strip), None)
    said = isinstance(head, Source) and head.noise_dbfs is not None
    return take is not None and not said and take_noise_dbfs(take) is None


def _floor(scales: _Scales, index: int, each: TapLevels) -> str:
    return scales.told(index, each.noise_dbfs) if math.isfinite(each.noise_dbfs) else floor_words(each.noise_dbfs)


def _ticks(zero: float, top: float) -> list[float]:
    """The places of every twentieth decibel of a scale that reads `zero` at the place 0."""
    first = math.ceil((_LOWEST_DBFS + zero) / _GRID_DB) * _GRID_DB
    return [each - zero for each in range(first, int(top + zero) + 1, _GRID_DB)]


def _headed(each: TapLevels) -> str:
    """A column's heading: the stage's own name, which is its kind unless it was given another; a sum has its bus's."""
    name = f"{plain(each.strip)} sum" if each.kind == "Sum" else plain(each.stage)
    return name[:1].upper() + name[1:]


def _cut(text: str, letters: int, shorter: str = "") -> str:
    """A text that fits into its column, the whole where it does."""
    text = shorter if shorter and len(text) > letters else text
    return text if len(text) <= letters else f"{text[: letters - 1]}…"


def _thresholds(rendering: Rendering, table: list[TapLevels]) -> dict[int, float]:
    """The threshold of each column that has one, by its place."""
    corners = [stage_of(rendering, each.strip, each.stage).corner for each in table]
    return {index: each.level_dbfs for index, each in enumerate(corners) if each and each.word == "threshold"}


def _room(each: TapLevels) -> str:
    """What a stage does to the peaks, adds or leaves; nothing where it has no ceiling, turns down and adds nothing."""
    if each.clipped:
        return f"clips {times(each.clipped)}"
    down = each.readings.get("gain_reduction_db", 0.0)
    if down >= _LEAST_DOWN_DB:
        return f"{left(down)} down"
    distortion = each.readings.get("distortion_percent", 0.0)
    if distortion >= _LEAST_PERCENT:
        return f"{distortion:.1f} % distortion"
    return "" if math.isinf(each.ceiling_dbfs) else f"{left(each.headroom_db)} left"


def _meets(y: float, taken: list[tuple[float, float]], half: float) -> bool:
    return any(y - half < high and low < y + half for low, high in taken)


def _places(*beside: tuple[float, int], reach: float) -> list[float]:
    """Heights beside lines, above (1) or below (-1), each near and then a little farther off."""
    return [float(line + side * reach * farther) for line, side in beside for farther in (1.0, 1.3, 1.6, 1.9)]


def _free(
    places: list[float], lines: list[tuple[float, float]], grid: list[tuple[float, float]], half: float, top: float
) -> float:
    """The first place where a text meets no line and not even the grid, else no line, else one inside the picture."""
    inside = [y for y in places if _LOWEST_DBFS + half <= y <= top - half]
    free = [y for y in inside if not _meets(y, lines, half)]
    clear = [y for y in free if not _meets(y, grid, half)]
    return (clear or free or inside or places)[0]
