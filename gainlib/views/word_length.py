"""The noise that a word length makes, octave by octave, against the noise that the signal brings along."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib.audio import Audio
from gainlib.decibels import db_from_power, rms_dbfs_from_power
from gainlib.flow import Rendering
from gainlib.meters import OctaveBands, octave_bands, rms_dbfs
from gainlib.stages import Delivery, Stage, StoredFile
from gainlib.stages.wordlength import rounding_power, shaped_power
from gainlib.text import dbfs, level
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap, stage_of
from gainlib.views.signal_path import entering, last_of
from gainlib.views.style import coloured, decibel_axis, frame, hover, key, key_columns, level_axis, sources_of

__all__ = ["WordLength"]

_LOW_HZ, _HIGH_HZ = 22.0, 22_400.0
_FLOOR, _TOP = -180.0, 0.0
_KEY = 17.0
_PAUSE_SECONDS = 0.4
_HALF_OCTAVE = 10.0**0.15  # IEC 61260-1, base ten

_FLOORS: dict[str, tuple[int, bool, str, dict[str, Any]]] = {
    "16 bit, dithered": (16, True, "ceiling", {"line_width": 2.5, "line_dash": "dotted"}),
    "16 bit": (16, False, "ceiling", {"line_width": 1.5, "line_dash": "dotdash"}),
    "24 bit": (24, False, "third", {"line_width": 1.5, "line_dash": "dotdash"}),
}


class WordLength(TapView):
    """Octave levels of the whole signal and of its quietest moment, and the noise floors of 16 and 24 bit.

    `tap` is the stage, unless named the last fixed-point file, else the last of all. The quietest moment is the softest
    0.4 s of the recording at that tap, of a file of what enters it: where nobody plays it is the noise of the chain. A
    floor above it is heard, one below it is hidden by it. The sentence is about the file's own word length, else about
    16 bit with dither.
    *Derived*: rounding makes a twelfth of a step squared, dithered three times that, spread evenly up to half the rate,
    or as the file's noise shaping has it.
    """

    name: ClassVar[str] = "word length"
    title: ClassVar[str] = "Word length and noise"
    height = 280

    def usual_tap(self, rendering: Rendering) -> str:
        """The last fixed-point file, else the last stage of all."""
        return last_of(rendering, lambda stage: _written(stage) is not None) or rendering.last_tap

    def _file(self, rendering: Rendering) -> tuple[int, bool] | None:
        """Bits and dither of the file at the tap; None where no fixed-point file stands there."""
        return _written(stage_of(rendering, *rendering.session.tap(self.tap_of(rendering))))

    def _shaped_at_hz(self, rendering: Rendering) -> int | None:
        """The rate at which the file at the tap shapes its noise, None where it does not."""
        stage = stage_of(rendering, *rendering.session.tap(self.tap_of(rendering)))
        shapes = isinstance(stage, StoredFile) and stage.noise_shaping and _written(stage) is not None
        return rendering.at(self.tap_of(rendering)).rate_hz if shapes else None

    def _both(self, rendering: Rendering) -> tuple[Audio, Audio]:
        """The signal, and its softest moment; of a file what enters it, before its own noise is in it."""
        tap = self.tap_of(rendering)
        audio = rendering.at(tap)
        return audio, _softest(entering(rendering, tap) if self._file(rendering) else audio)

    def figure(self, rendering: Rendering) -> Any:
        """Octaves along, AES17 RMS in each up: dashed the signal, dotted its quietest moment, the steps' floors."""
        drawing = frame(
            self.height, (_LOW_HZ, _HIGH_HZ), (_FLOOR, _TOP + 2 * _KEY), x_axis_type="log",
            x_axis_label="octave around, Hz", y_axis_label="octave RMS, dBFS",
        )  # fmt: skip
        hertz = [31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16_000]
        decibel_axis(drawing.xaxis, {each: f"{each:g}" if each < 10_000 else "16 000" for each in hertz})
        level_axis(drawing, {each: level(each) for each in range(int(_FLOOR), 1, 20)})
        sources = sources_of(self.columns(rendering))
        strokes: dict[str, tuple[str, dict[str, Any]]] = {
            "signal": ("rms", {"line_width": 2.0, "line_dash": [6, 4]}),
            "quietest": ("noise", {"line_width": 2.5, "line_dash": "dotted"}),
            **{name: (ink, stroke) for name, (_, _, ink, stroke) in _FLOORS.items()},
        }
        for name, (ink, stroke) in strokes.items():
            line = drawing.segment("left", "drawn", "right", "drawn", source=sources[name], **stroke,
                                   **coloured(line_color=ink))  # fmt: skip
            hover(drawing, [line], {"octave": "@middle", name: "@said (RMS)"})
        key(drawing, sources["key"], list(strokes.values()))
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """A step for each octave and each line."""
        audio, softest = self.once(rendering, self._both)
        wide, shape = math.log(_HIGH_HZ / _LOW_HZ), self._shaped_at_hz(rendering)
        texts = [
            f"signal, in all {dbfs(_rms(audio))}",
            f"quietest moment {dbfs(_rms(softest))}",
            *(f"{name}{', shaped' if (shape and dithered) else ''} "
              f"{dbfs(_floor_dbfs(bits, dithered, shape if dithered else None))}"
              for name, (bits, dithered, _, _) in _FLOORS.items()),
        ]  # fmt: skip
        return {
            "signal": _steps(audio),
            "quietest": _steps(softest),
            **{
                name: _rounded(audio.rate_hz, _floor_dbfs(bits, dithered), shaped=bool(shape) and dithered)
                for name, (bits, dithered, _, _) in _FLOORS.items()
            },
            "key": key_columns(texts, 3, lambda part: _LOW_HZ * math.exp(part * wide), _TOP + 2 * _KEY, _KEY),
        }

    def sentence(self, rendering: Rendering) -> str:
        """How far the quietest moment stands over or under each floor."""
        audio, softest = self.once(rendering, self._both)
        where = of_tap(rendering, self.tap_of(rendering))
        if _rms(audio) == -math.inf:
            return f"After the {where}: silence."
        quiet = _rms(softest)
        floors = {name: _floor_dbfs(bits, dithered) for name, (bits, dithered, _, _) in _FLOORS.items()}
        listed = ", ".join(f"{name} {dbfs(floor)}" for name, floor in floors.items())
        if quiet == -math.inf:
            return (
                f"After the {where} the quietest moment is digital silence; the steps alone make {listed} "
                "(RMS over the whole band)."
            )
        bits, dithered = self._file(rendering) or (16, True)
        shape = self._shaped_at_hz(rendering)
        apart = quiet - _floor_dbfs(bits, dithered, shape)
        noise = f"the noise of {bits} bit {'with' if dithered else 'without'} dither{', shaped' if shape else ''}"
        hidden = (
            f"{apart:.1f} dB above {noise}, which it hides"
            if apart >= 10.0
            else f"{apart:.1f} dB above {noise}, which adds to it"
            if apart > 0.0
            else f"{-apart:.1f} dB below {noise}, which would be heard instead of it"
        )
        side = "Before" if self._file(rendering) else "After"
        return (
            f"{side} the {where} the quietest moment lies at {dbfs(quiet)}, {hidden}. The steps make {listed} "
            "(RMS over the whole band)."
        )


