"""Clipping that is rounded off: the curve, and the soft clip of the main."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike

from gainlib.decibels import db_from_ratio, ratio_from_db
from gainlib.meters import clipped_runs
from gainlib.stages.base import Corner, Floats, Signal, Stage, StageResult, frozen, require_within, setting

__all__ = ["SoftClip", "rounded_off"]


def rounded_off(samples: Floats, ceiling: float, onset_db: float) -> Floats:
    """Straight up to `onset_db` below the ceiling, then rounded off towards it; never beyond.

    The round part is (2/pi) atan, scaled so that value and slope join: with the onset at infinity it is the whole
    curve, whose harmonics are known in closed form. Takes and gives samples of any shape.
    *Derived*: continuity of value and slope at the onset.

    >>> rounded_off(np.array([0.1, 100.0]), 1.0, 6.0).round(3).tolist()
    [0.1, 0.999]
    """
    onset = ceiling * ratio_from_db(-onset_db)
    room = ceiling - onset
    beyond = np.abs(samples) - onset
    bent = onset + room * (2 / math.pi) * np.arctan(np.maximum(beyond, 0.0) * (math.pi / 2 / room)) if room else onset
    return np.where(beyond > 0, np.copysign(bent, samples), samples)


@dataclass(frozen=True)
class SoftClip(Stage):
    """Rounds the tops off as they near a ceiling: no sample passes it, and what is well below is not touched.

    The price is distortion, and harmonics above half the rate fold back, as they do in any clipping that is not
    oversampled.

    Parameters
    ----------
    ceiling_dbfs : float, -144 to 24 dBFS
        The level that no sample passes; as clipped counts what came in there or above.
    onset_db : float, above 0 dB
        Up to so far below the ceiling every sample passes bit for bit.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For an onset that is not above 0 dB.

    References
    ----------
    The curve is this course's own; soft clipping before a limiter is *common practice*.

    Examples
    --------
    >>> SoftClip(ceiling_dbfs=-1.0).ceiling < 1.0
    True
    """

    kind: ClassVar[str] = "Soft clip"
    reading_names: ClassVar[tuple[str, ...]] = ("gain_reduction_db",)
    bends: ClassVar[bool] = True
    cost_ms: ClassVar[float] = 0.8
    copies: ClassVar[float] = 5.0

    ceiling_dbfs: float = setting(-0.5, label="Ceiling", low=-12.0, high=0.0, step=0.1)
    onset_db: float = setting(6.0, label="Onset", low=0.5, high=12.0, step=0.5)

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "ceiling_dbfs", -144.0, 24.0)
        require_within(self, "onset_db", 0.0, above=True)

    @property
    def ceiling(self) -> float:
        """The level that is never passed."""
        return ratio_from_db(self.ceiling_dbfs)

    @property
    def plain_gain_db(self) -> float:
        """No gain, up to the onset."""
        return 0.0

    @property
    def corner(self) -> Corner:
        """The onset, where the curve leaves the straight line."""
        return Corner("onset", self.ceiling_dbfs - self.onset_db)

    def curve_db(self, levels_db: ArrayLike) -> Floats | float:
        """The curve in dB: the level at which a steady level comes out.

        >>> round(float(SoftClip(ceiling_dbfs=-1.0).curve_db(-20.0)), 1)
        -20.0
        """
        amplitudes = np.asarray(ratio_from_db(np.asarray(levels_db, dtype=np.float64)))
        return db_from_ratio(rounded_off(amplitudes, self.ceiling, self.onset_db))

    def process(self, signal: Signal) -> StageResult:
        """The signal, its tops rounded off."""
        clipped = clipped_runs(signal.samples, ceiling_dbfs=self.ceiling_dbfs)
        samples = rounded_off(signal.samples, self.ceiling, self.onset_db)
        # The curve stays below the ceiling by itself; rounding may put the last bit above it.
        np.clip(samples, -self.ceiling, self.ceiling, out=samples)
        reduction = np.where(
            samples == 0.0, 1.0, np.abs(signal.samples) / np.where(samples == 0.0, 1.0, np.abs(samples))
        )
        return StageResult(
            dataclasses.replace(signal, samples=frozen(samples)),
            clipped,
            readings={"gain_reduction_db": db_from_ratio(reduction.max())},
        )
