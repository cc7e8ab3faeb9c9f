"""The transfer curve of a stage that bends the level, with the signal's own levels under it and the working point."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.flow import Rendering
from gainlib.meters.windows import window_powers
from gainlib.stages import Corner, Stage
from gainlib.text import dbfs, level
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap, stage_of
from gainlib.views.signal_path import entering, last_of, peaks_over_time
from gainlib.views.style import coloured, decibel_axis, frame, hover, level_axis, sources_of, words_at, write

__all__ = ["TransferCurve"]

_LOW, _HIGH = -60.0, 6.0
_FOOTER_DB = 26.0  # the band below the curve in which the histogram stands
_BAR_DB = 1.0
_WINDOW_SECONDS = 0.05
_LOUD_SHARE = 0.9


@dataclass(frozen=True)
class _Worked:
    stage: Stage
    levels: NDArray[Any]  # dBFS of each window that comes in
    compensation_db: float

    def out_db(self, levels_db: Any) -> NDArray[Any]:
        """The level at which each of these levels comes out."""
        return np.asarray(self.stage.curve_db(levels_db)) + self.compensation_db

    @property
    def corner(self) -> Corner:
        """Where the curve starts to bend; at no level where it bends everywhere."""
        return self.stage.corner or Corner("", math.nan)

    @property
    def working_db(self) -> float:
        """The level that the loudest tenth of the playing time reaches; -inf for silence."""
        playing = self.levels[self.levels > max(_LOW, float(self.levels.max(initial=-math.inf)) - 40.0)]
        return float(np.quantile(playing, _LOUD_SHARE)) if len(playing) else -math.inf


class TransferCurve(TapView):
    """Level in along, level out up: the static curve of a stage that bends it, such as a compressor.

    `tap` is the stage, by default the last of these. Under the curve stands how much of the time each level comes
    in (what the detector listens to: peaks, or RMS, in windows of 50 ms); the dot marks the loud moments, the level
    that the loudest tenth of the playing time reaches. Attack, release and look-ahead are not in this picture.
    A saturation is drawn as it bends the low end, which it bends most.
    """

    name: ClassVar[str] = "transfer curve"
    title: ClassVar[str] = "Transfer curve"
    joined: ClassVar[str] = " of the "
    height = 330

    def usual_tap(self, rendering: Rendering) -> str:
        """The last stage with a curve."""
        return last_of(rendering, lambda stage: stage.bends)

    def _worked(self, rendering: Rendering) -> _Worked | None:
        tap = self.tap_of(rendering)
        return _read(rendering, tap) if tap else None

    def figure(self, rendering: Rendering) -> Any:
        """dBFS in along, dBFS out up; below, the share of the time that each level comes in."""
        drawing = frame(
            self.height, (_LOW, _HIGH), (_LOW - _FOOTER_DB, _HIGH), x_axis_label="level in, dBFS",
            y_axis_label="level out, dBFS",
        )  # fmt: skip
        levels: dict[float, str] = {each: level(each) for each in range(int(_LOW), 1, 10)}
        decibel_axis(drawing.xaxis, levels)
        level_axis(drawing, levels)
        sources = sources_of(self.columns(rendering))
        bars = drawing.quad(
            "left", "right", "top", "bottom", source=sources["levels"], fill_alpha=0.45, line_width=0.5,
            **coloured(fill_color="peak", line_color="background"),
        )  # fmt: skip
        drawing.line([_LOW, _HIGH], [_LOW, _HIGH], line_width=1.0, line_dash="dotted", **coloured(line_color="muted"))
        curve = drawing.line("in_db", "out_db", source=sources["curve"], line_width=2.5, **coloured(line_color="text"))
        drawing.segment("x0", "y0", "x1", "y1", source=sources["corner"], line_width=1.5, line_dash="dotdash",
                        **coloured(line_color="ceiling"))  # fmt: skip
        drawing.segment("x0", "y0", "x1", "y1", source=sources["guides"], line_width=1.0, line_dash=[2, 3],
                        **coloured(line_color="peak"))  # fmt: skip
        drawing.scatter("in_db", "out_db", source=sources["point"], size=11,
                        **coloured(fill_color="peak", line_color="background"))  # fmt: skip
        write(drawing, sources["words"])
        hover(drawing, [curve], {"in": "@in_db{0.0} dBFS", "out": "@out_db{0.0} dBFS"})
        hover(drawing, [bars], {"level in": "@left{0} dBFS", "of the time": "@percent{0.0} %"})
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """Curve, histogram (its tallest bar fills the footer), corner, working point, and words in free places."""
        worked = self.once(rendering, self._worked)
        left = np.arange(_LOW, _HIGH, _BAR_DB)
        if worked is None:
            counts: NDArray[Any] = np.zeros(len(left))
            curve = left
        else:
            counts = np.histogram(np.clip(worked.levels, -200.0, _HIGH - 1e-9), np.append(left, _HIGH))[0].astype(float)
            counts *= 100.0 / max(1, len(worked.levels))
            curve = np.linspace(_LOW, _HIGH, 265)
        tallest = max(float(counts.max()), 1e-9)
        out = worked.out_db(curve) if worked else curve
        word, corner = worked.corner if worked else ("", math.nan)
        point = worked.working_db if worked else -math.inf
        drawn = math.isfinite(point)
        point_out = float(worked.out_db(point)) if worked and drawn else 0.0
        point_in = min(max(point, _LOW), _HIGH) if drawn else 0.0
        inside = min(max(point_out, _LOW), _HIGH)
        cornered = bool(_LOW <= corner <= _HIGH)
        words: list[tuple[float, float, str]] = []
        if worked:
            heard = "RMS in 50 ms" if worked.stage.hears_rms else "peaks in 50 ms"
            words.append((_LOW + 1.0, _LOW - 5.0, f"time at each level, {heard}"))
        if worked and drawn:
            words.append((_LOW + 1.0, _HIGH - 3.0, f"loud moments: {dbfs(point)} in, {dbfs(point_out)} out"))
        if cornered and worked:
            words.append((_LOW + 1.0, _HIGH - 11.0, f"{word} at {dbfs(corner)}"))
        return {
            "levels": {
                "left": left,
                "right": left + _BAR_DB,
                "bottom": np.full(len(left), _LOW - _FOOTER_DB),
                "top": _LOW - _FOOTER_DB + 0.70 * _FOOTER_DB * counts / tallest,
                "percent": counts,
            },
            "curve": {"in_db": curve, "out_db": np.clip(out, _LOW, _HIGH)},
            "corner": _uprights([(corner, corner)] if cornered else []),
            "guides": _uprights([(point_in, inside)] if drawn else []),
            "point": {"in_db": np.full(int(drawn), point_in), "out_db": np.full(int(drawn), inside)},
            "words": words_at(words),
        }

    def sentence(self, rendering: Rendering) -> str:
        """Where the curve bends, how much of the time is above that, and what the working point makes of it."""
        worked = self.once(rendering, self._worked)
        if worked is None:
            return "No compressor, limiter, saturation or soft clip stands in this session; levels leave as they came."
        where = of_tap(rendering, self.tap_of(rendering))
        point = worked.working_db
        if point == -math.inf:
            return f"Into the {where}: silence."
        out = float(worked.out_db(point))
        less = point - out
        word, corner = worked.corner
        said = ""
        if math.isfinite(corner):
            above = 100.0 * float((worked.levels > corner).mean())
            said = f"The {word} of the {where} stands at {dbfs(corner)}; {above:.0f} % of the time is above it. "
        moved = "unchanged" if abs(less) < 0.05 else f"{abs(less):.1f} dB {'lower' if less > 0 else 'higher'}"
        heard = " RMS" if worked.stage.hears_rms else ""
        return (
            f"{said}The loudest tenth of the playing time comes in at {dbfs(point)}{heard} or more; at that level the "
            f"{'curve' if said else f'curve of the {where}'} gives {dbfs(out)}, {moved}."
        )


def _read(rendering: Rendering, tap: str) -> _Worked:
    part, name = tap.split("/")
    stage = stage_of(rendering, part, name)
    if not stage.bends:
        raise GainError(f"{tap} has no transfer curve; ask a compressor, limiter, saturation or soft clip.")
    audio = entering(rendering, tap)
    if stage.hears_rms:
        powers = window_powers(audio.samples, audio.rate_hz, _WINDOW_SECONDS).max(axis=1)
        levels = rms_dbfs_from_power(powers)
    else:
        levels = peaks_over_time(audio, max(1, round(audio.seconds / _WINDOW_SECONDS)))[1]
    return _Worked(stage, levels, float(rendering.level(tap).readings.get("compensation_db", 0.0)))


def _uprights(ends: list[tuple[float, float]]) -> dict[str, Any]:
    """Lines from the foot of the picture up to each of these points."""
    along, up = np.array(ends, dtype=float).reshape(-1, 2).T
    return {"x0": along, "x1": along, "y0": np.full(len(ends), _LOW - _FOOTER_DB), "y1": up}
