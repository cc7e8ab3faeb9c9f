"""Where a fader stands on its travel, and how finely it can be set there."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np

from gainlib.errors import GainError
from gainlib.flow import Rendering
from gainlib.stages import TAPER, Fader
from gainlib.text import signed
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.style import coloured, frame, hover, level_axis, sources_of, write

__all__ = ["FaderTaper"]

_FLOOR_DB = -80.0
_LIFT_DB = 13.0


class FaderTaper(TapView):
    """Gain over travel: steep means coarse, and the dot says how many decibels one millimetre is there.

    `tap` is the fader that is spoken of, the first unless named; the others stand as small rings on the same travel.
    """

    name: ClassVar[str] = "fader taper"
    title: ClassVar[str] = "Fader travel and resolution"
    joined: ClassVar[str] = ", "
    height = 260

    def _faders(self, rendering: Rendering) -> dict[str, Fader]:
        return {
            f"{part.name}/{stage.name}": stage
            for part in rendering.session.channels
            for stage in part.tapped_stages
            if isinstance(stage, Fader)
        }

    def usual_tap(self, rendering: Rendering) -> str:
        """The first fader."""
        return next(iter(self._faders(rendering)), "")

    def tap_of(self, rendering: Rendering) -> str:
        """The fader that is spoken of."""
        tap = super().tap_of(rendering)
        if tap and tap not in self._faders(rendering):
            raise GainError(f"{self.tap} is no fader; name a Fader.")
        return tap

    def figure(self, rendering: Rendering) -> Any:
        """Millimetres along, decibels up, the resolution written beside each straight part."""
        top = TAPER.top_db
        drawing = frame(
            self.height, (0.0, TAPER.travel_mm), (_FLOOR_DB, top + _LIFT_DB), x_axis_label="travel, mm",
            y_axis_label="gain, dB",
        )  # fmt: skip
        ticks = np.arange(_FLOOR_DB, top + 1, 10.0).tolist()
        level_axis(drawing, {each: signed(each, 0, "") for each in ticks})
        sources = sources_of(self.columns(rendering))
        curve = drawing.line("mm", "gain_db", source=sources["taper"], line_width=2.5, **coloured(line_color="text"))
        write(drawing, sources["parts"], "muted", x="mm", y="gain_db", text_align="left")
        drawing.segment("x0", "y0", "x1", "y1", source=sources["guides"], line_width=1.0, line_dash=[2, 3],
                        **coloured(line_color="peak"))  # fmt: skip
        rings = drawing.scatter("mm", "gain_db", source=sources["others"], size=9, fill_alpha=0.0, line_width=1.5,
                                **coloured(line_color="peak"))  # fmt: skip
        dot = drawing.scatter("mm", "gain_db", source=sources["fader"], size=12,
                              **coloured(fill_color="peak", line_color="background"))  # fmt: skip
        write(
            drawing,
            sources["told"],
            "peak",
            x="mm",
            y="gain_db",
            text_font_size="13px",
            text_font_style="bold",
            text_align="left",
        )
        hover(drawing, [dot, rings], {"fader": "@name", "gain": "@said", "1 mm": "@fine"})
        hover(drawing, [curve], {"travel": "@mm{0.0} mm", "gain": "@gain_db{0.0} dB"})
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The taper, the resolution of each part, and where the faders stand."""
        millimetres = np.unique(np.append(np.linspace(0.5, TAPER.travel_mm, 200), [mark[0] for mark in TAPER.marks]))
        gains = np.array([TAPER.gain_db(float(each)) for each in millimetres])
        seen = gains >= _FLOOR_DB
        middles = [(a[0] + b[0]) / 2 for a, b in zip(TAPER.marks, TAPER.marks[1:], strict=False)]
        tap = self.tap_of(rendering)
        faders = self._faders(rendering)
        chosen = {tap: faders[tap]} if tap else {}
        others = {name: each for name, each in faders.items() if name != tap}
        own = _places(rendering, chosen)
        count = len(chosen)
        told = [f"{own['said'][0]} at {own['mm'][0]:.1f} mm: 1 mm is {own['fine'][0]}"] if chosen else []
        return {
            "taper": {"mm": millimetres[seen], "gain_db": gains[seen]},
            "parts": {
                "mm": np.array(middles) + 2.5,
                "gain_db": np.array([TAPER.gain_db(each) for each in middles]) - 6.0,
                "text": [f"1 mm is {_fine(TAPER.db_per_mm(TAPER.gain_db(each)))}" for each in middles],
            },
            "guides": {
                "x0": np.zeros(count),
                "x1": own["mm"],
                "y0": own["gain_db"],
                "y1": own["gain_db"],
            },
            "others": _places(rendering, others),
            "fader": own,
            # High on the left there is never a line.
            "told": {"mm": np.full(count, 1.0), "gain_db": np.full(count, TAPER.top_db + 7.0), "text": told},
        }

    def sentence(self, rendering: Rendering) -> str:
        """Where the fader stands, what a millimetre is there and at 0 dB, and what the gain before it would change."""
        tap = self.tap_of(rendering)
        if not tap:
            return "No fader stands in this session."
        fader = self._faders(rendering)[tap]
        where = of_tap(rendering, tap)
        if fader.muted:
            return f"The {where} is muted."
        if fader.gain_db == -math.inf:
            return f"The {where} is all the way down, off."
        fine, best = fader.db_per_mm, TAPER.db_per_mm(0.0)
        said = (
            f"The {where} stands at {signed(fader.gain_db)}, {fader.position_mm:.1f} mm up: "
            f"one millimetre there is {_fine(fine)}"
        )
        if fine <= best * 1.01:
            said += ", as fine as at 0 dB."
        else:
            said += (
                f", at 0 dB it is {_fine(best)}. "
                f"Lower what comes before it by {-fader.gain_db:.1f} dB, and it can stand at 0 dB."
            )
        others = {name: each for name, each in self._faders(rendering).items() if name != tap}
        set_ = {name: each for name, each in others.items() if not each.muted and each.gain_db > -math.inf}
        if set_:
            name, coarse = max(set_.items(), key=lambda each: each[1].db_per_mm)
            if coarse.db_per_mm > best * 1.01:
                said += (
                    f" The coarsest of the others is the {of_tap(rendering, name)} at {signed(coarse.gain_db)}, "
                    f"{_fine(coarse.db_per_mm)} a millimetre."
                )
        return said


def _fine(db_per_mm: float) -> str:
    return f"{db_per_mm:.1f} dB"


def _places(rendering: Rendering, faders: dict[str, Fader]) -> dict[str, Any]:
    shown = list(faders.items())
    return {
        "mm": np.array([each.position_mm for _, each in shown], dtype=float),
        "gain_db": np.array([max(each.gain_db, _FLOOR_DB) for _, each in shown], dtype=float),
        "name": [of_tap(rendering, tap) for tap, _ in shown],
        "said": ["muted" if each.muted else signed(each.gain_db) for _, each in shown],
        "fine": ["off" if math.isinf(each.db_per_mm) else _fine(each.db_per_mm) for _, each in shown],
    }
