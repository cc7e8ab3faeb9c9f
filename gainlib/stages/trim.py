"""The trim: a plain gain in the digital part, before anything that depends on level."""

from __future__ import annotations

from dataclasses import dataclass

from gainlib.decibels import ratio_from_db
from gainlib.stages.base import Signal, Stage, StageResult, amplified, require_gain, setting

__all__ = ["Trim"]


@dataclass(frozen=True)
class Trim(Stage):
    """Raises or lowers the whole signal by a number of decibels; it cannot clip and cannot mend what clipped before.

    Parameters
    ----------
    gain_db : float, -200 to 200 dB
        At 0 dB the samples pass bit for bit.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For a gain that is not finite or outside its range.

    References
    ----------
    *Derived*: every sample times 10^(gain / 20), the noise floor with it.

    Examples
    --------
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
