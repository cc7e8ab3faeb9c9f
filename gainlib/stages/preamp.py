"""From the microphone to line level: the source and its preamp."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gainlib.decibels import AES17_ZERO_RMS, db_from_ratio, power_from_db, ratio_from_db, volts_from_dbu
from gainlib.errors import GainError
from gainlib.meters import clipped_runs, noise_floor_dbfs
from gainlib.stages.base import Domain, Passed, Signal, Stage, require_finite, setting

__all__ = ["Preamp", "Source"]


@dataclass(frozen=True)
class Source(Stage):
    """What the microphone gives: a recording played back as the voltage of a performance in the room.

    `full_scale_dbu` is the level of the sine that would reach full scale in that recording: at -30 dBu a peak of
    -10 dBFS in the file is a peak of -40 dBu at the microphone. `noise_dbfs` is the noise in the recording itself,
    AES17 RMS; None reads it from the pauses. Raises GainError for a level that is not finite.
    Standing of the default: *common practice* (a close voice in a dynamic microphone).

    >>> Source(full_scale_dbu=-30.0).kind
    'Source'
    """

    takes: ClassVar[Domain] = "digital"
    gives: ClassVar[Domain] = "analogue"

    full_scale_dbu: float = setting(-30.0, label="Level", low=-60.0, high=0.0, step=1.0)
    noise_dbfs: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        require_finite(self, "full_scale_dbu")
        if self.noise_dbfs is not None and (math.isnan(self.noise_dbfs) or self.noise_dbfs == math.inf):
            raise GainError(f"noise_dbfs of the source is {self.noise_dbfs}; give dBFS, -inf for none.")

    def process(self, signal: Signal) -> Passed:
        """The recording in volts."""
        gain = _peak_volts(self.full_scale_dbu)
        noise_dbfs = self.noise_dbfs
        if noise_dbfs is None:
            noise_dbfs = float(noise_floor_dbfs(signal.samples, signal.rate_hz).max())
        samples = signal.samples * gain
        samples.flags.writeable = False
        noise_power = float(power_from_db(noise_dbfs)) * AES17_ZERO_RMS**2 * gain * gain
        return Passed(Signal(samples, signal.rate_hz, noise_power, "analogue"))


@dataclass(frozen=True)
class Preamp(Stage):
    """Raises the microphone's level, adds its own input noise, and clips at its largest output.

    Output = (input + noise) × gain, held to ± the peak of a sine of `max_output_dbu`. `input_noise_dbu` is the
    equivalent input noise in the band up to 20 kHz; the noise added reaches to half the rate at the same density.
    The same `noise_seed` gives the same noise each time. Raises GainError for settings that are not finite.
    Standing of the defaults: *common practice* (-128 dBu with a 150 ohm source is near the thermal limit of
    -131 dBu; largest outputs of +20 to +26 dBu are usual). *Derived*: noise power adds to noise power.

    >>> Preamp(gain_db=40.0).gain_db
    40.0
    """

    takes: ClassVar[Domain] = "analogue"
    gives: ClassVar[Domain] = "analogue"

    gain_db: float = setting(30.0, label="Gain", low=0.0, high=60.0, step=1.0)
    input_noise_dbu: float = -128.0
    max_output_dbu: float = 26.0
    noise_seed: int = 1

    def __post_init__(self) -> None:
        super().__post_init__()
        require_finite(self, "gain_db", "input_noise_dbu", "max_output_dbu")

    @property
    def ceiling(self) -> float:
        """The largest output in volts."""
        return _peak_volts(self.max_output_dbu)

    def process(self, signal: Signal) -> Passed:
        """The signal at line level."""
        gain = float(ratio_from_db(self.gain_db))
        own_rms = float(volts_from_dbu(self.input_noise_dbu)) * math.sqrt(signal.rate_hz / 2 / 20_000.0)
        samples = _unit_noise(self.noise_seed, signal.samples.shape) * (own_rms * gain)
        samples += signal.samples * gain
        np.clip(samples, -self.ceiling, self.ceiling, out=samples)
        samples.flags.writeable = False
        power = (signal.noise_power + own_rms**2) * gain**2
        clipped = clipped_runs(samples, ceiling_dbfs=float(db_from_ratio(self.ceiling)))
        return Passed(Signal(samples, signal.rate_hz, power, "analogue"), clipped)


def _peak_volts(level_dbu: float) -> float:
    return float(volts_from_dbu(level_dbu)) / AES17_ZERO_RMS


@functools.lru_cache(maxsize=4)
def _unit_noise(seed: int, shape: tuple[int, int]) -> NDArray[np.float64]:
    """White Gaussian noise of RMS 1; kept, so that a moved gain need not draw it again."""
    noise = np.random.default_rng(seed).standard_normal(shape)
    noise.flags.writeable = False
    return noise
