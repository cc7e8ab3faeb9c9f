"""The sum of a bus by contributor: what each brings, what comes of it, and what unrelated signals would give."""

from __future__ import annotations

import math
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib import loops
from gainlib.audio import Audio
from gainlib.decibels import db_from_ratio, ratio_from_db, rms_dbfs_from_power
from gainlib.errors import GainError
from gainlib.flow import Bus, Rendering, Strip
from gainlib.stages import Fader
from gainlib.text import dbfs, plain
from gainlib.views.rows import Row, RowView

__all__ = ["SumByContributor"]

_UNRELATED = "if unrelated"
"""The row of what the same signals would give if no two of them had anything in common."""


class SumByContributor(RowView):
    """Peak and RMS of each signal that goes into a bus, of their sum, and the RMS if none had to do with another.

    `bus` is its name, "main" unless named. Sends count with their own gain, taken where they are taken.
    """

    name: ClassVar[str] = "sum"
    title: ClassVar[str] = "What the sum is made of"

    def __init__(self, bus: str = "main", *, height: int = 130) -> None:
        super().__init__(height=height)
        self.bus = bus

    def rows(self, rendering: Rendering) -> tuple[Row, ...]:
        """A row for each contributor in the session's order, one for the expectation, the sum last."""
        return () if rendering.session.main is None else _read(rendering, self.bus)

    def heading(self, rendering: Rendering) -> str:
        """The title with its bus."""
        return f"{self.title}, {plain(self.bus)}"

    def sentence(self, rendering: Rendering) -> str:
        """The strongest contributor, the sum, and how that compares with unrelated signals."""
        rows = self.once(rendering, self.rows)
        if not rows:
            return "This session has no bus and no main; nothing is summed."
        *parts, expected, whole = rows
        bus = plain(self.bus)
        if whole.peak_dbfs == -math.inf:
            return f"Nothing sounds in the {bus} sum."
        ranked = sorted(parts, key=lambda row: -row.rms_dbfs)
        listed = ", ".join(f"{each.name} {dbfs(each.rms_dbfs)}" for each in ranked)
        said = f"The {bus} sum reaches peak {dbfs(whole.peak_dbfs)}, RMS {dbfs(whole.rms_dbfs)}"
        apart = whole.rms_dbfs - expected.rms_dbfs
        sounding = [each for each in parts if each.peak_dbfs > -math.inf]
        if len(sounding) == 1:  # with nothing beside it there is nothing to compare
            return f"{said}; one signal alone goes in, {sounding[0].name}."
        if abs(apart) < 0.05:
            compared = "as much as unrelated signals give"
        else:
            compared = f"{abs(apart):.1f} dB {'more' if apart > 0 else 'less'} than unrelated signals give"
        told = f"{said}, {compared} ({dbfs(expected.rms_dbfs)})"
        meant = f"“{_UNRELATED.capitalize()}” adds the powers, as for signals with nothing in common"
        return f"{told}. {meant}. RMS by contributor: {listed}."


def _read(rendering: Rendering, name: str) -> tuple[Row, ...]:
    session = rendering.session
    bus = session.channel(name)
    if not isinstance(bus, Bus):
        raise GainError(f"{name!r} is a strip; name a bus or the main, where signals are summed.")
    whole = rendering.at(f"{name}/sum")
    rows: list[Row] = []
    expected: NDArray[Any] = np.zeros(whole.channels)
    for part in session.channels:
        if part is session.main:
            continue
        routes = [(plain(part.name), part.stage_names[-1], 0.0)] if part.to == name else []
        for send in part.sends:
            if send.to == name:
                taken = _before_fader(part) if send.pre_fader else part.stage_names[-1]
                routes.append((f"{plain(part.name)}, send", taken, send.gain_db))
        for said, stage, gain_db in routes:
            audio = _at(rendering, part, stage)
            gain = ratio_from_db(gain_db)
            peak, powers = _peak_and_powers(audio, gain)
            expected = expected + powers  # a mono signal goes to every side
            rows.append(Row(said, db_from_ratio(peak), _rms(powers)))
    peak, powers = _peak_and_powers(whole, 1.0)
    trouble = "over full scale" if peak > 1.0 else ""
    return (
        *rows,
        Row(_UNRELATED, math.nan, _rms(expected)),
        Row("the sum", db_from_ratio(peak), _rms(powers), trouble, True),
    )


def _before_fader(part: Strip | Bus) -> str:
    """The last stage before the fader; empty where the fader is the first."""
    before = ""
    for stage in part.tapped_stages:
        if isinstance(stage, Fader):
            break
        before = stage.name
    return before


def _at(rendering: Rendering, part: Strip | Bus, stage: str) -> Audio:
    if not stage and isinstance(part, Strip):
        return part.take
    return rendering.at(f"{part.name}/{stage}")


def _peak_and_powers(audio: Audio, gain: float) -> tuple[float, NDArray[Any]]:
    pairs = [loops.peak_and_square_sum(audio.samples[:, each]) for each in range(audio.channels)]
    return max(pair[0] for pair in pairs) * gain, np.array([pair[1] for pair in pairs]) / len(audio.samples) * gain**2


def _rms(powers: NDArray[Any]) -> float:
    return rms_dbfs_from_power(float(powers.max()))
