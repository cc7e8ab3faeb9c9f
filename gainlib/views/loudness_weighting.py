"""How much each frequency counts towards loudness, and how much of the signal lies there."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import db_from_power
from gainlib.flow import Rendering
from gainlib.meters import OctaveBands, k_weighting_db, loudness_lufs, octave_bands
from gainlib.text import dbfs, signed, spaced
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.signal_path import entering
from gainlib.views.style import coloured, decibel_axis, frame, hover, key, key_columns, level_axis, sources_of

__all__ = ["LoudnessWeighting"]

_LOW_HZ, _HIGH_HZ = 20.0, 20_000.0
_LOW_DB, _HIGH_DB = -14.0, 6.0
_KEY = 2.2
_HERTZ = (20, 50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000)
_HALF_OCTAVE = 10.0**0.15  # IEC 61260-1, base ten
_LEAST_SECONDS = 0.4

_Read = tuple[OctaveBands, NDArray[Any], float]


class LoudnessWeighting(TapView):
    """The K-weighting of a loudness meter, in decibels over frequency, and the share of the power in each octave.

    `tap` is the stage, the last unless named; what enters it is looked at, so that the picture of a `KWeighting` stage
    shows what the filter meets. The solid line is the filter; a dotted step stands in each octave as many dB below the
    top of the picture as that octave lies below the signal's strongest one.
    """

    name: ClassVar[str] = "loudness weighting"
    title: ClassVar[str] = "What counts towards loudness"
    joined: ClassVar[str] = " at the "
    height = 250

    def _read(self, rendering: Rendering) -> _Read:
        audio = entering(rendering, self.tap_of(rendering))
        bands = octave_bands(audio.samples, audio.rate_hz)
        strongest = bands.level_dbfs.max(axis=1) if len(bands.middle_hz) else np.zeros(0)
        whole = loudness_lufs(audio.samples, audio.rate_hz) if audio.seconds >= _LEAST_SECONDS else -math.inf
        return bands, strongest, whole

    def figure(self, rendering: Rendering) -> Any:
        """Hertz along (each octave as wide), dB up: the filter's line, and a step for each octave of the signal."""
        drawing = frame(
            self.height, (_LOW_HZ, _HIGH_HZ), (_LOW_DB, _HIGH_DB + _KEY), x_axis_type="log",
            x_axis_label="frequency, Hz", y_axis_label="counts, dB",
        )  # fmt: skip
        decibel_axis(drawing.xaxis, {each: spaced(each) for each in _HERTZ})
        level_axis(drawing, {each: signed(each, 0, "") for each in range(-12, 7, 3)})
        sources = sources_of(self.columns(rendering))
        dotted: dict[str, Any] = {"line_width": 2.5, "line_dash": "dotted"}
        solid: dict[str, Any] = {"line_width": 2.5}
        steps = drawing.segment("left", "drawn", "right", "drawn", source=sources["octaves"], **dotted,
                                **coloured(line_color="rms"))  # fmt: skip
        seen = drawing.line("hz", "db", source=sources["filter"], **solid, **coloured(line_color="peak"))
        hover(drawing, [seen], {"at": "@hz{0} Hz", "counts": "@db{0.0} dB"}, along=True)
        hover(drawing, [steps], {"octave": "@middle", "level": "@said (RMS)"})
        key(drawing, sources["key"], [("peak", solid), ("rms", dotted)])
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The filter's curve, and the octaves below the strongest one."""
        bands, levels, _ = self.once(rendering, self._read)
        middle = bands.middle_hz
        rate_hz = entering(rendering, self.tap_of(rendering)).rate_hz
        hertz = np.geomspace(_LOW_HZ, min(_HIGH_HZ, rate_hz / 2), 200)
        heard = levels > -math.inf
        top = float(levels.max()) if heard.any() else 0.0
        drawn = _HIGH_DB + levels[heard] - top
        inside = drawn >= _LOW_DB
        wide = math.log(_HIGH_HZ / _LOW_HZ)
        texts = ["the filter: how much a frequency counts", "the signal's octaves, against its strongest"]
        return {
            "filter": {"hz": hertz, "db": np.maximum(k_weighting_db(hertz, rate_hz), _LOW_DB)},
            "octaves": {
                "left": middle[heard][inside] / _HALF_OCTAVE,
                "right": middle[heard][inside] * _HALF_OCTAVE,
                "middle": [bands.names[each] for each in np.flatnonzero(heard)[inside]],
                "drawn": drawn[inside],
                "said": [dbfs(float(each)) for each in levels[heard][inside]],
            },
            "key": key_columns(texts, 2, lambda part: _LOW_HZ * math.exp(part * wide), _HIGH_DB + _KEY, _KEY),
        }

    def sentence(self, rendering: Rendering) -> str:
        """Where most of the signal lies, and how much that counts."""
        bands, levels, whole = self.once(rendering, self._read)
        audio = entering(rendering, self.tap_of(rendering))
        if not (levels > -math.inf).any():
            return f"At the {of_tap(rendering, self.tap_of(rendering))}: no sound."
        strongest = int(levels.argmax())
        there = float(k_weighting_db(float(bands.middle_hz[strongest]), audio.rate_hz))
        said = f"The strongest octave lies around {bands.names[strongest]}, where the filter counts {signed(there)}"
        if whole > -math.inf:
            plain = db_from_power(float(np.square(audio.samples, dtype=np.float64).mean(axis=0).sum()))
            said += (
                f"; the whole reads {signed(whole, unit='LUFS', plus=False)}, without filter and gates "
                f"{signed(plain, unit='LUFS', plus=False)}"
            )
        return f"{said}."
