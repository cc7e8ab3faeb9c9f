"""From volts to numbers and into a file: both clip at full scale and round, a float file does neither."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gainlib.connection import converter_noise_dbfs, whole_band
from gainlib.decibels import AES17_ZERO_RMS, Alignment, alignment, ratio_from_db
from gainlib.errors import GainError
from gainlib.meters import clipped_runs
from gainlib.stages.base import (
    Domain,
    Signal,
    Stage,
    StageResult,
    choice,
    frozen,
    noise_of,
    require_one_of,
    require_seed,
    require_within,
    setting,
)
from gainlib.stages.wordlength import in_shaped_steps, in_steps, rounding_power
from gainlib.text import describe_value

__all__ = ["Converter", "StoredFile"]

# Tells a stage's dither and noise from those of another kind of stage with the same seed.
_DITHER = 101


@dataclass(frozen=True)
class Converter(Stage):
    """Turns volts into fixed-point samples: what is beyond full scale is cut off for ever, the rest is rounded.

    Its circuits make a noise, told by the dynamic range; rounding adds a twelfth of a step squared, three times that
    with dither. At 24 bits the circuits' noise is by far the larger one.

    Parameters
    ----------
    alignment : str, float or Alignment
        How many dBu make 0 dBFS.
    bits : 16 or 24
        Codes run from -1.0 to one step below +1.0.
    dither : bool
        Triangular dither before the rounding.
    dynamic_range_db : float, 0 dB and more
        As data sheets give it: from a full-scale sine down to the A-weighted noise up to 20 kHz; inf for none. It is
        white and goes on to half the rate. 16 bits alone, without dither, have 98 dB unweighted.
    noise_seed : int
        The same seed gives the same noise and dither each time.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For other word lengths and for an alignment that is not known.

    References
    ----------
    *Derived*: step²/12 for a uniform error; `converter_noise_dbfs`. *Common practice*: data sheets of converters say
    100 to 123 dB, A-weighted; 110 dB is usual.

    Examples
    --------
    >>> round(Converter("EBU R 68").full_scale_volts, 3)
    8.701
    """

    input_domain: ClassVar[Domain] = "analogue"
    output_domain: ClassVar[Domain] = "digital"
    cache_output: ClassVar[bool] = True
    fits_float32: ClassVar[bool] = True
    cost_ms: ClassVar[float] = 0.3

    alignment: Alignment | str | float
    bits: int = 24
    dither: bool = False
    dynamic_range_db: float = setting(110.0, label="Dynamic range", low=96.0, high=124.0, step=1.0)
    noise_seed: int = 2

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.bits not in (16, 24):
            raise GainError(f"bits of the converter is {describe_value(self.bits)}; it must be 16 or 24.")
        require_within(self, "dynamic_range_db", 0.0)
        require_seed(self, "noise_seed")
        require_one_of(self)
        object.__setattr__(self, "alignment", alignment(self.alignment))

    @property
    def full_scale_volts(self) -> float:
        """The voltage peak that reaches ±1.0."""
        return alignment(self.alignment).full_scale_volts

    @property
    def ceiling(self) -> float:
        """Full scale."""
        return 1.0

    @property
    def plain_gain_db(self) -> float:
        """No gain: full scale is 0 dBFS."""
        return 0.0

    def process(self, signal: Signal) -> StageResult:
        """The signal in fixed-point steps, clipped at full scale."""
        in_band = ratio_from_db(converter_noise_dbfs(self.dynamic_range_db)) * AES17_ZERO_RMS
        own_rms = in_band * whole_band(signal.rate_hz)
        samples = signal.samples * (1.0 / self.full_scale_volts)
        if own_rms > 0.0:
            samples += noise_of(self.noise_seed, signal, own_rms)
        seed = [self.noise_seed, _DITHER, *signal.strip.encode()] if self.dither else None
        samples = frozen(in_steps(samples, self.bits, seed))
        power = signal.noise_power / self.full_scale_volts**2 + own_rms**2
        power += rounding_power(self.bits, dithered=self.dither)
        passed = dataclasses.replace(signal, samples=samples, noise_power=power, domain="digital")
        return StageResult(passed, clipped_runs(samples))


@dataclass(frozen=True)
class StoredFile(Stage):
    """The signal as it comes back from a file: a float file keeps what is over full scale, a fixed-point file cuts it.

    Parameters
    ----------
    coding : "float 32", "fixed 24" or "fixed 16"
        A float file rounds each sample to a 24-bit significand, so 24-bit samples pass it bit for bit, at any level
        that a trim can mend later. A fixed-point file clips at full scale and rounds as a converter does.
    dither : bool
        Triangular dither before a fixed-point file's rounding.
    noise_shaping : bool
        A fixed-point file's noise is moved away from 4 kHz, where the ear hears best, to above 10 kHz.
    noise_seed : int
        The same seed gives the same dither each time.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For another coding.

    References
    ----------
    *Published*: IEEE 754 (binary32). *Derived*: step²/12 for a uniform error.

    Examples
    --------
    >>> StoredFile("float 32").ceiling, StoredFile("fixed 24").ceiling
    (inf, 1.0)
    """

    kind: ClassVar[str] = "Stored file"
    copies: ClassVar[float] = 5.0

    coding: str = choice("float 32", "float 32", "fixed 24", "fixed 16", label="File")
    dither: bool = False
    noise_shaping: bool = False
    noise_seed: int = 3

    def __post_init__(self) -> None:
        super().__post_init__()
        require_seed(self, "noise_seed")
        require_one_of(self)

    @property
    def ceiling(self) -> float:
        """Full scale for a fixed-point file; a float file has none."""
        return math.inf if self.coding == "float 32" else 1.0

    @property
    def plain_gain_db(self) -> float:
        """No gain."""
        return 0.0

    def process(self, signal: Signal) -> StageResult:
        """The signal, written and read again."""
        if self.coding == "float 32":
            samples = frozen(signal.samples.astype(np.float32).astype(np.float64))
            return StageResult(dataclasses.replace(signal, samples=samples))
        bits = int(self.coding.split()[1])
        seed = [self.noise_seed, _DITHER, *signal.strip.encode()] if self.dither else None
        if self.noise_shaping:
            samples = frozen(in_shaped_steps(signal.samples, bits, signal.rate_hz, seed))
        else:
            samples = frozen(in_steps(signal.samples, bits, seed))
        shaped_at_hz = signal.rate_hz if self.noise_shaping else None
        power = signal.noise_power + rounding_power(bits, dithered=self.dither, shaped_at_hz=shaped_at_hz)
        return StageResult(dataclasses.replace(signal, samples=samples, noise_power=power), clipped_runs(samples))
