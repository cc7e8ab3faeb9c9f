"""The weighting of a loudness meter as a stage, so that it can be heard and seen what counts how much."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gainlib.decibels import power_from_db
from gainlib.meters.loudness_meter import k_weighting, k_weighting_db
from gainlib.stages.base import Signal, Stage, StageResult, frozen

__all__ = ["KWeighting"]


@dataclass(frozen=True)
class KWeighting(Stage):
    """What a loudness meter listens to: the bass turned down, the treble raised by 4 dB, before power is read.

    It belongs to no session that is handed over; a meter weights by itself.

    Parameters
    ----------
    weighted : bool
        Whether the filter is in; else the samples pass bit for bit.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        When it runs at a rate that is not between 8 and 192 kHz.

    References
    ----------
    *Published*: ITU-R BS.1770-5 Annex 1 Tables 1 and 2.

    Examples
    --------
    >>> KWeighting().name
    'weighting'
    """

    kind: ClassVar[str] = "Weighting"
    cache_output: ClassVar[bool] = True
    cost_ms: ClassVar[float] = 1.5
    copies: ClassVar[float] = 4.0

    weighted: bool = True

    def process(self, signal: Signal) -> StageResult:
        """The signal as the meter weights it."""
        if not self.weighted or not len(signal.samples):
            return StageResult(signal)
        from scipy.signal import sosfilt

        samples = frozen(np.asarray(sosfilt(k_weighting(signal.rate_hz), signal.samples, axis=0)))
        # White noise passes with the filter's mean power gain.
        gains_db = k_weighting_db((np.arange(4096) + 0.5) / 4096 * signal.rate_hz / 2, signal.rate_hz)
        noise = signal.noise_power * float(np.mean(power_from_db(gains_db)))
        return StageResult(dataclasses.replace(signal, samples=samples, noise_power=noise))
