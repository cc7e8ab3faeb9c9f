"""Loudness over time, with the band in which a place of delivery wants the whole."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib.errors import GainError, suggest
from gainlib.flow import Rendering
from gainlib.meters import loudness, momentary_lufs, short_term_lufs, true_peak_dbtp
from gainlib.stages import TARGETS, Delivery, Target
from gainlib.text import level, signed
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.style import coloured, hover, key, key_columns, level_axis, sources_of, time_frame

__all__ = ["LoudnessOverTime"]

_FLOOR_LUFS, _TOP_LUFS = -50.0, 0.0
_KEY_LU = 8.0
_COLUMNS = 600
_MOMENTARY_SECONDS, _SHORT_TERM_SECONDS = 0.4, 3.0


class LoudnessOverTime(TapView):
    """Momentary and short-term loudness behind one stage, the integrated loudness, and the band of what was ordered.

    What nobody ordered is not drawn. Each value stands where its window ends.

    Parameters
    ----------
    tap : str or None
        The stage, the last unless named.
    target : str or None
        The name of a published target, whatever else is ordered.
    orders : mapping of str to Target, or None
        A target for each tap that has one; without one the session's delivery says what is wanted.
    height : int
        In pixels.

    Raises
    ------
    GainError
        For a target that is not known; when it draws, for a tap that is not there.

    References
    ----------
    *Published*: ITU-R BS.1770-5 (integrated, true peak), EBU Tech 3341 (windows), EBU Tech 3342 (range).

    Examples
    --------
    >>> LoudnessOverTime(target="EBU R 128").target
    'EBU R 128'
    """

    name: ClassVar[str] = "loudness"
    title: ClassVar[str] = "Loudness"

    def __init__(
        self,
        tap: str | None = None,
        *,
        target: str | None = None,
        orders: Mapping[str, Target] | None = None,
        height: int = 230,
    ) -> None:
        if target is not None and target not in TARGETS:
            raise GainError(f"target of the loudness view is {target!r}; {suggest(str(target), TARGETS)}")
        super().__init__(tap, height=height)
        self.target = target
        self.orders = dict(orders or {})

    def _wanted(self, rendering: Rendering) -> Target | None:
        """What was ordered: as the view was told, else of the exercise, else what the delivery is set to meet."""
        if self.target:
            return TARGETS[self.target]
        if ordered := self.orders.get(self.tap_of(rendering)):
            return ordered
        deliveries = [
            stage for part in rendering.session.channels for stage in part.tapped_stages if isinstance(stage, Delivery)
        ]
        return deliveries[-1].order if deliveries else None

    def _runs(self, rendering: Rendering) -> tuple[NDArray[Any], NDArray[Any], float]:
        audio = rendering.at(self.tap_of(rendering))
        short = audio.seconds < _MOMENTARY_SECONDS
        whole = -math.inf if short else loudness(audio.samples, audio.rate_hz).integrated_lufs
        return momentary_lufs(audio.samples, audio.rate_hz), short_term_lufs(audio.samples, audio.rate_hz), whole

    def figure(self, rendering: Rendering) -> Any:
        """Seconds along, LUFS up; thin momentary, strong short-term, dashed integrated, the band that was ordered."""
        seconds = rendering.at(self.tap_of(rendering)).seconds
        drawing = time_frame(self.height, seconds, (_FLOOR_LUFS, _TOP_LUFS + 2 * _KEY_LU), "loudness, LUFS")
        level_axis(drawing, {each: level(each) for each in range(int(_FLOOR_LUFS), int(_TOP_LUFS) + 1, 10)})
        sources = sources_of(self.columns(rendering))
        drawing.quad(
            "left", "right", "top", "bottom", source=sources["band"], fill_alpha=0.25, line_width=1.0,
            line_dash="dotdash", **coloured(fill_color="third", line_color="third"),
        )  # fmt: skip
        thin: dict[str, Any] = {"line_width": 1.0}
        strong: dict[str, Any] = {"line_width": 2.5}
        dashed: dict[str, Any] = {"line_width": 2.0, "line_dash": [6, 4]}
        band: dict[str, Any] = {"line_width": 5.0, "line_alpha": 0.6}
        drawing.line("seconds", "lufs", source=sources["momentary"], **thin, **coloured(line_color="noise"))
        seen = drawing.line("seconds", "lufs", source=sources["short_term"], **strong, **coloured(line_color="peak"))
        drawing.segment("left", "lufs", "right", "lufs", source=sources["integrated"], **dashed,
                        **coloured(line_color="text"))  # fmt: skip
        strokes = [("noise", thin), ("peak", strong), ("text", dashed), ("third", band)]
        key(drawing, sources["key"], strokes if self._wanted(rendering) else strokes[:3])
        hover(drawing, [seen], {"at": "@seconds{0.00} s", "short-term": "@lufs{0.0} LUFS"}, along=True)
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The runs thinned to some hundred values, the integrated loudness and the band."""
        seconds = rendering.at(self.tap_of(rendering)).seconds
        momentary, short_term, whole = self.once(rendering, self._runs)
        wanted = self._wanted(rendering)
        heard = math.isfinite(whole)
        most = [signed(float(each.max(initial=-math.inf)), unit="LUFS", plus=False) for each in (momentary, short_term)]
        texts = [
            f"momentary, at most {most[0]}",
            f"short-term, at most {most[1]}" if len(short_term) else "short-term: needs 3 s",
            f"integrated {signed(whole, unit='LUFS', plus=False)}",
        ]
        band = []
        if wanted:
            loudness_ = signed(wanted.loudness_lufs, unit="LUFS", plus=False)
            texts.append(f"{wanted.name} {loudness_} ±{wanted.tolerance_lu:.1f} LU")
            half = max(wanted.tolerance_lu, 0.3)  # a band of 0.4 LU could not be seen
            band = [(wanted.loudness_lufs - half, wanted.loudness_lufs + half)]
        return {
            "momentary": _thinned(momentary, _MOMENTARY_SECONDS),
            "short_term": _thinned(short_term, _SHORT_TERM_SECONDS),
            "integrated": {
                "left": np.zeros(int(heard)),
                "right": np.full(int(heard), seconds),
                "lufs": np.clip(np.full(int(heard), whole if heard else 0.0), _FLOOR_LUFS, _TOP_LUFS),
            },
            "band": {
                "left": np.zeros(len(band)),
                "right": np.full(len(band), seconds),
                "bottom": np.array([low for low, _ in band]),
                "top": np.array([high for _, high in band]),
            },
            "key": key_columns(texts, 2, lambda part: part * seconds, _TOP_LUFS + 2 * _KEY_LU, _KEY_LU),
        }

    def sentence(self, rendering: Rendering) -> str:
        """Loudness and true peak of the whole against what was ordered, the loudest three seconds, the range."""
        audio = rendering.at(self.tap_of(rendering))
        where = of_tap(rendering, self.tap_of(rendering))
        if audio.seconds < _MOMENTARY_SECONDS:
            return f"After the {where}: too short for loudness, which needs 0.4 s."
        _, short_term, whole = self.once(rendering, self._runs)
        if whole == -math.inf:
            return f"After the {where}: nothing loud enough to count, which starts at −70 LUFS."
        wanted = self._wanted(rendering)
        said = f"After the {where}: integrated {signed(whole, unit='LUFS', plus=False)}"
        if wanted:
            apart = round(whole, 1) - wanted.loudness_lufs
            target = f"{signed(wanted.loudness_lufs, unit='LUFS', plus=False)} of {wanted.name}"
            side = "above" if apart > 0 else "below"
            inside = "within" if abs(apart) <= wanted.tolerance_lu + 1e-9 else "outside"
            said += f", on the {target}" if round(apart, 1) == 0 else f", {abs(apart):.1f} LU {side} the {target}"
            said += f" and {inside} its ±{wanted.tolerance_lu:.1f} LU"
            if math.isfinite(wanted.true_peak_dbtp):
                highest = round(float(true_peak_dbtp(audio.samples).max()), 1)
                side = "above" if highest > wanted.true_peak_dbtp else "within"
                limit = signed(wanted.true_peak_dbtp, unit="dBTP", plus=False)
                said += f"; the true peak {signed(highest, unit='dBTP', plus=False)} is {side} its {limit}"
        if len(short_term) and math.isfinite(short_term.max()):
            end = _SHORT_TERM_SECONDS + int(short_term.argmax()) / 100
            range_lu = loudness(audio.samples, audio.rate_hz).range_lu
            said += (
                f"; the loudest 3 s end at {end:.1f} s with {signed(float(short_term.max()), unit='LUFS', plus=False)}"
            )
            said += f", the loudness range is {range_lu:.1f} LU"
        return f"{said}."


def _thinned(run: NDArray[Any], first_seconds: float) -> dict[str, NDArray[Any]]:
    """Values of a run on the grid of 10 ms, evenly chosen where there are more than the picture can show."""
    at = np.arange(0, len(run), max(1, math.ceil(len(run) / _COLUMNS)))
    return {"seconds": first_seconds + at / 100, "lufs": np.clip(run[at], _FLOOR_LUFS, _TOP_LUFS)}
