"""A cable between an output and an input: the level that is lost by loading and by wiring."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from gainlib.connection import INPUT_OHM, WIRING_DB, loading_db
from gainlib.decibels import ratio_from_db
from gainlib.stages.base import (
    Domain,
    Signal,
    Stage,
    StageResult,
    amplified,
    choice,
    require_one_of,
    require_within,
    setting,
)

__all__ = ["Cable"]


@dataclass(frozen=True)
class Cable(Stage):
    """Plugs an output into an input: the input's impedance and the wiring take off level, signal and noise alike.

    Parameters
    ----------
    source_ohm : float, 0 to 1 000 000
        The impedance of the output.
    into : "microphone", "line" or "instrument"
        The kind of input: 1500, 10 000 or 1 000 000 ohm (`INPUT_OHM`).
    wiring : "balanced", "one leg of two" or "cold to ground"
        An output that drives both legs loses half its voltage where one of them is left open; one that floats, or that
        drives one leg only, has its cold leg tied to ground and loses nothing.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For another kind of input or wiring, and for an impedance out of its range.

    References
    ----------
    *Derived*: a voltage divider; half the voltage is -6.02 dB. *Common practice*: the impedances.

    Examples
    --------
    >>> round(Cable(10_000, into="line").plain_gain_db, 1), round(Cable(10_000, into="instrument").plain_gain_db, 1)
    (-6.0, -0.1)
    """

    input_domain: ClassVar[Domain] = "analogue"
    output_domain: ClassVar[Domain] = "analogue"

    source_ohm: float = setting(150.0, label="Output", low=50.0, high=10_000.0, step=50.0)
    into: str = choice("microphone", *INPUT_OHM, label="Input")
    wiring: str = choice("balanced", *WIRING_DB, label="Wiring")

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "source_ohm", 0.0, 1_000_000.0)
        require_one_of(self)

    @property
    def plain_gain_db(self) -> float:
        """What is lost, below 0 dB."""
        return loading_db(self.source_ohm, INPUT_OHM[self.into]) + WIRING_DB[self.wiring]

    def process(self, signal: Signal) -> StageResult:
        """The signal as the input gets it."""
        return StageResult(amplified(signal, ratio_from_db(self.plain_gain_db)))
