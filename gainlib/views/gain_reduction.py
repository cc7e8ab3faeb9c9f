"""How far a compressor or limiter turns down, over time."""

from __future__ import annotations

from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.flow import Rendering
from gainlib.meters import gain_reduction
from gainlib.views.base import Columns, TapView
from gainlib.views.phrasing import of_tap
from gainlib.views.signal_path import traced
from gainlib.views.style import coloured, hover, level_axis, sources_of, time_frame

__all__ = ["GainReductionTrace"]

_COLUMNS = 800
_WORKING_DB = 0.1


class GainReductionTrace(TapView):
    """What a compressor or limiter takes away, hanging down from nothing.

    `tap` is the stage, by default the last one that turns down; the picture reaches down to `deepest_db`. Channels that
    are not linked are drawn as the one that is turned down most.
    """

    name: ClassVar[str] = "gain reduction"
    title: ClassVar[str] = "Gain reduction"
    joined: ClassVar[str] = " of the "

    def __init__(self, tap: str | None = None, *, deepest_db: float = 18.0, height: int = 150) -> None:
        super().__init__(tap, height=height)
        self.deepest_db = deepest_db

    def usual_tap(self, rendering: Rendering) -> str:
        """The last stage that turns down."""
        return traced(rendering)

    def _trace(self, rendering: Rendering) -> tuple[NDArray[Any], int]:
        """The trace `(n,)` and its rate; no trace at all where nothing turns down."""
        tap = self.tap_of(rendering)
        if tap:
            return rendering.reduction_db(tap).max(axis=1), rendering.at(tap).rate_hz
        first = rendering.session.strips[0].take
        return np.zeros(len(first.samples), dtype=np.float32), first.rate_hz

    def figure(self, rendering: Rendering) -> Any:
        """Seconds along, decibels of reduction down from 0."""
        trace, rate_hz = self.once(rendering, self._trace)
        drawing = time_frame(
            self.height, len(trace) / rate_hz, (self.deepest_db * 1.06, -self.deepest_db * 0.08), "turned down, dB"
        )
        level_axis(drawing, {each: f"{each:g}" for each in np.arange(0.0, self.deepest_db + 0.1, 6.0).tolist()})
        sources = sources_of(self.columns(rendering))
        drawing.varea("seconds", "none", "drawn_db", source=sources["trace"], fill_alpha=0.3,
                      **coloured(fill_color="ceiling"))  # fmt: skip
        seen = drawing.line("seconds", "drawn_db", source=sources["trace"], line_width=1.5,
                            **coloured(line_color="ceiling"))  # fmt: skip
        drawing.scatter("seconds", "drawn_db", source=sources["beyond"], marker="inverted_triangle", size=9,
                        **coloured(fill_color="trouble", line_color="background"))  # fmt: skip
        hover(drawing, [seen], {"at": "@seconds{0.00} s", "turned down by": "@reduction_db{0.0} dB"}, along=True)
        return drawing

    def columns(self, rendering: Rendering) -> Columns:
        """The largest reduction in each of some hundred columns; triangles where it goes below the picture."""
        trace, rate_hz = self.once(rendering, self._trace)
        count = min(_COLUMNS, len(trace))
        deepest = loops.extremes(trace, count)[1].astype(float)
        seconds = (np.arange(count) + 0.5) * len(trace) / rate_hz / count
        if count == 1:
            deepest, seconds = deepest.repeat(2), np.array([0.0, 1.0 / rate_hz])
        beyond = np.flatnonzero(deepest > self.deepest_db)
        beyond = beyond[:: max(1, len(beyond) // 60)]
        return {
            "trace": {
                "seconds": seconds,
                "none": np.zeros(len(seconds)),
                "reduction_db": deepest,
                "drawn_db": np.minimum(deepest, self.deepest_db),
            },
            "beyond": {"seconds": seconds[beyond], "drawn_db": np.full(len(beyond), self.deepest_db)},
        }

    def sentence(self, rendering: Rendering) -> str:
        """The most, when, the mean while it works, and how much of the time that is."""
        tap = self.tap_of(rendering)
        if not tap:
            return "No compressor and no limiter stands in this session; nothing is turned down."
        trace, rate_hz = self.once(rendering, self._trace)
        read = gain_reduction(trace, working_above_db=_WORKING_DB)
        where = of_tap(rendering, tap)
        if read.largest_db <= _WORKING_DB:
            return f"The {where} never turns down by more than {_WORKING_DB:g} dB: nothing reaches it."
        return (
            f"The {where} turns down by {read.largest_db:.1f} dB at most, at {trace.argmax() / rate_hz:.2f} s, "
            f"and by {read.mean_while_working_db:.1f} dB on average while it works, "
            f"{_percent(read.working_share)} of the time."
        )


def _percent(share: float) -> str:
    return "less than 1 %" if 0 < share < 0.01 else f"{100 * share:.0f} %"
