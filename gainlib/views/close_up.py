"""A few milliseconds around the loudest moment: what came, and what would have come without a ceiling."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import db_from_ratio, ratio_from_db
from gainlib.flow import Rendering
from gainlib.meters import clipped_runs, curve_between, true_peak_dbtp
from gainlib.text import dbfs, signed
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap, stage_of
from gainlib.views.style import amplitude_frame, beyond_full_scale, coloured, hatch, hover, sources_of

__all__ = ["CloseUp"]

_HALF_MS = 4.0
# Of the scale, a ratio: 8 dB over full scale. What is higher leaves the picture; it is not drawn as cut off.
_TOP = 2.5
# Points of the curve for each sample, and samples to both sides that still bear on it.
_FINE, _TAIL = 16, 64


class CloseUp(TapView):
    """The samples behind one stage around the loudest moment of the take, one by one.

    A dashed line shows the same moment as a chain of plain gains without ceilings would give it
    (`Stage.plain_gain_db`). The moment is the take's own, so no move makes the picture jump to another place.

    Parameters
    ----------
    tap : str or None
        The stage, the last unless named.
    curve : bool
        Draw the curve between the samples, as a converter draws it, in the place of the dashed line.
    height : int
        In pixels.

    Raises
    ------
    GainError
        When it draws, for a tap that is not there.

    References
    ----------
    *Published*: ITU-R BS.1770-5, Annex 2 (the true peak of the curve). *Derived*: the dashed line.

    Examples
    --------
    >>> CloseUp("converter", curve=True).tap
    'converter'
    """

    name: ClassVar[str] = "close-up"
    title: ClassVar[str] = "The loudest moment, close up,"

    def __init__(self, tap: str | None = None, *, curve: bool = False, height: int = 200) -> None:
        super().__init__(tap, height=height)
        self.curve = curve

    def figure(self, rendering: Rendering) -> Any:
        """Milliseconds along, dBFS up (linear in amplitude); samples as dots, what was cut off dashed."""
        levels = {6: "+6", 0: "0", -6: "−6"}
        drawing = amplitude_frame(
            self.height, (-_HALF_MS, _HALF_MS), "milliseconds from the loudest sample", _TOP, levels
        )
        sources = sources_of(self.columns(rendering))
        hatch(drawing, sources["full scale"])
        if self.curve:
            drawing.line("ms", "came", source=sources["curve"], line_width=2.0, **coloured(line_color="peak"))
        else:
            drawing.line("ms", "given", source=sources["moment"], line_width=1.5, line_dash=[3, 3],
                         **coloured(line_color="text"))  # fmt: skip
            drawing.line("ms", "came", source=sources["moment"], line_width=2.0, **coloured(line_color="peak"))
        dots = drawing.scatter(
            "ms", "came", source=sources["moment"], size=4, **coloured(fill_color="peak", line_color="peak")
        )
        hover(drawing, [dots], {"at": "@ms{0.00} ms", "level": "@level"})
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The samples around the moment: `came` after the stage, `given` without a ceiling; the curve if wanted."""
        ms, came, given = self._moment(rendering)
        with np.errstate(divide="ignore"):
            levels = 20.0 * np.log10(np.abs(came))
        held: Columns = {"curve": self._between(rendering)} if self.curve else {}
        return held | {
            "moment": {
                "ms": ms,
                "came": came,
                "given": given,
                "level": [dbfs(float(each)) for each in levels],
            },
            "full scale": beyond_full_scale(-_HALF_MS, _HALF_MS, _TOP),
        }

    def sentence(self, rendering: Rendering) -> str:
        """How long the top is flat and at which level, and where it would have been."""
        strip, stage = self.tap_of(rendering).split("/")
        first = rendering.session.channel(strip).stage_names[0]
        if rendering.level(f"{strip}/{first}").peak_dbfs == -math.inf:
            return f"After the {of_tap(rendering, f'{strip}/{stage}')}: no sound to look at."
        if self.curve:
            heard = rendering.at(f"{strip}/{stage}")
            sample = rendering.level(f"{strip}/{stage}").peak_dbfs
            between = float(true_peak_dbtp(heard.samples).max())
            return (
                f"The highest sample reaches {dbfs(sample)}; "
                f"the curve between the samples reaches {signed(between, unit='dBTP', plus=between > 0)}."
            )
        _, came, given = self._moment(rendering)
        top, wanted = (db_from_ratio(np.abs(each).max()) for each in (came, given))
        reached = f"it reaches {dbfs(top)}"
        clipped = any(each.clipped for each in rendering.levels if each.strip == strip)
        if not clipped or wanted - top < 0.05:
            return f"No stage here cuts the loudest moment off: {reached}."
        runs = clipped_runs(came, ceiling_dbfs=top)
        above = ", higher than the picture" if ratio_from_db(wanted) > _TOP else ""
        return (
            f"The loudest moment is cut off: {reached} and stays there for up to {runs.longest} samples; "
            f"without a ceiling it would reach {dbfs(wanted)}{above}."
        )

    def _between(self, rendering: Rendering) -> dict[str, NDArray[np.floating[Any]] | list[str]]:
        """The curve that a converter draws through the samples, at sixteen points for each."""
        strip, stage = self.tap_of(rendering).split("/")
        behind = rendering.at(f"{strip}/{stage}")
        start, end, channel, loudest = self._stretch(rendering)
        first = max(0, start - _TAIL)
        drawn = curve_between(behind.samples[first : end + _TAIL, channel], _FINE)
        drawn = drawn[(start - first) * _FINE : (end - 1 - first) * _FINE + 1]
        ms = (start + np.arange(len(drawn)) / _FINE - loudest) * 1000.0 / behind.rate_hz
        return {"ms": ms, "came": drawn}

    def _moment(self, rendering: Rendering) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
        strip, stage = self.tap_of(rendering).split("/")
        names = rendering.session.channel(strip).stage_names
        behind = rendering.at(f"{strip}/{stage}")
        source = rendering.at(f"{strip}/{names[0]}")
        source = source if source.rate_hz == behind.rate_hz else behind  # a delivery may convert the rate
        start, end, channel, loudest = self._stretch(rendering)
        part = slice(start, end)
        gains_db = [stage_of(rendering, strip, name).plain_gain_db for name in names[1 : names.index(stage) + 1]]
        came = behind.samples[part, channel]
        # Without its ceilings only a chain of plain gains can be told.
        plain_db = [each for each in gains_db if each is not None]
        plain = len(plain_db) == len(gains_db)
        given = source.samples[part, channel] * ratio_from_db(sum(plain_db)) if plain else came
        ms = (np.arange(part.start, part.start + len(came)) - loudest) * 1000.0 / source.rate_hz
        return ms, came, given

    def _stretch(self, rendering: Rendering) -> tuple[int, int, int, int]:
        """First and past-last sample of what is drawn, the channel, and the loudest sample of what came in."""
        strip, stage = self.tap_of(rendering).split("/")
        source = rendering.at(f"{strip}/{rendering.session.channel(strip).stage_names[0]}")
        behind = rendering.at(f"{strip}/{stage}")
        source = source if source.rate_hz == behind.rate_hz else behind  # a delivery may convert the rate
        loudest, channel = np.unravel_index(np.abs(source.samples).argmax(), source.samples.shape)
        reach = math.ceil(_HALF_MS / 1000.0 * source.rate_hz)
        end = min(len(behind.samples), int(loudest) + reach + 1)
        return max(0, int(loudest) - reach), end, int(channel), int(loudest)
