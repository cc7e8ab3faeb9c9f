"""From the microphone to line level: the source and its preamp."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gainlib.connection import whole_band
from gainlib.decibels import AES17_ZERO_RMS, db_from_ratio, power_from_rms_dbfs, ratio_from_db, volts_from_dbu
from gainlib.meters import clipped_runs
from gainlib.stages.base import (
    MOST_DB,
    Domain,
    Signal,
    Stage,
    StageResult,
    choice,
    frozen,
    noise_of,
    require_gain,
    require_one_of,
    require_seed,
    require_within,
    setting,
)
from gainlib.stages.clipping import rounded_off

__all__ = ["Preamp", "Source", "peak_volts", "thermal_rms_volts"]


@dataclass(frozen=True)
class Source(Stage):
    """What the microphone gives: a recording played back as the voltage of a performance in the room.

    Parameters
    ----------
    full_scale_dbu : float, -200 to 200 dBu
        The level of the sine that would reach full scale in that recording: at -30 dBu a peak of -10 dBFS in the file
        is a peak of -40 dBu at the microphone.
    noise_dbfs : float, -inf to 200 dBFS, or None
        The noise in the recording itself, AES17 RMS, -inf for none; unless it is given that of its pauses.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For a level that is not finite.

    References
    ----------
    *Common practice*: the default is a close voice in a dynamic microphone.

    Examples
    --------
    >>> Source(full_scale_dbu=-30.0).kind
    'Source'
    """

    input_domain: ClassVar[Domain] = "digital"
    output_domain: ClassVar[Domain] = "analogue"

    full_scale_dbu: float = setting(-30.0, label="Level", low=-60.0, high=0.0, step=1.0)
    noise_dbfs: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        require_gain(self, "full_scale_dbu")
        if self.noise_dbfs is not None:
            require_within(self, "noise_dbfs", -math.inf, MOST_DB)

    @property
    def plain_gain_db(self) -> float:
        """No gain: the recording's full scale is 0 dBFS."""
        return 0.0

    def process(self, signal: Signal) -> StageResult:
        """The recording in volts."""
        gain = peak_volts(self.full_scale_dbu)
        own = signal.noise_power if self.noise_dbfs is None else power_from_rms_dbfs(self.noise_dbfs)
        noise_power = own * gain * gain
        samples = frozen(signal.samples * gain)
        return StageResult(dataclasses.replace(signal, samples=samples, noise_power=noise_power, domain="analogue"))


@dataclass(frozen=True)
class Preamp(Stage):
    """Raises the microphone's level, adds noise before and behind its gain, and clips at its largest output.

    Output = (input behind the pad + input noise) × gain + output noise, held to ± the peak of a sine of
    `max_output_dbu`. Seen from the input its noise rises towards low gain (`gainlib.connection.input_noise_dbu`).

    Parameters
    ----------
    gain_db : float, -200 to 200 dB
        From the input behind the pad to the output.
    input_noise_dbu : float, -inf to 100 dBu
        The equivalent input noise at high gain, in the band up to 20 kHz; what is added reaches to half the rate at the
        same density.
    max_output_dbu : float, -200 to 200 dBu
        The sine whose peak is the largest output; what would pass it is clipped.
    noise_seed : int
        The same seed gives the same noise each time, another one in each strip.
    pad_db : float, 0 to 100 dB
        Stands before the noise, so each decibel of it costs a decibel of distance to the noise.
    inverted : bool
        Whether the polarity is turned round.
    clipping : "hard" or "soft"
        Cut off at the largest output, or rounded off over the last 6 dB below it.
    output_noise_dbu : float, -inf to 100 dBu
        The noise of what follows the gain, in the band up to 20 kHz, whatever the gain is.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For settings that are not finite and for a pad below 0 dB.

    References
    ----------
    *Common practice*: -128 dBu with a 150 ohm source is near the thermal limit of -131 dBu; largest outputs of +20 to
    +26 dBu are usual. *From memory*: an output noise about -100 dBu at the least gain. *Derived*: noise power adds to
    noise power.

    Examples
    --------
    >>> Preamp(gain_db=40.0).gain_db
    40.0
    """

    input_domain: ClassVar[Domain] = "analogue"
    output_domain: ClassVar[Domain] = "analogue"

    gain_db: float = setting(30.0, label="Preamp gain", low=0.0, high=60.0, step=1.0)
    input_noise_dbu: float = -128.0
    max_output_dbu: float = 26.0
    noise_seed: int = 1
    pad_db: float = setting(0.0, label="Pad", low=0.0, high=20.0, step=10.0)
    inverted: bool = False
    clipping: str = choice("hard", "hard", "soft", label="Clips")
    output_noise_dbu: float = -100.0

    def __post_init__(self) -> None:
        super().__post_init__()
        require_gain(self, "gain_db", "max_output_dbu")
        require_within(self, "input_noise_dbu", -math.inf, 100.0)
        require_within(self, "output_noise_dbu", -math.inf, 100.0)
        require_within(self, "pad_db", 0.0, 100.0)
        require_seed(self, "noise_seed")
        require_one_of(self)

    @property
    def ceiling(self) -> float:
        """The largest output in volts."""
        return peak_volts(self.max_output_dbu)

    @property
    def plain_gain_db(self) -> float:
        """The gain behind the pad."""
        return self.gain_db - self.pad_db

    def process(self, signal: Signal) -> StageResult:
        """The signal at line level."""
        gain = ratio_from_db(self.gain_db)
        padded = ratio_from_db(-self.pad_db) * (-1.0 if self.inverted else 1.0)
        own_power = (thermal_rms_volts(self.input_noise_dbu, signal.rate_hz) * gain) ** 2
        own_power += thermal_rms_volts(self.output_noise_dbu, signal.rate_hz) ** 2
        samples = noise_of(self.noise_seed, signal, math.sqrt(own_power))
        samples += signal.samples * (padded * gain)
        clipped = clipped_runs(samples, ceiling_dbfs=db_from_ratio(self.ceiling))
        if self.clipping == "soft":
            samples = rounded_off(samples, self.ceiling, 6.0)
        np.clip(samples, -self.ceiling, self.ceiling, out=samples)
        power = signal.noise_power * (padded * gain) ** 2 + own_power
        return StageResult(dataclasses.replace(signal, samples=frozen(samples), noise_power=power), clipped)


def peak_volts(level_dbu: float) -> float:
    """The peak of a sine of that many dBu.

    >>> round(peak_volts(18.0), 3)
    8.701
    """
    return volts_from_dbu(level_dbu) / AES17_ZERO_RMS


def thermal_rms_volts(noise_dbu: float, rate_hz: int) -> float:
    """Noise given in the band up to 20 kHz, as volts RMS up to half the rate at the same density.

    >>> thermal_rms_volts(float("-inf"), 48000)
    0.0
    """
    return volts_from_dbu(noise_dbu) * whole_band(rate_hz)