def _written(stage: Stage) -> tuple[int, bool] | None:
    """Bits and dither of a stage that writes a fixed-point file, None for any other."""
    if isinstance(stage, StoredFile | Delivery) and stage.coding.startswith("fixed"):
        return int(stage.coding.split()[1]), stage.dither
    return None


def _floor_dbfs(bits: int, dithered: bool, shaped_at_hz: int | None = None) -> float:
    return rms_dbfs_from_power(rounding_power(bits, dithered=dithered, shaped_at_hz=shaped_at_hz))


def _rms(audio: Audio) -> float:
    return float(rms_dbfs(audio.samples).max())


def _softest(audio: Audio) -> Audio:
    """The softest 0.4 s on a grid of 50 ms; the whole where it is no longer than that."""
    step = max(1, round(0.05 * audio.rate_hz))
    many = round(_PAUSE_SECONDS / 0.05)
    count = len(audio.samples) // step
    if count <= many:
        return audio
    cells = audio.samples[: count * step].reshape(count, step, -1)
    powers = np.einsum("wnc,wnc->wc", cells, cells, dtype=np.float64).max(axis=1)
    runs = np.convolve(powers, np.ones(many), "valid")
    # A convolution of what is exactly zero with ones is exactly zero.
    start = int(runs.argmin()) * step
    return Audio(audio.samples[start : start + many * step], audio.rate_hz)


def _steps(audio: Audio) -> dict[str, Any]:
    bands = octave_bands(audio.samples, audio.rate_hz)
    return _segments(bands, bands.level_dbfs.max(axis=1) if len(bands.middle_hz) else np.zeros(0))


def _rounded(rate_hz: int, white_dbfs: float, *, shaped: bool) -> dict[str, Any]:
    """The noise of rounding, white of that level over the whole band or shaped, in each octave the share it has."""
    bands = octave_bands(np.zeros(2), rate_hz)
    shares = bands.middle_hz * (_HALF_OCTAVE - 1.0 / _HALF_OCTAVE) / (rate_hz / 2.0)
    if shaped:
        inside = bands.middle_hz[:, None] * np.linspace(1.0 / _HALF_OCTAVE, _HALF_OCTAVE, 201)
        shares = shares * shaped_power(np.minimum(inside, rate_hz / 2.0), rate_hz).mean(axis=1)
    return _segments(bands, white_dbfs + db_from_power(shares))


def _segments(bands: OctaveBands, levels: NDArray[Any]) -> dict[str, Any]:
    return {
        "left": bands.middle_hz / _HALF_OCTAVE,
        "right": bands.middle_hz * _HALF_OCTAVE,
        "middle": bands.names,
        "drawn": np.clip(levels, _FLOOR, _TOP),
        "said": [dbfs(float(each)) for each in levels],
    }
