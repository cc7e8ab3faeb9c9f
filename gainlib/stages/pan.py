"""The pan: where a signal stands between left and right, and what that does to its level."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass

import numpy as np

from gainlib.errors import GainError
from gainlib.stages.base import Signal, Stage, StageResult, choice, frozen, require_one_of, require_within, setting

__all__ = ["Pan", "pan_gains"]


def pan_gains(position: float, law_db: float) -> tuple[float, float]:
    """The gains of the left and the right side for a mono signal at a position.

    -3 dB: sine and cosine, left and right powers always add to one. -6 dB: straight lines, left and right voltages
    always add to one. -4.5 dB: the geometric mean of the two.

    Parameters
    ----------
    position : float, -1 to 1
        -1 is left, 0 the middle, +1 right.
    law_db : float, -3.0, -4.5 or -6.0 dB
        What each side loses in the middle.

    Returns
    -------
    (float, float)
        The factors of left and right, 0 to 1.

    Raises
    ------
    GainError
        For another law.

    References
    ----------
    *Common practice*; *derived*: 20 log10 of cos 45°, of 1/2, of the root of their product.

    Examples
    --------
    >>> [round(20 * math.log10(pan_gains(0.0, law)[0]), 3) for law in (-3.0, -4.5, -6.0)]
    [-3.01, -4.515, -6.021]
    """
    if law_db not in (-3.0, -4.5, -6.0):
        raise GainError(f"law_db is {law_db!r}; give -3.0, -4.5 or -6.0.")

    def side(away: float) -> float:
        # Written so that each end is exactly 1 or 0.
        power = math.sin(math.pi / 4 * (1.0 - away))
        voltage = (1.0 - away) / 2
        return power if law_db == -3.0 else voltage if law_db == -6.0 else math.sqrt(power * voltage)

    return side(position), side(-position)


@dataclass(frozen=True)
class Pan(Stage):
    """Places a mono signal between left and right; the law says how loud it is in the middle: -3, -4.5 or -6 dB.

    A mono signal becomes stereo. A stereo signal is balanced: in the middle both sides pass bit for bit, elsewhere the
    side that is turned away from goes down by the law's difference and the other one stays.

    Parameters
    ----------
    position : float, -1 to 1
        From left over the middle to right.
    law_db : -3.0, -4.5 or -6.0
        What each side gets of a mono signal in the middle.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For a position outside, another law, or more than two channels.

    References
    ----------
    The three laws are *common practice*; see `pan_gains` for how they are *derived*.

    Examples
    --------
    >>> Pan(position=0.0, law_db=-3.0).law_db
    -3.0
    """

    position: float = setting(0.0, label="Pan", low=-1.0, high=1.0, step=0.1)
    law_db: float = choice(-3.0, -3.0, -4.5, -6.0, label="Pan law")

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "position", -1.0, 1.0)
        require_one_of(self)

    def channels_behind(self, channels: int) -> int:
        """Two, whatever goes in."""
        return max(2, channels)

    def process(self, signal: Signal) -> StageResult:
        """The signal, placed."""
        channels = signal.samples.shape[1]
        if channels > 2:
            raise GainError(f"the pan got {channels} channels; it takes a mono or a stereo signal.")
        left, right = pan_gains(self.position, self.law_db)
        if channels == 2:
            middle = pan_gains(0.0, self.law_db)[0]
            left, right = min(1.0, left / middle), min(1.0, right / middle)
        # The noise is one figure for both sides: that of the louder one.
        power = signal.noise_power * max(left, right) ** 2
        samples = np.empty((len(signal.samples), 2))
        np.multiply(signal.samples[:, 0], left, out=samples[:, 0])
        np.multiply(signal.samples[:, -1], right, out=samples[:, 1])
        return StageResult(dataclasses.replace(signal, samples=frozen(samples), noise_power=power))
