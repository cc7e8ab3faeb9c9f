"""The trim: a plain gain in the digital part, before anything that depends on level."""

from __future__ import annotations

from dataclasses import dataclass

from gainlib.decibels import ratio_from_db
from gainlib.stages.base import Signal, Stage, StageResult, amplified, require_gain, setting

__all__ = ["Trim"]


@dataclass(frozen=True)
class Trim(Stage):
    """Raises or lowers the whole signal by a number of decibels; it cannot clip and cannot mend what clipped before.

    At 0 dB it passes the samples bit for bit. Raises GainError for a gain that is not finite.
    *Derived*: every sample times 10^(gain / 20), the noise floor with it.

    >>> Trim(gain_db=-6.0).gain_db
    -6.0
    """

    gain_db: float = setting(0.0, label="Trim", low=-24.0, high=24.0, step=0.5)

    def __post_init__(self) -> None:
        super().__post_init__()
        require_gain(self, "gain_db")

    @property
    def plain_gain_db(self) -> float:
        """Its gain."""
        return self.gain_db

    def process(self, signal: Signal) -> StageResult:
        """The signal at its new level."""
        return StageResult(amplified(signal, ratio_from_db(self.gain_db)))
