"""Which blocks of 400 ms count towards the loudness of the whole, and which the two gates leave out."""

from __future__ import annotations

import math
from typing import Any, ClassVar, NamedTuple

import numpy as np
from numpy.typing import NDArray

from gainlib.flow import Rendering
from gainlib.meters import loudness
from gainlib.text import level, signed
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.style import coloured, hover, key, key_columns, level_axis, sources_of, time_frame

__all__ = ["LoudnessGates"]

_FLOOR_LUFS, _TOP_LUFS = -80.0, 0.0
_KEY_LU = 9.0
_BLOCK_SECONDS, _STEP_SECONDS = 0.4, 0.1
_ABSOLUTE_LUFS = -70.0
_MOST_POINTS = 900


class _Read(NamedTuple):
    blocks: NDArray[Any]
    gate_lufs: float
    whole_lufs: float
    loudest_lufs: float


class LoudnessGates(TapView):
    """Each block of 400 ms behind one stage, kept or left out, with the two gates and the loudness of what is kept.

    `tap` is the stage, the last unless named. A block stands where it ends. Full dots count; open rings lie below the
    relative gate, crosses below -70 LUFS.
    """

    name: ClassVar[str] = "loudness gates"
    title: ClassVar[str] = "Blocks and gates"
    height = 260

    def _read(self, rendering: Rendering) -> _Read:
        audio = rendering.at(self.tap_of(rendering))
        if audio.seconds < _BLOCK_SECONDS:
            return _Read(np.zeros(0), _ABSOLUTE_LUFS, -math.inf, -math.inf)
        read = loudness(audio.samples, audio.rate_hz)
        loudest = read.short_term_max_lufs if audio.seconds >= 3.0 else -math.inf
        return _Read(read.blocks_lufs, read.relative_gate_lufs, read.integrated_lufs, loudest)

    def figure(self, rendering: Rendering) -> Any:
        """Seconds along, LUFS up: dots, rings and crosses, the two gates, the integrated loudness."""
        seconds = rendering.at(self.tap_of(rendering)).seconds
        drawing = time_frame(self.height, seconds, (_FLOOR_LUFS, _TOP_LUFS + 2 * _KEY_LU), "block of 400 ms, LUFS")
        level_axis(drawing, {each: level(each) for each in range(int(_FLOOR_LUFS), int(_TOP_LUFS) + 1, 10)})
        sources = sources_of(self.columns(rendering))
        lines: dict[str, tuple[str, dict[str, Any]]] = {
            "absolute": ("ceiling", {"line_width": 1.5, "line_dash": "dotted"}),
            "relative": ("third", {"line_width": 2.0, "line_dash": "dotdash"}),
            "integrated": ("text", {"line_width": 2.0, "line_dash": [6, 4]}),
        }
        for name, (ink, stroke) in lines.items():
            drawing.segment("left", "lufs", "right", "lufs", source=sources[name], **stroke, **coloured(line_color=ink))
        marks = {"kept": ("circle", "peak", "peak"), "left out": ("circle", "background", "noise"),
                 "silent": ("x", "noise", "noise")}  # fmt: skip
        seen = [
            drawing.scatter("seconds", "drawn", source=sources[name], marker=marker, size=6,
                            **coloured(fill_color=fill, line_color=line))
            for name, (marker, fill, line) in marks.items()
        ]  # fmt: skip
        hover(drawing, seen, {"block ends at": "@seconds{0.0} s", "loudness": "@lufs{0.0} LUFS"})
        key(drawing, sources["key"], list(lines.values()))
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The blocks by what becomes of them, and three lines."""
        seconds = rendering.at(self.tap_of(rendering)).seconds
        read = self.once(rendering, self._read)
        ends = _BLOCK_SECONDS + np.arange(len(read.blocks)) * _STEP_SECONDS
        shown = np.arange(0, len(ends), max(1, math.ceil(len(ends) / _MOST_POINTS)))

        def points(which: NDArray[Any]) -> dict[str, NDArray[Any]]:
            at = shown[which[shown]]
            lufs = read.blocks[at]
            return {"seconds": ends[at], "lufs": lufs, "drawn": np.clip(lufs, _FLOOR_LUFS + 2.0, _TOP_LUFS)}

        def line(lufs: float) -> dict[str, NDArray[Any]]:
            heard = int(math.isfinite(lufs))
            return {
                "left": np.zeros(heard),
                "right": np.full(heard, seconds),
                "lufs": np.full(heard, min(max(lufs, _FLOOR_LUFS), _TOP_LUFS) if heard else 0.0),
            }

        texts = [
            f"absolute gate {signed(_ABSOLUTE_LUFS, 0, 'LUFS', plus=False)}",
            f"relative gate {signed(read.gate_lufs, unit='LUFS', plus=False)}",
            f"integrated {signed(read.whole_lufs, unit='LUFS', plus=False)}",
        ]
        silent = read.blocks <= _ABSOLUTE_LUFS
        kept = read.blocks > read.gate_lufs
        return {
            "kept": points(kept),
            "left out": points(~kept & ~silent),
            "silent": points(silent),
            "absolute": line(_ABSOLUTE_LUFS),
            "relative": line(read.gate_lufs),
            "integrated": line(read.whole_lufs),
            "key": key_columns(texts, 3, lambda part: part * seconds, _TOP_LUFS + 2 * _KEY_LU, _KEY_LU),
        }

    def sentence(self, rendering: Rendering) -> str:
        """How many blocks count, what the others lie below, and the whole beside its loudest three seconds."""
        where = of_tap(rendering, self.tap_of(rendering))
        read = self.once(rendering, self._read)
        if not len(read.blocks):
            return f"After the {where}: too short for loudness, which needs 0.4 s."
        count = len(read.blocks)
        kept = int((read.blocks > read.gate_lufs).sum())
        silent = int((read.blocks <= _ABSOLUTE_LUFS).sum())
        if not kept:
            return f"After the {where}: none of {count} blocks lies above −70 LUFS, so nothing counts."
        gate = signed(read.gate_lufs, unit="LUFS", plus=False)
        said = (
            f"After the {where} {kept} of {count} blocks count: {silent} lie below −70 LUFS, "
            f"{count - kept - silent} more below the relative gate of {gate}. "
            f"Integrated {signed(read.whole_lufs, unit='LUFS', plus=False)}"
        )
        if read.loudest_lufs > -math.inf:
            apart = round(read.whole_lufs - read.loudest_lufs, 1)
            side = f"{abs(apart):.1f} LU {'above' if apart > 0 else 'below'}" if apart else "as loud as"
            said += f", {side} the loudest 3 s ({signed(read.loudest_lufs, unit='LUFS', plus=False)})"
        return f"{said}."
