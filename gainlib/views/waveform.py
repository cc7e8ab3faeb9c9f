"""The waveform behind one stage, with the runs that clipped marked where they stand."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

import numpy as np

from gainlib import loops
from gainlib.decibels import db_from_ratio
from gainlib.errors import GainError
from gainlib.flow import Bus, Rendering
from gainlib.meters import ClippedRuns, flat_tops, peak_dbfs
from gainlib.text import counted, dbfs, plain, signed, times
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.style import amplitude_frame, beyond_full_scale, coloured, hatch, hover, sources_of, time_along

__all__ = ["Waveform"]

_COLUMNS = 1000  # about one a pixel; more makes the filled area slow to paint
_MARKS = 200
_EDGE = 0.08  # half the width of the name of a part, of the width of the narrowest picture
_TOP = 1.35  # the hatch above full scale is as high as the words that stand in it


class Waveform(TapView):
    """The samples behind one stage over time, lowest to highest, and where they were cut off.

    Parameters
    ----------
    tap : str or None
        The stage, the last unless named. Several channels are drawn over each other.
    parts : mapping of str to (start_seconds, end_seconds), or None
        Stretches of the take by name, whose peaks are then told.
    height : int
        In pixels.

    Raises
    ------
    GainError
        When it draws, for a tap that is not there.

    References
    ----------
    *Published*: AES17 (0 dBFS). What counts as cut off is `gainlib.meters`' `clipped_runs` and `flat_tops`.

    Examples
    --------
    >>> Waveform("trim", parts={"verse": (0.0, 9.3)}).parts["verse"]
    (0.0, 9.3)
    """

    name: ClassVar[str] = "waveform"
    title: ClassVar[str] = "Waveform"

    def __init__(
        self, tap: str | None = None, *, parts: Mapping[str, Sequence[float]] | None = None, height: int = 170
    ) -> None:
        super().__init__(tap, height=height)
        self.parts = dict(parts or {})

    def figure(self, rendering: Rendering) -> Any:
        """Seconds along, dBFS up (linear in amplitude); hatched beyond full scale; a triangle at each clipped run."""
        audio = rendering.at(self.tap_of(rendering))
        levels = {0: "0", -6: "−6"}
        drawing = amplitude_frame(self.height, (0.0, audio.seconds), "seconds", _TOP, levels)
        sources = sources_of(self.columns(rendering))
        hatch(drawing, sources["full scale"])
        for edge in ("low", "high"):
            drawing.line("seconds", edge, source=sources["wave"], line_width=1.0, **coloured(line_color="peak"))
        drawing.varea("seconds", "low", "high", source=sources["wave"], fill_alpha=0.55, **coloured(fill_color="peak"))
        drawing.segment(
            "left", "level", "right", "level", source=sources["flat"], line_width=2.0, line_dash="dotdash",
            **coloured(line_color="ceiling"),
        )  # fmt: skip
        marks = drawing.scatter(
            "seconds", "level", source=sources["clipped"], marker="inverted_triangle", angle="turned", size=8,
            **coloured(fill_color="ceiling", line_color="ceiling"),
        )  # fmt: skip
        drawing.text(
            "seconds", "level", "text", source=sources["told"], text_align="right", text_baseline="middle",
            text_font_size="12px", text_font_style="bold", padding=1, background_fill_alpha=1.0,
            **coloured(text_color="trouble", background_fill_color="background"),
        )  # fmt: skip
        drawing.segment(
            "start", "level", "end", "level", source=sources["parts"], line_width=1.5, **coloured(line_color="text")
        )
        drawing.text(
            "named", "level", "text", source=sources["parts"], text_align="align", text_baseline="middle",
            text_font_size="12px", padding=(6, 1), background_fill_alpha=1.0,
            **coloured(text_color="text", background_fill_color="background"),
        )  # fmt: skip
        hover(drawing, [marks], {"clipped at": "@said"})
        return time_along(drawing)

    def columns(self, rendering: Rendering) -> Columns:
        """The lowest and highest sample in each of about a thousand columns, and the clipped runs."""
        tap = self.tap_of(rendering)
        audio = rendering.at(tap)
        count = min(_COLUMNS, len(audio.samples))
        pairs = [loops.extremes(audio.samples[:, each], count) for each in range(audio.channels)]
        low = np.clip(np.min([pair[0] for pair in pairs], axis=0), -_TOP, _TOP)
        high = np.clip(np.max([pair[1] for pair in pairs], axis=0), -_TOP, _TOP)
        seconds = (np.arange(count) + 0.5) * audio.seconds / count
        if count == 1:  # one sample is drawn as a step as long as it lasts
            low, high, seconds = low.repeat(2), high.repeat(2), np.array([0.0, audio.seconds])
        _, runs = self._clipped(rendering)
        marks = _marked(runs)
        tops = audio.samples[runs.start[marks], runs.channel[marks]]
        times_ = (runs.start + runs.length / 2)[marks] / audio.rate_hz
        levels = sorted({round(float(each), 3) for each in tops if abs(each) <= _TOP})
        levels = [levels[0], levels[-1]] if len(levels) > 2 else levels
        parts = self._peaks(rendering)
        # A name stands over the middle of its part; one that would reach beyond the picture stands at its edge.
        middles = np.array([sum(self.parts[each]) / 2 for each in parts], dtype=float) / audio.seconds
        return {
            "wave": {"seconds": seconds, "low": low, "high": high},
            "parts": {
                "start": np.array([self.parts[each][0] for each in parts], dtype=float),
                "end": np.array([self.parts[each][1] for each in parts], dtype=float),
                "named": audio.seconds * np.where(middles < _EDGE, 0.0, np.where(middles > 1.0 - _EDGE, 1.0, middles)),
                "align": ["left" if each < _EDGE else "right" if each > 1.0 - _EDGE else "center" for each in middles],
                "level": np.full(len(parts), (1.0 + _TOP) / 2),
                "text": [f"{name} {signed(peak, unit='', plus=peak > 0)}" for name, peak in parts.items()],
            },
            "full scale": beyond_full_scale(0.0, audio.seconds, _TOP),
            "clipped": {
                "seconds": times_,
                "level": np.clip(tops, -_TOP, _TOP) + np.where(tops >= 0, 0.1, -0.1),
                "turned": np.where(tops >= 0, 0.0, math.pi),
                "said": [
                    f"{each:.3f} s, {int(runs.length[mark])} samples long"
                    for each, mark in zip(times_, marks, strict=True)
                ],
            },
            "flat": {
                "left": np.zeros(len(levels)),
                "right": np.full(len(levels), audio.seconds),
                "level": np.array(levels, dtype=float),
            },
            "told": {
                "seconds": np.full(min(1, len(runs)), 0.995 * audio.seconds),
                "level": np.full(min(1, len(runs)), -(1.0 + _TOP) / 2),
                "text": [f"▼ {counted(len(runs), 'clipped run')}"] if len(runs) else [],
            },
        }

    def _peaks(self, rendering: Rendering) -> dict[str, float]:
        """The peak of each named part that the take has, in dBFS."""
        audio = rendering.at(self.tap_of(rendering))
        return {
            name: float(peak_dbfs(audio.between(*map(float, part)).samples).max())
            for name, part in self.parts.items()
            if part[1] <= audio.seconds
        }

    def _clipped(self, rendering: Rendering) -> tuple[str, ClippedRuns]:
        """The stage at or before the tap that cut off most, and where; without one, flat tops of the recording."""
        strip, stage = rendering.session.tap(self.tap_of(rendering))
        names = rendering.session.channel(strip).stage_names
        best: tuple[str, ClippedRuns] | None = None
        for name in names[: names.index(stage) + 1]:
            if math.isfinite(rendering.level(f"{strip}/{name}").ceiling_dbfs):
                try:
                    runs = rendering.clipped(f"{strip}/{name}")
                except GainError:  # a limiter has a ceiling too, but cuts nothing off
                    continue
                if best is None or len(runs) >= len(best[1]):
                    best = name, runs
        return best or ("", flat_tops(rendering.at(f"{strip}/{stage}").samples))

    def sentence(self, rendering: Rendering) -> str:
        """The peak, what is left, and how many runs are clipped, also when they were turned down afterwards."""
        tap = self.tap_of(rendering)
        stage = tap.split("/")[1]
        reading = rendering.level(tap)
        if reading.peak_dbfs == -math.inf:
            return f"After the {of_tap(rendering, tap)}: silence."
        printed = dbfs(reading.peak_dbfs)
        named = [f"{name} {dbfs(peak)}" for name, peak in self._peaks(rendering).items()]
        said = f"The peaks after the {of_tap(rendering, tap)} reach {printed}" + (
            f" ({', '.join(named)})" if named else ""
        )
        where, runs = self._clipped(rendering)
        if not len(runs):
            return f"{said}; the {where} clips nothing." if where else f"{said}; nothing is clipped."
        many = len(runs) != 1
        if not where:
            whose = "it" if isinstance(rendering.session.channel(tap.split("/")[0]), Bus) else "the recording itself"
            return f"{said}; {whose} has {counted(len(runs), 'flat top')}."
        if where == stage:
            return f"{said}; it clips {times(len(runs))}, the longest for {runs.longest} samples."
        tops = np.abs(rendering.at(tap).samples[runs.start, runs.channel]).max()
        at = db_from_ratio(tops)
        return (
            f"{said}; the {plain(where)}'s {counted(len(runs), 'clipped run')} "
            f"{'stay flat tops' if many else 'stays a flat top'}, now at {dbfs(at)}."
        )


def _marked(runs: ClippedRuns) -> Any:
    """Which runs get a mark: all, or evenly chosen ones where marks would hide each other."""
    if len(runs) <= _MARKS:
        return np.arange(len(runs))
    return np.unique(np.linspace(0, len(runs) - 1, _MARKS).round().astype(int))
