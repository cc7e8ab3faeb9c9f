"""The delay: the whole signal later by a number of samples, which only a sum with another signal can tell."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from gainlib.errors import GainError
from gainlib.stages.base import Signal, Stage, StageResult, frozen, require_within, setting, shown

__all__ = ["Delay"]


@dataclass(frozen=True)
class Delay(Stage):
    """Holds a signal back by whole samples: in a sum with one that is not late it makes holes in the spectrum.

    The signal keeps its length: silence comes first, and what would come after the end is left out.

    Parameters
    ----------
    delay_samples : int, 0 to 192 000 samples
        By how much; at 48 kHz 48 samples are 1 ms. At 0 every sample passes bit for bit.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For anything but a whole number in that range.

    References
    ----------
    *Derived*: with an equal signal that is not late, 1 + exp(-i w t), so the first hole lies at 1 / (2 t).

    Examples
    --------
    >>> Delay(delay_samples=48).delay_samples
    48
    """

    delay_samples: int = setting(0, label="Delay", low=0, high=480, step=1)

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "delay_samples", 0, 192_000)
        if self.delay_samples % 1:
            raise GainError(
                f"delay_samples of the delay is {shown(self.delay_samples)}; give a whole number of samples."
            )
        object.__setattr__(self, "delay_samples", int(self.delay_samples))

    def process(self, signal: Signal) -> StageResult:
        """The signal, later."""
        if not self.delay_samples:
            return StageResult(signal)
        late = min(self.delay_samples, len(signal.samples))
        samples = np.zeros_like(signal.samples)
        samples[late:] = signal.samples[: len(samples) - late]
        return StageResult(dataclasses.replace(signal, samples=frozen(samples)))
