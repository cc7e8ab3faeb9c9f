"""The spectrum behind a stage; of a tone, with its harmonics in percent and in decibels."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import db_from_ratio
from gainlib.errors import GainError
from gainlib.flow import Rendering
from gainlib.meters import Harmonics, harmonics
from gainlib.text import dbfs, level, signed, spaced
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.style import coloured, decibel_axis, frame, hover, level_axis, sources_of, write

__all__ = ["HarmonicSpectrum"]

_LOW_HZ, _HIGH_HZ, _EDGE_HZ = 20.0, 20_000.0, 158_000.0  # the table of harmonics stands right of what is heard
_FLOOR_DBFS, _TOP_DBFS = -120.0, 6.0
_COLUMNS = 500
_ORDERS = 10
_LEAST_SAMPLES = 512
_TONE_SHARE = 0.9  # as much of the power must be tone and harmonics, or it is music and not a tone
_LEAST_DB = -120.0
_ROW_DB = 11.0
# The flat-topped window's cosines, *published*: D'Antona and Ferrero, Digital Signal Processing for Measurement Systems
# (2006), p. 70, as scipy.signal.windows.flattop has them, with signs for a window that begins at its edge.
_FLAT_TOP = (0.21557895, -0.41663158, 0.277263158, -0.083578947, 0.006947368)

Read = tuple[NDArray[Any], NDArray[Any], "Harmonics | None"]


class HarmonicSpectrum(TapView):
    """Level over frequency in the second around the loudest moment; a sine reads its peak level.

    `tap` is the stage, the last unless named. Where the signal is a tone, harmonics 2 to 10 are numbered, and a table
    says each in percent of the fundamental and in dB below it; of music there are none to number. Of several channels
    the one with the loudest sample is drawn.
    """

    name: ClassVar[str] = "spectrum"
    title: ClassVar[str] = "Spectrum"
    height = 290

    def _read(self, rendering: Rendering) -> Read:
        """Frequencies, levels and the harmonics of a tone, all of the channel with the loudest sample."""
        audio = rendering.at(self.tap_of(rendering))
        loudest, channel = np.unravel_index(np.abs(audio.samples).argmax(), audio.samples.shape)
        start = max(0, min(int(loudest) - audio.rate_hz // 2, len(audio.samples) - audio.rate_hz))
        part = audio.samples[start : start + audio.rate_hz, channel].astype(np.float64)
        frequency_hz, lines = _lines(part, audio.rate_hz)
        return frequency_hz, lines, _tone(part, audio.rate_hz)

    def figure(self, rendering: Rendering) -> Any:
        """Hertz along (each octave as wide), dBFS up; numbers at the harmonics, the table beside."""
        drawing = frame(
            self.height, (_LOW_HZ, _EDGE_HZ), (_FLOOR_DBFS, _TOP_DBFS), x_axis_type="log",
            x_axis_label="frequency, Hz", y_axis_label="level, dBFS",
        )  # fmt: skip
        ticks = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
        decibel_axis(drawing.xaxis, {each: spaced(each) for each in ticks})
        level_axis(drawing, {each: level(each) for each in range(int(_FLOOR_DBFS), 1, 20)})
        sources = sources_of(self.columns(rendering))
        seen = drawing.line("hz", "drawn_dbfs", source=sources["lines"], line_width=1.5, **coloured(line_color="peak"))
        drawing.quad([_HIGH_HZ * 1.02], [_EDGE_HZ], [_TOP_DBFS], [_FLOOR_DBFS], line_alpha=0.0,
                     **coloured(fill_color="background"))  # fmt: skip
        drawing.scatter("hz", "dbfs", source=sources["marks"], marker="inverted_triangle", size=7,
                        **coloured(fill_color="ceiling", line_color="ceiling"))  # fmt: skip
        write(drawing, sources["marks"], x="hz", y="above_dbfs", text="order", text_align="center")
        for column in ("order", "percent", "decibels"):
            write(drawing, sources["table"], x=f"x_{column}", text=column, text_align="right")
        hover(drawing, [seen], {"at": "@hz{0} Hz", "level": "@dbfs{0.0} dBFS"}, along=True)
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The highest line in each of some hundred bands, marks on the harmonics, the table's rows."""
        frequency_hz, levels, tone = self.once(rendering, self._read)
        at, highest = _banded(frequency_hz, levels)
        orders = [] if tone is None else _shown(tone)
        amplitudes = [] if tone is None else [float(tone.amplitude[each - 1, 0]) for each in orders]
        hertz = np.array([each * tone.fundamental_hz for each in orders] if tone else [], dtype=float)
        heights = np.clip(db_from_ratio(np.array(amplitudes, dtype=float)), _FLOOR_DBFS, _TOP_DBFS)
        seen = (hertz >= _LOW_HZ) & (hertz <= _HIGH_HZ)
        rows: list[tuple[str, str, str]] = []
        if tone is not None:
            rows = [("harmonic", "%", "dB"), *(_row(tone, each) for each in range(2, len(tone.amplitude) + 1))]
        count = len(rows)
        return {
            "lines": {"hz": at, "dbfs": highest, "drawn_dbfs": np.clip(highest, _FLOOR_DBFS, _TOP_DBFS)},
            "marks": {
                "hz": hertz[seen],
                "dbfs": np.minimum(heights[seen] + 3.0, _TOP_DBFS - 1.0),
                "above_dbfs": np.minimum(heights[seen] + 10.0, _TOP_DBFS - 4.0),
                "order": [str(each) if each > 1 else "" for each, kept in zip(orders, seen, strict=True) if kept],
            },
            "table": {
                "x_order": np.full(count, 42_000.0),
                "x_percent": np.full(count, 80_000.0),
                "x_decibels": np.full(count, 152_000.0),
                "y": _TOP_DBFS - _ROW_DB * (np.arange(count) + 0.6),
                "order": [each[0] for each in rows],
                "percent": [each[1] for each in rows],
                "decibels": [each[2] for each in rows],
            },
        }

    def sentence(self, rendering: Rendering) -> str:
        """The tone with its strongest harmonics and their sum; of music where most of it lies."""
        frequency_hz, levels, tone = self.once(rendering, self._read)
        where = of_tap(rendering, self.tap_of(rendering))
        if not len(levels) or levels.max() == -math.inf:
            return f"After the {where}: no sound to look at."
        if tone is None:
            loudest = float(frequency_hz[levels.argmax()])
            return (
                f"After the {where}: the strongest line lies at {loudest:.0f} Hz with "
                f"{signed(float(levels.max()), unit='dBFS', plus=False)}; it is no steady tone, so no harmonics are "
                "numbered."
            )
        own = dbfs(db_from_ratio(float(tone.amplitude[0, 0])))
        said = f"After the {where}: a tone of {tone.fundamental_hz:.1f} Hz at {own}"
        orders = [each for each in _shown(tone) if each > 1]
        if not orders:
            return f"{said}; no harmonic is stronger than {level(_LEAST_DB)} dB."
        strongest = sorted(orders, key=lambda each: -float(tone.amplitude[each - 1, 0]))[:3]
        listed = ", ".join(
            f"harmonic {each} has {percent} % ({decibels} dB)"
            for each, percent, decibels in (_row(tone, each) for each in strongest)
        )
        total = float(tone.thd_percent[0])
        return f"{said}; {listed}; all together are {_percent(total)} % of it."


