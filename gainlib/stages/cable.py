"""A cable between an output and an input: the level that is lost by loading and by wiring, and the treble by length."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gainlib.connection import INPUT_OHM, WIRING_DB, cable_corner_hz, cable_treble_db, loading_db
from gainlib.decibels import ratio_from_db
from gainlib.stages.base import (
    Domain,
    Signal,
    Stage,
    StageResult,
    amplified,
    choice,
    frozen,
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
    source_ohm : float, 0 to 1 000 000 Ω
        The impedance of the output.
    into : "microphone", "line" or "instrument"
        The kind of input: 1500, 10 000 or 1 000 000 ohm (`INPUT_OHM`).
    wiring : "balanced", "one leg of two" or "cold to ground"
        An output that drives both legs loses half its voltage where one of them is left open; one that floats, or that
        drives one leg only, has its cold leg tied to ground and loses nothing.
    length_m : float, 0 to 1000 m
        Its length. The longer it is and the more ohms stand in front of it, the more treble is lost
        (`cable_treble_db`); at 0 m none is. The filter meets that law at 0 Hz and at half the rate, and stays within
        0.6 dB of it up to 10 kHz.
    name : str
        How its tap is asked for; by default the kind.

    Raises
    ------
    GainError
        For another kind of input or wiring, and for an impedance or a length out of its range.

    References
    ----------
    *Derived*: a voltage divider; half the voltage is -6.02 dB; a capacitance across it. *Common practice*: the
    impedances, 100 pF a metre.

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
    length_m: float = setting(0.0, label="Length", low=0.0, high=20.0, step=1.0)

    def __post_init__(self) -> None:
        super().__post_init__()
        require_within(self, "source_ohm", 0.0, 1_000_000.0)
        require_within(self, "length_m", 0.0, 1000.0)
        require_one_of(self)

    @property
    def plain_gain_db(self) -> float | None:
        """What is lost, below 0 dB; None where treble is lost beside it."""
        return self._level_db if self.length_m == 0.0 else None

    @property
    def _level_db(self) -> float:
        return loading_db(self.source_ohm, INPUT_OHM[self.into]) + WIRING_DB[self.wiring]

    def process(self, signal: Signal) -> StageResult:
        """The signal as the input gets it."""
        lowered = amplified(signal, ratio_from_db(self._level_db))
        if self.length_m == 0.0 or not len(signal.samples):
            return StageResult(lowered)
        from scipy.signal import lfilter

        half_hz = signal.rate_hz / 2
        ohms = self.source_ohm, INPUT_OHM[self.into]
        # One pole as the capacitance has it, and a zero that puts half the rate where the law has it.
        pole = math.exp(-math.pi * cable_corner_hz(*ohms, self.length_m) / half_hz)
        top = ratio_from_db(float(cable_treble_db(*ohms, self.length_m, half_hz)))
        first, second = ((1.0 - pole + sign * top * (1.0 + pole)) / 2.0 for sign in (1.0, -1.0))
        samples = frozen(np.asarray(lfilter([first, second], [1.0, -pole], lowered.samples, axis=0)))
        passed = first**2 + (second + pole * first) ** 2 / (1.0 - pole**2)  # of white noise: the response, squared
        return StageResult(dataclasses.replace(lowered, samples=samples, noise_power=lowered.noise_power * passed))
