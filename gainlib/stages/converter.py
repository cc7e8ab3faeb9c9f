"""From volts to numbers: the converter, which clips at full scale and rounds to its word length."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gainlib.decibels import Alignment, alignment
from gainlib.errors import GainError
from gainlib.meters import clipped_runs
from gainlib.stages.base import Domain, Passed, Signal, Stage

__all__ = ["Converter"]


@dataclass(frozen=True)
class Converter(Stage):
    """Turns volts into fixed-point samples: what is beyond full scale is cut off for ever, the rest is rounded.

    `alignment` says how many dBu make 0 dBFS, by a published name ("EBU R 68", "SMPTE RP 155") or a number; `bits` is
    16 or 24. Codes run from -1.0 to one step below +1.0. Rounding adds noise of a twelfth of a step squared.
    Raises GainError for other word lengths and for an alignment that is not known.
    Source: *published*, EBU R 68-2000 and SMPTE RP 155 (alignments); *derived*, step²/12 for a uniform error.

    >>> round(Converter("EBU R 68").full_scale_volts, 3)
    8.701
    """

    takes: ClassVar[Domain] = "analogue"
    gives: ClassVar[Domain] = "digital"

    alignment: Alignment | str | float
    bits: int = 24

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.bits not in (16, 24):
            raise GainError(f"bits of the converter is {self.bits!r}; it must be 16 or 24.")
        object.__setattr__(self, "alignment", alignment(self.alignment))

    @property
    def full_scale_volts(self) -> float:
        """The voltage peak that reaches ±1.0."""
        return alignment(self.alignment).full_scale_volts

    @property
    def ceiling(self) -> float:
        """Full scale."""
        return 1.0

    def process(self, signal: Signal) -> Passed:
        """The signal in fixed-point steps, clipped at full scale."""
        steps = 2.0 ** (self.bits - 1)
        samples = signal.samples * (steps / self.full_scale_volts)
        np.rint(samples, out=samples)
        np.clip(samples, -steps, steps - 1, out=samples)
        samples /= steps
        samples.flags.writeable = False
        power = signal.noise_power / self.full_scale_volts**2 + 1 / (12 * steps**2)
        return Passed(Signal(samples, signal.rate_hz, power, "digital"), clipped_runs(samples))
