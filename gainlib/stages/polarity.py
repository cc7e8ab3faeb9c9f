"""The polarity: plus becomes minus at every sample, which only a sum with another signal can tell."""

from __future__ import annotations

from dataclasses import dataclass

from gainlib.stages.base import Signal, Stage, StageResult, amplified, require_one_of

__all__ = ["Polarity"]


@dataclass(frozen=True)
class Polarity(Stage):
    """Turns a signal's polarity round; alone it sounds and measures the same, in a sum what added up cancels.

    It is no delay: every frequency is turned alike, at once.

    Parameters
    ----------
    inverted : bool
        Whether plus becomes minus; else every sample passes bit for bit.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For anything but True or False.

    References
    ----------
    *Derived*: every sample times -1.

    Examples
    --------
    >>> Polarity(inverted=True).plain_gain_db
    0.0
    """

    inverted: bool = False

    def __post_init__(self) -> None:
        super().__post_init__()
        require_one_of(self)

    @property
    def plain_gain_db(self) -> float:
        """It moves no level."""
        return 0.0

    def process(self, signal: Signal) -> StageResult:
        """The signal, turned round."""
        return StageResult(amplified(signal, -1.0) if self.inverted else signal)