def _percent(percent: float) -> str:
    shown = round(percent, 4)  # what is 0.1 % is written alike, on which side its last bit may lie
    return f"{shown:.1f}" if shown >= 10 else f"{shown:.2f}" if shown >= 0.1 else f"{shown:.4f}"


def _row(tone: Harmonics, order: int) -> tuple[str, str, str]:
    ratio = float(tone.amplitude[order - 1, 0] / tone.amplitude[0, 0])
    decibels = db_from_ratio(ratio)
    if decibels < _LEAST_DB:
        return str(order), "0", f"<{level(_LEAST_DB)}"
    return str(order), _percent(100.0 * ratio), signed(decibels, unit="", plus=False)


def _shown(tone: Harmonics) -> list[int]:
    """The orders, the tone itself first, that are not too weak to mean anything."""
    least = float(tone.amplitude[0, 0]) * 10.0 ** (_LEAST_DB / 20.0)
    orders = range(1, len(tone.amplitude) + 1)
    return [each for each in orders if each == 1 or float(tone.amplitude[each - 1, 0]) > least]


def _lines(part: NDArray[Any], rate_hz: int) -> tuple[NDArray[Any], NDArray[Any]]:
    """Frequency and level of each line under a flat-topped window, where a sine reads its peak to 0.01 dB."""
    if len(part) < _LEAST_SAMPLES:
        return np.zeros(0), np.zeros(0)
    turns = 2.0 * np.pi * np.arange(len(part)) / len(part)
    window = np.asarray(sum(share * np.cos(order * turns) for order, share in enumerate(_FLAT_TOP)))
    lines = np.abs(np.fft.rfft(part * window)) * 2.0 / window.sum()
    lines[0] /= 2.0
    return np.fft.rfftfreq(len(part), 1.0 / rate_hz), db_from_ratio(lines)


def _tone(part: NDArray[Any], rate_hz: int) -> Harmonics | None:
    if len(part) < _LEAST_SAMPLES:
        return None
    steady = part - part.mean()
    whole = float(np.mean(steady**2))
    # A constant with some rounding is no tone.
    if whole <= 1e-20 * float(np.max(np.abs(part))) ** 2 or whole == 0.0:
        return None
    if _share_near_harmonics(steady) < _TONE_SHARE:  # a fit of music takes long, and finds nothing
        return None
    try:
        found = harmonics(part, rate_hz, count=_ORDERS)
    except GainError:
        return None
    tonal = float((found.amplitude[:, 0] ** 2).sum() / 2.0)
    if tonal < _TONE_SHARE * whole or found.fundamental_hz < _LOW_HZ:
        return None
    return found


def _share_near_harmonics(steady: NDArray[Any]) -> float:
    """How much of the power lies near the strongest line and its multiples; of a tone nearly all that is harmonic."""
    powers = np.abs(np.fft.rfft(steady * np.hanning(len(steady)))) ** 2
    best = int(powers.argmax())
    near = np.zeros(len(powers), dtype=bool)
    for order in range(1, _ORDERS + 1):
        # The line's place is known to half a line, a multiple's to so many halves.
        reach = 3 + order
        near[max(0, order * best - reach) : order * best + reach + 1] = True
    return float(powers[near].sum() / powers.sum())


def _banded(frequency_hz: NDArray[Any], levels: NDArray[Any]) -> tuple[NDArray[Any], NDArray[Any]]:
    """The highest line in each of some hundred bands that are as wide as each other on the axis."""
    inside = (frequency_hz >= _LOW_HZ) & (frequency_hz <= _HIGH_HZ)
    at, highest = frequency_hz[inside], np.maximum(levels[inside], -200.0)
    if not len(at):
        return np.zeros(0), np.zeros(0)
    band = (np.log(at / _LOW_HZ) / math.log(_HIGH_HZ / _LOW_HZ) * (_COLUMNS - 1)).astype(int)
    starts = np.flatnonzero(np.diff(band, prepend=-1))
    stops = [*starts[1:], len(at)]
    best = [int(start + highest[start:stop].argmax()) for start, stop in zip(starts, stops, strict=True)]
    return at[best], highest[best]
