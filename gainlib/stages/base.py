"""What every stage shares: the signal that passes through, what comes out, and how a setting describes itself."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np
from numpy.typing import NDArray

from gainlib.errors import GainError, nearest
from gainlib.meters import ClippedRuns

__all__ = [
    "Choice",
    "Passed",
    "Setting",
    "Signal",
    "Stage",
    "amplified",
    "choice",
    "choices_of",
    "frozen",
    "noise_of",
    "require_finite",
    "require_gain",
    "require_one_of",
    "require_within",
    "setting",
    "settings_of",
    "unit_of",
]

Domain = Literal["analogue", "digital"]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Signal:
    """Samples on their way through a strip: volts in the analogue part, full scale ±1.0 in the digital part.

    `samples` is float64 `(n, channels)`, read-only; `noise_power` is the mean square of the noise floor that it
    carries, in the same unit squared, over the whole band up to half the rate. `strip` is the name of the strip that it
    runs in, so that each strip's circuits make a noise of their own.
    """

    samples: Floats
    rate_hz: int
    noise_power: float
    domain: Domain
    strip: str = ""


@dataclass(frozen=True)
class Passed:
    """What a stage gives: the signal, where the stage clipped it (None for a stage that cannot clip), side readings.

    `reduction_db` is the gain-reduction trace of a stage that has one: float32 `(n, 1)` where the channels are linked,
    else `(n, channels)`; 3.0 means turned down by 3 dB at that sample. `readings` are single numbers by the name of
    their measure, such as `gain_reduction_db` (the largest) or `distortion_percent`.
    """

    signal: Signal
    clipped: ClippedRuns | None = None
    reduction_db: NDArray[np.float32] | None = None
    readings: Mapping[str, float] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class Setting:
    """How a control shows one setting of a stage: its label, unit, usual range and step."""

    name: str
    label: str
    unit: str
    low: float
    high: float
    step: float


@dataclass(frozen=True)
class Choice:
    """How a control shows a setting with a few named values: its label and the values."""

    name: str
    label: str
    options: tuple[Any, ...]


_UNITS = {
    "bits": "bit",
    "db": "dB",
    "dbfs": "dBFS",
    "dbtp": "dBTP",
    "dbu": "dBu",
    "hz": "Hz",
    "lufs": "LUFS",
    "mm": "mm",
    "ms": "ms",
    "percent": "%",
}


MOST_DB = 200.0
"""No gain of a studio comes near it, and the product of several still is a number."""


def setting(default: float, *, label: str, low: float, high: float, step: float) -> Any:
    """A dataclass field for a number that a control may move, with its label and usual range."""
    return dataclasses.field(default=default, metadata={"label": label, "low": low, "high": high, "step": step})


def choice(default: Any, *options: Any, label: str) -> Any:
    """A dataclass field for a setting with a few named values, the default among them."""
    return dataclasses.field(default=default, metadata={"choice": label, "options": options})


@dataclass(frozen=True)
class Stage:
    """One stage: frozen settings and `process`, a pure function from signal to signal.

    `name` is how a tap is asked for, by default the kind; two stages of a kind in one strip need two names. `takes` and
    `gives` say on which side of the converter the stage stands. `kept` says whether a rendering keeps the samples
    behind it: a stage that costs more than a multiplication does, the others are made again when they are asked for.
    `single` says that single precision holds its samples exactly, `tells` which `readings` the stage gives.
    """

    takes: ClassVar[Domain] = "digital"
    gives: ClassVar[Domain] = "digital"
    kept: ClassVar[bool] = False
    single: ClassVar[bool] = False
    tells: ClassVar[tuple[str, ...]] = ()

    name: str = dataclasses.field(default="", kw_only=True)

    def __post_init__(self) -> None:
        if not self.name:
            object.__setattr__(self, "name", self.kind.lower())
        if not isinstance(self.name, str) or "/" in self.name:
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

    def latency_samples(self, rate_hz: int) -> int:
        """The delay that this stage has when it works live; `process` takes it out again, so that taps stay in time."""
        del rate_hz
        return 0

    def process(self, signal: Signal) -> Passed:
        """The signal after this stage."""
        raise NotImplementedError


def unit_of(name: str) -> str:
    """The unit that a name ends in; empty where it ends in none.

    >>> unit_of("release_ms"), unit_of("ratio")
    ('ms', '')
    """
    return _UNITS.get(name.rsplit("_", 1)[-1], "")


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
            unit_of(field.name),
            field.metadata["low"],
            field.metadata["high"],
            field.metadata["step"],
        )
        for field in dataclasses.fields(stage)
        if "label" in field.metadata
    }


def choices_of(stage: Stage) -> dict[str, Choice]:
    """The settings of a stage that have a few named values, by name.

    >>> from gainlib.stages import Compressor
    >>> choices_of(Compressor())["detector"].options
    ('peak', 'rms')
    """
    return {
        field.name: Choice(field.name, field.metadata["choice"], field.metadata["options"])
        for field in dataclasses.fields(stage)
        if "choice" in field.metadata
    }


def _is_number(value: object) -> bool:
    return isinstance(value, int | float | np.number) and not isinstance(value, bool)


def require_finite(stage: Stage, *names: str) -> None:
    """Refuse settings that are not finite numbers, by name."""
    for name in names:
        value = getattr(stage, name)
        if not _is_number(value) or not math.isfinite(value):
            raise GainError(f"{name} of the {stage.kind.lower()} is {value!r}; it must be a finite number.")


def require_within(
    stage: Stage, name: str, low: float = -math.inf, high: float = math.inf, *, above: bool = False
) -> None:
    """Refuse a setting outside its range, by name; `above` leaves the lower end itself out.

    Infinite values pass only where the range reaches them.
    """
    value = getattr(stage, name)
    unit = unit_of(name)
    if _is_number(value) and (low < value <= high or (value == low and not above)):
        return
    least = f"above {low:g}" if above else f"{low:g} or above"
    wanted = least if high == math.inf else f"{high:g} or below" if low == -math.inf else f"from {low:g} to {high:g}"
    if above and high != math.inf:
        wanted = f"above {low:g} and at most {high:g}"
    raise GainError(f"{name} of the {stage.kind.lower()} is {value!r}; it must be {wanted} {unit}".rstrip() + ".")


def require_gain(stage: Stage, *names: str) -> None:
    """Refuse gains and levels that are not finite, or so large that no sample would come out of them as a number."""
    require_finite(stage, *names)
    for name in names:
        require_within(stage, name, -MOST_DB, MOST_DB)


def require_one_of(stage: Stage) -> None:
    """Refuse a choice that is not among its options, and a switch that is neither true nor false."""
    for field in dataclasses.fields(stage):
        value = getattr(stage, field.name)
        options = field.metadata.get("options")
        if options is None and isinstance(field.default, bool):
            options = (False, True)
        if options is not None and not any(
            value == each and isinstance(value, bool) == isinstance(each, bool) for each in options
        ):
            if isinstance(value, str) and all(isinstance(each, str) for each in options):
                wanted = nearest(value, options)
            else:
                wanted = f"give {' or '.join(repr(each) for each in options)}."
            raise GainError(f"{field.name} of the {stage.kind.lower()} is {value!r}; {wanted}")


def frozen(samples: Floats) -> Floats:
    """The same array, read-only from now on."""
    samples.flags.writeable = False
    return samples


def amplified(signal: Signal, gain: float) -> Signal:
    """The signal times a gain, its noise floor with it."""
    samples = frozen(signal.samples * gain)
    return dataclasses.replace(signal, samples=samples, noise_power=signal.noise_power * gain * gain)


@functools.lru_cache(maxsize=2)
def _drawn_noise(seed: int, strip: str, shape: tuple[int, int]) -> NDArray[np.float32]:
    """White Gaussian noise of RMS 1, other for each seed and strip; kept, so that a moved gain draws no new."""
    noise = np.random.default_rng([seed, *strip.encode()]).standard_normal(shape, dtype=np.float32)
    noise.flags.writeable = False
    return noise


def noise_of(seed: int, signal: Signal, rms: float) -> Floats:
    """White Gaussian noise in the signal's shape, a new array.

    >>> quiet = Signal(np.zeros((1000, 1)), 48000, 0.0, "digital")
    >>> bool(abs(noise_of(1, quiet, 0.5).std() - 0.5) < 0.05)
    True
    """
    return np.multiply(_drawn_noise(seed, signal.strip, signal.samples.shape), rms, dtype=np.float64)
