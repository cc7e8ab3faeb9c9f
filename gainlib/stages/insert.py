"""The outboard insert: out to a device at one operating level and back at another, unity or not."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gainlib.connection import converter_noise_dbfs, whole_band
from gainlib.decibels import AES17_ZERO_RMS, Alignment, alignment, dbu_from_dbv, ratio_from_db
from gainlib.meters import clipped_runs
from gainlib.stages.base import (
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
from gainlib.stages.preamp import peak_volts, thermal_rms_volts

__all__ = ["OPERATING_LEVELS_DBU", "OutboardInsert"]

OPERATING_LEVELS_DBU = {"+4 dBu": 4.0, "-10 dBV": float(dbu_from_dbv(-10.0))}
"""The two operating levels of line equipment in dBu: professional and consumer (*common practice*), 11.78 dB apart."""
# Tells the noise of the converter on the way back from the other, whatever the seed.
_ON_THE_WAY_BACK = 2**32


@dataclass(frozen=True)
class OutboardInsert(Stage):
    """Sends the signal out to a device and takes it back: unity only where both ends agree on the operating level.

    The reading `loop_gain_db` is what all of it comes to, 0 at unity. There is a converter at either end: the noise of
    the one on the way out passes the device, that of the one on the way back does not.

    Parameters
    ----------
    alignment : str, float or Alignment
        How many dBu make 0 dBFS at +4 dBu; an end at -10 dBV stands 11.78 dB lower.
    send, receive : "+4 dBu" or "-10 dBV"
        What the two ends of the loop are switched to.
    return_gain_db : float, -200 to 200 dB
        The trim on the way back, where the converter clips at full scale.
    device_gain_db : float, -200 to 200 dB
        What the device itself does.
    device_max_dbu : float, -200 to 200 dBu
        The device clips hard at the peak of a sine of that level.
    device_noise_dbu : float, -inf to 100 dBu
        The device's noise, in the band up to 20 kHz; -inf for none.
    dynamic_range_db : float, 0 dB and more
        Of each of the two converters, A-weighted, as a converter has it; inf for none of their noise.
    noise_seed : int
        The same seed gives the same noise each time.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For settings that are not finite and for other levels.

    References
    ----------
    *Published*: EBU R 68-2000 and SMPTE RP 155 (alignments). *Derived*: -10 dBV is -7.78 dBu; `converter_noise_dbfs`.

    Examples
    --------
    >>> round(OutboardInsert("EBU R 68", send="+4 dBu", receive="-10 dBV").loop_gain_db, 2)
    11.78
    """

    kind: ClassVar[str] = "Insert"
    copies: ClassVar[float] = 5.0
    reading_names: ClassVar[tuple[str, ...]] = ("loop_gain_db",)

    alignment: Alignment | str | float
    send: str = choice("+4 dBu", "+4 dBu", "-10 dBV", label="Send")
    receive: str = choice("+4 dBu", "+4 dBu", "-10 dBV", label="Return")
    return_gain_db: float = setting(0.0, label="Return gain", low=-24.0, high=24.0, step=0.5)
    device_gain_db: float = setting(0.0, label="Device gain", low=-24.0, high=24.0, step=0.5)
    device_max_dbu: float = 24.0
    device_noise_dbu: float = -90.0
    dynamic_range_db: float = setting(110.0, label="Dynamic range", low=96.0, high=124.0, step=1.0)
    noise_seed: int = 4

    def __post_init__(self) -> None:
        super().__post_init__()
        object.__setattr__(self, "alignment", alignment(self.alignment))
        require_gain(self, "return_gain_db", "device_gain_db", "device_max_dbu")
        require_within(self, "device_noise_dbu", -math.inf, 100.0)
        require_within(self, "dynamic_range_db", 0.0)
        require_seed(self, "noise_seed")
        require_one_of(self)

    @property
    def ceiling(self) -> float:
        """What the device's clipping leaves at the return, full scale at most."""
        return min(1.0, peak_volts(self.device_max_dbu) * self._back)

    @property
    def loop_gain_db(self) -> float:
        """The gain once round: 0 dB is unity."""
        apart = OPERATING_LEVELS_DBU[self.send] - OPERATING_LEVELS_DBU[self.receive]
        return apart + self.device_gain_db + self.return_gain_db

    def _full_scale_volts(self, end: str) -> float:
        dbu = alignment(self.alignment).dbu_at_full_scale + OPERATING_LEVELS_DBU[end] - OPERATING_LEVELS_DBU["+4 dBu"]
        return peak_volts(dbu)

    @property
    def _back(self) -> float:
        """From the device's volts to what the return makes of them."""
        return ratio_from_db(self.return_gain_db) / self._full_scale_volts(self.receive)

    def process(self, signal: Signal) -> StageResult:
        """The signal, back from the device."""
        out = self._full_scale_volts(self.send) * ratio_from_db(self.device_gain_db)
        in_band = ratio_from_db(converter_noise_dbfs(self.dynamic_range_db)) * AES17_ZERO_RMS
        converter_rms = in_band * whole_band(signal.rate_hz)
        # Two noises that are added up at one place are one noise: what was sent with its own, and the device's.
        noise_rms = math.hypot(converter_rms * out, thermal_rms_volts(self.device_noise_dbu, signal.rate_hz))
        most = peak_volts(self.device_max_dbu)
        samples = signal.samples * out
        if noise_rms > 0.0:
            samples += noise_of(self.noise_seed, signal, noise_rms)
        np.clip(samples, -most, most, out=samples)
        device = clipped_runs(samples, ceiling_dbfs=20 * math.log10(most))
        samples *= self._back
        if converter_rms > 0.0:
            samples += noise_of(self.noise_seed + _ON_THE_WAY_BACK, signal, converter_rms)
        np.clip(samples, -1.0, 1.0, out=samples)
        returned = clipped_runs(samples)
        power = (signal.noise_power * out**2 + noise_rms**2) * self._back**2 + converter_rms**2
        passed = dataclasses.replace(signal, samples=frozen(samples), noise_power=power)
        # Where both clip, the device's runs tell the story: what it cut off stays cut off.
        clipped = device if len(device) else returned
        return StageResult(passed, clipped, readings={"loop_gain_db": self.loop_gain_db})
