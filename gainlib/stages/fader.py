"""The fader with its taper: where it stands, what it does there, and how finely it can be set."""

from __future__ import annotations

import math
from dataclasses import dataclass

from gainlib.decibels import db_from_ratio, ratio_from_db
from gainlib.errors import GainError
from gainlib.stages.automation import Points, checked_ride, ridden, ride_gains
from gainlib.stages.base import Signal, Stage, StageResult, amplified, require_one_of, require_within, setting

__all__ = ["TAPER", "Fader", "Taper"]


@dataclass(frozen=True)
class Taper:
    """How a fader's travel turns into gain: straight lines in dB between marks, and below the last mark down to off.

    Below the lowest mark the amplitude falls in a straight line to nothing at 0 mm.

    Parameters
    ----------
    marks : tuple of (float, float)
        Position in mm and gain in dB of each mark, from the top down.

    Raises
    ------
    GainError
        When it is asked for a position or a gain outside the travel.

    References
    ----------
    The course's own, of the usual kind. *Common practice*: fine around 0 dB, coarse far below, off at the end.

    Examples
    --------
    >>> TAPER.gain_db(75.0), TAPER.position_mm(-10.0), TAPER.db_per_mm(-50.0)
    (0.0, 50.0, 2.0)
    """

    marks: tuple[tuple[float, float], ...]

    @property
    def travel_mm(self) -> float:
        """The length of the travel."""
        return self.marks[0][0]

    @property
    def top_db(self) -> float:
        """The most that the fader can add."""
        return self.marks[0][1]

    def gain_db(self, position_mm: float) -> float:
        """The gain at a position; -inf at 0 mm. Raises GainError for a position outside the travel."""
        if not 0.0 <= position_mm <= self.travel_mm:
            raise GainError(f"position_mm is {position_mm!r}; the fader travels from 0 to {self.travel_mm:g} mm.")
        lowest_mm, lowest_db = self.marks[-1]
        if position_mm < lowest_mm:
            return lowest_db + db_from_ratio(position_mm / lowest_mm)
        (above_mm, above_db), (below_mm, below_db) = self._between(position_mm, 0)
        return below_db + (position_mm - below_mm) * (above_db - below_db) / (above_mm - below_mm)

    def position_mm(self, gain_db: float) -> float:
        """The position of a gain; 0 mm for -inf. Raises GainError for a gain above the top of the travel."""
        if not gain_db <= self.top_db:
            raise GainError(f"gain_db is {gain_db!r}; this fader ends at {self.top_db:+g} dB.")
        lowest_mm, lowest_db = self.marks[-1]
        if gain_db < lowest_db:
            return lowest_mm * ratio_from_db(gain_db - lowest_db)
        (above_mm, above_db), (below_mm, below_db) = self._between(gain_db, 1)
        return below_mm + (gain_db - below_db) * (above_mm - below_mm) / (above_db - below_db)

    def db_per_mm(self, gain_db: float) -> float:
        """How many decibels one millimetre moves at that gain: why trims come first. On a mark, as below it.

        >>> round(TAPER.db_per_mm(-70.0), 1)
        2.7
        """
        position = self.position_mm(gain_db)
        if gain_db < self.marks[-1][1]:
            return 20 / math.log(10) / position if position > 0 else math.inf
        (above_mm, above_db), (below_mm, below_db) = self._between(gain_db, 1)
        return (above_db - below_db) / (above_mm - below_mm)

    def _between(self, value: float, column: int) -> tuple[tuple[float, float], tuple[float, float]]:
        """The marks above and below a position (column 0) or a gain (column 1)."""
        for above, below in zip(self.marks, self.marks[1:], strict=False):
            if value > below[column]:
                return above, below
        return self.marks[-2], self.marks[-1]


TAPER = Taper(((100.0, 10.0), (50.0, -10.0), (25.0, -30.0), (10.0, -60.0)))
"""100 mm: 0.4 dB a millimetre from +10 to -10 dB (0 dB at 75 mm), 0.8 down to -30, 2 down to -60 at 10 mm, then off."""


@dataclass(frozen=True)
class Fader(Stage):
    """The balance in the mix: a gain that is set by hand, muted, and ridden.

    Parameters
    ----------
    gain_db : float, -inf to 10 dB
        Up to the top of the travel (`TAPER`). At 0 dB without a ride every sample passes bit for bit.
    muted : bool
        A muted fader gives silence, and so do the sends taken after it.
    ride : rows of (seconds, gain_db)
        Breakpoints that are added to the gain, as in `Ride`.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For a gain above the travel.

    References
    ----------
    The taper is the course's own, of the usual kind (*common practice*).

    Examples
    --------
    >>> fader = Fader(gain_db=-40.0)
    >>> fader.position_mm, fader.db_per_mm
    (20.0, 2.0)
    """

    gain_db: float = setting(0.0, label="Fader", low=-60.0, high=10.0, step=0.1)
    muted: bool = False
    ride: Points = ()

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "gain_db", -math.inf, TAPER.top_db)
        require_one_of(self)
        object.__setattr__(self, "ride", checked_ride(self, "ride"))

    @property
    def position_mm(self) -> float:
        """Where the fader stands on its travel."""
        return TAPER.position_mm(self.gain_db)

    @property
    def db_per_mm(self) -> float:
        """How many decibels one millimetre moves where it stands."""
        return TAPER.db_per_mm(self.gain_db)

    @property
    def plain_gain_db(self) -> float | None:
        """Its gain, where it is neither muted nor ridden."""
        return None if self.muted or self.ride else self.gain_db

    def process(self, signal: Signal) -> StageResult:
        """The signal at the fader's level."""
        gain = 0.0 if self.muted else ratio_from_db(self.gain_db)
        if self.ride:
            gains = ride_gains(self.ride, signal)
            gains *= gain
            return StageResult(ridden(signal, gains))
        return StageResult(amplified(signal, gain))
