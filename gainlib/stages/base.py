"""What every stage shares: the signal that passes through, what comes out, and how a setting describes itself."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from gainlib.errors import GainError
from gainlib.meters import ClippedRuns

__all__ = ["Passed", "Setting", "Signal", "Stage", "setting", "settings_of"]

Domain = Literal["analogue", "digital"]


@dataclass(frozen=True)
class Signal:
    """Samples on their way through a strip: volts in the analogue part, full scale ±1.0 in the digital part.

    `samples` is float64 `(n, channels)`, read-only; `noise_power` is the mean square of the noise floor that it
    carries, in the same unit squared, over the whole band up to half the rate.
    """

    samples: NDArray[np.float64]
    rate_hz: int
    noise_power: float
    domain: Domain


@dataclass(frozen=True)
class Passed:
    """What a stage gives: the signal, and where the stage clipped it (None for a stage that cannot clip)."""

    signal: Signal
    clipped: ClippedRuns | None = None


@dataclass(frozen=True)
class Setting:
    """How a control shows one setting of a stage: its label, unit, usual range and step."""

    name: str
    label: str
    unit: str
    low: float
    high: float
    step: float


_UNITS = {"db": "dB", "dbu": "dBu", "dbfs": "dBFS", "ms": "ms", "bits": "bit"}


def setting(default: float, *, label: str, low: float, high: float, step: float) -> Any:
    """A dataclass field for a number that a control may move, with its label and usual range."""
    return dataclasses.field(default=default, metadata={"label": label, "low": low, "high": high, "step": step})


@dataclass(frozen=True)
class Stage:
    """One stage: frozen settings and `process`, a pure function from signal to signal.

    `name` is how a tap is asked for, by default the kind; two stages of a kind in one strip need two names. `takes` and
    `gives` say on which side of the converter the stage stands.
    """

    takes: ClassVar[Domain] = "digital"
    gives: ClassVar[Domain] = "digital"

    name: str = dataclasses.field(default="", kw_only=True)

    def __post_init__(self) -> None:
        if not self.name:
            object.__setattr__(self, "name", self.kind.lower())
        if "/" in self.name:
            raise GainError(
                f"name of the {self.kind.lower()} is {self.name!r}; leave out the slash, paths are cut there."
            )

    @property
    def kind(self) -> str:
        """The stage's trade name, as a column of the level diagram is headed."""
        return type(self).__name__

    @property
    def ceiling(self) -> float:
        """The largest |sample| that can come out, in the unit that the stage gives; infinite where there is none."""
        return math.inf

    def process(self, signal: Signal) -> Passed:
        """The signal after this stage."""
        raise NotImplementedError


def settings_of(stage: Stage) -> dict[str, Setting]:
    """The settings of a stage that a control may move, by name.

    >>> from gainlib.stages import Trim
    >>> settings_of(Trim())["gain_db"].unit
    'dB'
    """
    return {
        field.name: Setting(
            field.name,
            field.metadata["label"],
            _UNITS.get(field.name.rsplit("_", 1)[-1], ""),
            field.metadata["low"],
            field.metadata["high"],
            field.metadata["step"],
        )
        for field in dataclasses.fields(stage)
        if "label" in field.metadata
    }


def require_finite(stage: Stage, *names: str) -> None:
    """Refuse settings that are not finite numbers, by name."""
    for name in names:
        value = getattr(stage, name)
        if isinstance(value, bool) or not isinstance(value, int | float | np.number) or not math.isfinite(value):
            raise GainError(f"{name} of the {stage.kind.lower()} is {value!r}; it must be a finite number.")


def amplified(signal: Signal, gain: float) -> Signal:
    """The signal times a gain, its noise floor with it."""
    samples = signal.samples * gain
    samples.flags.writeable = False
    return dataclasses.replace(signal, samples=samples, noise_power=signal.noise_power * gain * gain)
