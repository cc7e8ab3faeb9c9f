"""What a lesson or an exercise asks of a bench: one reading at one place, between two bounds."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from gainlib.errors import GainError, suggest
from gainlib.flow import Rendering, Session
from gainlib.meters import measure, measures
from gainlib.stages.base import unit_of
from gainlib.text import printed_number, signed
from gainlib.views.phrasing import of_tap

__all__ = ["Aim"]

_OF_A_LEVEL = ("peak_dbfs", "rms_dbfs", "clipped")
"""What stands in the level diagram's table, so that nothing need be measured for it."""

_TOLD = {
    "active_rms_dbfs": "after {of} the RMS while it plays is {value}",
    "gain_reduction_db": "{of} turns down by up to {value}",
    "loop_gain_db": "once round {of} the gain is {value}",
    "loudness_lufs": "after {of} the loudness is {value}",
    "peak_dbfs": "{of} peaks at {value}",
    "true_peak_dbtp": "after {of} the true peak is {value}",
}
"""How the usual readings are said of a stage or of a part of the recording."""


@dataclass(frozen=True)
class Aim:
    """One thing that is aimed at on a bench, so that the sentence on top may say which way to go.

    Parameters
    ----------
    reading : str
        The name of a measure ("peak_dbfs", "loudness_lufs"), or of a reading of the stage ("gain_reduction_db",
        "clipped").
    at : str
        The tap where it is read.
    least, most : float, optional
        Its bounds, in its own unit; at least one of them.
    seconds : pair of float, optional
        The stretch of the recording that counts; the whole unless given.
    of : str, optional
        What is read there, in words ("the verse"); the stage unless given.
    why : str, optional
        Why that is aimed at: one sentence.
    by : str, optional
        The path of the control that shall do it, where another would do it as well and would be wrong.
    driver : bool, optional
        In a bus: name the strip that stands highest at the hardest moment, and have that one turned down.

    Raises
    ------
    GainError
        Without bounds, and for bounds in the wrong order.

    Examples
    --------
    >>> Aim("peak_dbfs", "converter", most=-10, why="A shout needs 10 dB.").bounds
    'at most −10 dBFS'
    """

    reading: str
    at: str
    least: float = -math.inf
    most: float = math.inf
    seconds: tuple[float, float] | None = None
    of: str = ""
    why: str = ""
    by: str = ""
    driver: bool = False

    def __post_init__(self) -> None:
        if not self.least <= self.most or (math.isinf(self.least) and math.isinf(self.most)):
            raise GainError(
                f"an aim for {self.reading} goes from {self.least} to {self.most}; give least, most or both, in order."
            )

    @property
    def unit(self) -> str:
        """The unit of what is read."""
        return measures()[self.reading].unit if self.reading in measures() else unit_of(self.reading)

    @property
    def bounds(self) -> str:
        """What is wanted, in words."""
        if math.isinf(self.least):
            return f"at most {printed_number(self.most, self.unit)}"
        if math.isinf(self.most):
            return f"at least {printed_number(self.least, self.unit)}"
        least = printed_number(self.least, "")
        return f"{least} to {printed_number(self.most, self.unit)}"

    @property
    def wanted(self) -> float:
        """What to go for: the middle of two bounds, the bound where there is one."""
        if math.isinf(self.least):
            return self.most
        return self.least if math.isinf(self.most) else (self.least + self.most) / 2

    def check(self, session: Session, controls: Collection[str]) -> None:
        """Raise GainError where it cannot be read in this session, or its control is not among these paths."""
        strip, stage = session.tap(self.at)
        if self.by and self.by not in controls:
            raise GainError(f"the aim for {self.reading} is moved by {self.by!r}; {suggest(self.by, controls)}")
        readings = session.channel(strip).stage(stage).reading_names
        if self.reading not in (*_OF_A_LEVEL, *readings):
            measures()[self.reading]  # says itself what is known

    def read(self, rendering: Rendering) -> float:
        """What is read now, to the tenth that is printed."""
        table = rendering.level(self.at)
        if self.seconds is None and self.reading in table.readings:
            value = table.readings[self.reading]
        elif self.seconds is None and self.reading in _OF_A_LEVEL:
            value = float(getattr(table, self.reading))
        else:
            audio = rendering.at(self.at)
            value = float(measure(self.reading, audio if self.seconds is None else audio.between(*self.seconds)))
        return round(value, 1) if math.isfinite(value) else value

    def holds(self, value: float) -> bool:
        """Whether that is within the bounds."""
        return self.least <= value <= self.most

    def told(self, rendering: Rendering, value: float) -> str:
        """What is read now, in words, without the stop."""
        strip, stage = rendering.session.tap(self.at)
        of = self.of or f"the {of_tap(rendering, f'{strip}/{stage}')}"
        usual = f"after {{of}} {self.reading.rpartition('_')[0].replace('_', ' ')} is {{value}}"
        form = _TOLD.get(self.reading, usual)
        if self.reading == "gain_reduction_db" and value == 0.0:
            form = "{of} turns nothing down"
        said = form.format(
            of=of, value=signed(value, unit=self.unit, plus=-math.inf < self.least < 0.0 and self.unit == "dB")
        )
        return f"{said[:1].upper()}{said[1:]}"
