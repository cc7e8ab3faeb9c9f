"""Meters side by side: what each kind of meter makes of one signal over time."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Audio
from gainlib.decibels import db_from_ratio
from gainlib.errors import GainError, suggest
from gainlib.flow import Rendering
from gainlib.meters import Deflection, ppm, sample_peak_meter, short_term_lufs, vu
from gainlib.meters.true_peak import MIDWAY, QUARTERS, true_peak_dbtp
from gainlib.text import level, signed
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.style import coloured, hover, key, key_columns, level_axis, sources_of, time_frame

__all__ = ["MetersOverTime"]

_FLOOR, _TOP = -50.0, 6.0
_KEY = 8.0
_FRAMES = 30  # readings a second
_COLUMNS = 600

_METERS: dict[str, tuple[str, str, dict[str, Any]]] = {
    "sample peak": ("dBFS", "peak", {"line_width": 1.5}),
    "true peak": ("dBTP", "text", {"line_width": 1.5, "line_dash": "dotted"}),
    "PPM type I": ("dBFS", "third", {"line_width": 1.5, "line_dash": "dotdash"}),
    "PPM type II": ("dBFS", "third", {"line_width": 2.5}),
    "VU": ("dBFS", "rms", {"line_width": 2.0, "line_dash": [6, 4]}),
    "short-term loudness": ("LUFS", "text", {"line_width": 3.0}),
}

Run = tuple[NDArray[Any], NDArray[Any], float]


class MetersOverTime(TapView):
    """The sample-peak meter (IEC 60268-18), true peak, programme meters, VU and short-term loudness on one signal.

    `tap` is the stage, the last unless named; `meters` are the ones that are drawn, by default all but PPM type I. The
    needles read a steady sine at its own peak level in dBFS, whatever their scales print; the true peak is the highest
    so far. Of several channels the highest counts.
    """

    name: ClassVar[str] = "meters"
    title: ClassVar[str] = "Meters side by side"
    joined: ClassVar[str] = ", after the "

    def __init__(
        self,
        tap: str | None = None,
        *,
        meters: Iterable[str] = ("sample peak", "true peak", "PPM type II", "VU", "short-term loudness"),
        height: int = 270,
    ) -> None:
        super().__init__(tap, height=height)
        self.meters = tuple(meters)
        for each in self.meters:
            if each not in _METERS:
                raise GainError(f"{each!r} is not a meter of this view; {suggest(str(each), _METERS)}")

    def _runs(self, rendering: Rendering) -> dict[str, Run]:
        """Seconds, readings and the highest reading of each meter."""
        audio = rendering.at(self.tap_of(rendering))
        return {each: _run(each, audio) for each in self.meters}

    @property
    def _rows(self) -> int:
        return math.ceil(len(self.meters) / 3)

    def figure(self, rendering: Rendering) -> Any:
        """Seconds along, dBFS (LUFS for loudness) up, one stroke a meter."""
        seconds = rendering.at(self.tap_of(rendering)).seconds
        drawing = time_frame(self.height, seconds, (_FLOOR, _TOP + self._rows * _KEY), "reading, dBFS or LUFS")
        level_axis(drawing, {each: level(each) for each in range(int(_FLOOR), 1, 10)})
        sources = sources_of(self.columns(rendering))
        for name in self.meters:
            unit, ink, stroke = _METERS[name]
            line = drawing.line("seconds", "reading", source=sources[name], **stroke, **coloured(line_color=ink))
            hover(drawing, [line], {name: f"@reading{{0.0}} {unit} at @seconds{{0.0}} s"})
        key(drawing, sources["key"], [_METERS[name][1:] for name in self.meters])
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """Each meter's readings, and its highest in the key."""
        runs = self.once(rendering, self._runs)
        seconds = rendering.at(self.tap_of(rendering)).seconds
        texts = [f"{name}, at most {_printed(name, runs[name][2])}" for name in self.meters]
        return {
            **{name: {"seconds": at, "reading": np.clip(run, _FLOOR, _TOP)} for name, (at, run, _) in runs.items()},
            "key": key_columns(texts, 3, lambda part: part * seconds, _TOP + self._rows * _KEY, _KEY),
        }

    def sentence(self, rendering: Rendering) -> str:
        """The highest that each meter reached."""
        said = [f"{name} {_printed(name, run[2])}" for name, run in self.once(rendering, self._runs).items()]
        return f"The highest readings after the {of_tap(rendering, self.tap_of(rendering))}: {', '.join(said)}."


def _printed(name: str, reading: float) -> str:
    if math.isnan(reading):
        return "needs 3 s"
    return signed(reading, unit=_METERS[name][0], plus=reading > 0)


def _run(name: str, audio: Audio) -> Run:
    if name == "true peak":
        return _true_peaks(audio)
    if name == "short-term loudness":
        run = short_term_lufs(audio.samples, audio.rate_hz)
        at = np.arange(0, len(run), max(1, math.ceil(len(run) / _COLUMNS)))
        return 3.0 + at / 100, run[at], float(run.max()) if len(run) else math.nan
    frames = max(1, min(_FRAMES, audio.rate_hz, math.ceil(_COLUMNS / audio.seconds)))
    moved: Deflection
    if name == "VU":
        moved = vu(audio.samples, audio.rate_hz, frames_a_second=frames)
    elif name == "sample peak":
        moved = sample_peak_meter(audio.samples, audio.rate_hz, frames_a_second=frames)
    else:
        kind: Any = "I" if name == "PPM type I" else "II"
        moved = ppm(audio.samples, audio.rate_hz, kind, frames_a_second=frames)
    return moved.seconds, moved.level_dbfs.max(axis=1), float(moved.highest_dbfs.max())


def _true_peaks(audio: Audio) -> Run:
    """The highest point of the curve up to each moment, as the meter holds it."""
    channels = np.ascontiguousarray(audio.samples.T)
    count = max(1, min(math.ceil(audio.seconds * _FRAMES), _COLUMNS, len(audio.samples)))
    edges = np.linspace(0, len(audio.samples), count + 1).round().astype(int).tolist()
    highest, run = [0.0] * audio.channels, []
    for start, stop in itertools.pairwise(edges):
        highest = [
            loops.interpolated_peak(channel, start, stop, before, QUARTERS, MIDWAY)
            for channel, before in zip(channels, highest, strict=True)
        ]
        run.append(max(highest))
    whole = float(true_peak_dbtp(audio.samples).max())
    return np.array(edges[1:]) / audio.rate_hz, db_from_ratio(np.array(run)), whole
