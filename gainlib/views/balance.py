"""The balance: every strip's level where it leaves for the bus, on one axis."""

from __future__ import annotations

import math
from typing import ClassVar

from gainlib.flow import Rendering
from gainlib.meters import active_rms_dbfs
from gainlib.text import dbfs, plain, times
from gainlib.views.rows import Row, RowView

__all__ = ["Balance"]


class Balance(RowView):
    """Peak, and RMS while somebody plays, of every strip at its end.

    Pauses do not count, so that a part that plays seldom stands where it is heard. The order is the session's.
    """

    name: ClassVar[str] = "balance"
    title: ClassVar[str] = "Balance of the strips, RMS while playing"

    def rows(self, rendering: Rendering) -> list[Row]:
        """The strips in the session's order."""
        rows = []
        for strip in rendering.session.strips:
            tap = f"{strip.name}/{strip.stage_names[-1]}"
            audio = rendering.at(tap)
            clipped = sum(rendering.level(f"{strip.name}/{each}").clipped for each in strip.stage_names)
            rows.append(
                Row(
                    plain(strip.name),
                    rendering.level(tap).peak_dbfs,
                    float(active_rms_dbfs(audio.samples, audio.rate_hz).max()),
                    f"clips {times(clipped)}" if clipped else "",
                )
            )
        return rows

    def sentence(self, rendering: Rendering) -> str:
        """The level of each strip while it plays, in the order of the picture: an RMS is no loudness."""
        rows = self.once(rendering, self.rows)
        heard = [each for each in rows if each.rms_dbfs > -math.inf]
        silent = [each.name for each in rows if each.rms_dbfs == -math.inf]
        said = []
        if len(heard) > 1:
            listed = ", ".join(f"{each.name} {dbfs(each.rms_dbfs)}" for each in heard)
            said.append(f"RMS while playing: {listed}.")
            levels = [each.rms_dbfs for each in heard]
            said.append(f"They lie {max(levels) - min(levels):.1f} dB apart.")
        elif heard:
            said.append(f"{heard[0].name}: RMS while playing {dbfs(heard[0].rms_dbfs)}.")
        if silent:
            said.append(f"Not heard: {', '.join(silent)}.")
        clipping = [f"{each.name} {each.trouble}" for each in rows if each.trouble]
        if clipping:
            said.append(f"On the way, {', '.join(clipping)}.")
        return " ".join(said)
