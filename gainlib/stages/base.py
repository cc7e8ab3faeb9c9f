"""What every stage shares: the signal that passes through, what comes out, and how a setting describes itself."""

from __future__ import annotations

import dataclasses
import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from gainlib.errors import GainError, suggest
from gainlib.meters import ClippedRuns
from gainlib.text import describe_value

__all__ = [
    "Choice",
    "Corner",
    "Setting",
    "Signal",
    "Stage",
    "StageResult",
    "amplified",
    "choice",
    "choices_of",
    "frozen",
    "is_number",
    "noise_of",
    "require_finite",
    "require_gain",
    "require_one_of",
    "require_seed",
    "require_within",
    "setting",
    "settings_of",
    "shown",
    "stage_kinds",
    "unit_of",
]

Domain = Literal["analogue", "digital"]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Signal:
    """Samples on their way through a strip: volts in the analogue part, full scale ±1.0 in the digital part.

    Parameters
    ----------
    samples : ndarray of float64, `(n, channels)`
        Read-only.
    rate_hz : int
        Samples a second.
    noise_power : float
        The mean square of the noise floor that the samples carry, in their unit squared, over the whole band up to half
        the rate.
    domain : "analogue" or "digital"
        Which of the two they are.
    strip : str
        The name of the strip that it runs in, so that each strip's circuits make a noise of their own.

    Examples
    --------
    >>> Signal(np.zeros((480, 1)), 48000, 0.0, "digital").samples.shape
    (480, 1)
    """

    samples: Floats
    rate_hz: int
    noise_power: float
    domain: Domain
    strip: str = ""


@dataclass(frozen=True)
class StageResult:
    """What a stage gives: the signal, where the stage clipped it, and side readings.

    Parameters
    ----------
    signal : Signal
        What comes out.
    clipped : ClippedRuns, optional
        Where the stage clipped it; None for a stage that cannot clip.
    reduction_db : ndarray of float32, `(n, 1)` where the channels are linked, else `(n, channels)`, optional
        The gain-reduction trace of a stage that has one; 3.0 means turned down by 3 dB at that sample.
    readings : mapping of str to float
        Single numbers by the name of their measure, such as `gain_reduction_db` (the largest) or `distortion_percent`.

    Examples
    --------
    >>> StageResult(Signal(np.zeros((480, 1)), 48000, 0.0, "digital"), readings={"gain_reduction_db": 3.0}).readings
    {'gain_reduction_db': 3.0}
    """

    signal: Signal
    clipped: ClippedRuns | None = None
    reduction_db: NDArray[np.float32] | None = None
    readings: Mapping[str, float] = dataclasses.field(default_factory=dict)


@dataclass(frozen=True)
class Setting:
    """How a control shows one setting of a stage: its label, unit, usual range and step.

    `settings_of` makes it from what a stage declares.

    Attributes
    ----------
    name : str
        The setting's name in its stage, such as "gain_db".
    label : str
        What a control is headed with.
    unit : str
        The unit, read off the name's ending; empty for a bare number.
    low, high, step : float
        The usual range and the step, in that unit.

    Examples
    --------
    >>> from gainlib.stages import Trim
    >>> settings_of(Trim())["gain_db"]
    Setting(name='gain_db', label='Trim', unit='dB', low=-24.0, high=24.0, step=0.5)
    """

    name: str
    label: str
    unit: str
    low: float
    high: float
    step: float


@dataclass(frozen=True)
class Choice:
    """How a control shows a setting with a few named values: its label and the values.

    `choices_of` makes it from what a stage declares.

    Attributes
    ----------
    name : str
        The setting's name in its stage, such as "detector".
    label : str
        What a control is headed with.
    options : tuple
        The values, in the order in which they are offered.

    Examples
    --------
    >>> from gainlib.stages import Compressor
    >>> choices_of(Compressor())["detector"].options
    ('peak', 'rms')
    """

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
    "m": "m",
    "ohm": "Ω",
    "mm": "mm",
    "ms": "ms",
    "percent": "%",
    "samples": "samples",
}


MOST_DB = 200.0
"""No gain of a studio comes near it, and the product of several still is a number."""


def setting(default: float, *, label: str, low: float, high: float, step: float) -> Any:
    """A dataclass field for a number that a control may move, with its label and usual range.

    Parameters
    ----------
    default : float
        What the setting is unless given.
    label : str
        What a control is headed with.
    low, high, step : float
        The usual range and the step, in the unit that the field's name ends in.

    Returns
    -------
    dataclasses.Field
        To stand behind the field's name in a stage.

    Examples
    --------
    >>> @dataclass(frozen=True)
    ... class Tilt:
    ...     low_db: float = setting(1.5, label="Below", low=-6.0, high=6.0, step=0.5)
    >>> Tilt().low_db
    1.5
    """
    return dataclasses.field(default=default, metadata={"label": label, "low": low, "high": high, "step": step})


def choice(default: Any, *options: Any, label: str) -> Any:
    """A dataclass field for a setting with a few named values, the default among them."""
    return dataclasses.field(default=default, metadata={"choice": label, "options": options})


class Corner(NamedTuple):
    """Where a static curve starts to bend: what the trade calls the place, and its level.

    Attributes
    ----------
    word : str
        "threshold", "ceiling" or the like.
    level_dbfs : float
        The level of what comes in, dBFS.

    Examples
    --------
    >>> from gainlib.stages import Compressor
    >>> Compressor(threshold_db=-24.0).corner
    Corner(word='threshold', level_dbfs=-24.0)
    """

    word: str
    level_dbfs: float


@dataclass(frozen=True)
class Stage:
    """One stage: frozen settings and `process`, a pure function from signal to signal.

    A subclass is known by its class's name from the moment that it is defined: session files and exercise files can
    name it, `stage_kinds` lists it. It declares what others ask of a stage:

    - `kind`: the trade name that heads its column, the class's name unless given;
    - `input_domain`, `output_domain`: on which side of the converter it stands;
    - `cache_output`: whether a rendering keeps the samples behind it, as it does for what costs more than a
      multiplication does; the others are made again when they are asked for;
    - `fits_float32`: single precision holds its samples exactly;
    - `reading_names`: which `readings` it gives;
    - `bends`: its output over its input is no straight line, so there is a transfer curve to draw: `curve_db`, the
      `corner` if it has one, and `hears_rms` where the RMS decides and not the peak;
    - `traced`: it gives a gain-reduction trace;
    - `plain_gain_db`: its gain, where a steady gain below its ceiling is all that it does, else None;
    - `cost_ms`: what it takes for a second of one channel at 48 kHz, measured once, for estimates;
    - `copies`: how many times its output it takes of memory while it works, at the most, bar some megabytes.

    Parameters
    ----------
    name : str
        How its tap is asked for, by default the kind; two stages of a kind in one strip need two names.

    Raises
    ------
    GainError
        For a name with a slash, and when a stage is defined under the name of another.

    Examples
    --------
    >>> from gainlib.stages import Trim
    >>> Trim().name, Trim(name="before the fader").name
    ('trim', 'before the fader')
    """

    kind: ClassVar[str] = "Stage"
    input_domain: ClassVar[Domain] = "digital"
    output_domain: ClassVar[Domain] = "digital"
    cache_output: ClassVar[bool] = False
    fits_float32: ClassVar[bool] = False
    reading_names: ClassVar[tuple[str, ...]] = ()
    bends: ClassVar[bool] = False
    cost_ms: ClassVar[float] = 0.1
    copies: ClassVar[float] = 3.0

    name: str = dataclasses.field(default="", kw_only=True)

    def __init_subclass__(cls, *, listed: bool = True) -> None:
        """Make the stage known under its class's name; `listed=False` for one that no file names."""
        super().__init_subclass__()
        cls.kind = vars(cls).get("kind", cls.__name__)
        other = _KINDS.get(cls.__name__)
        if other is not None and (other.__module__, other.__qualname__) != (cls.__module__, cls.__qualname__):
            raise GainError(f"a stage {cls.__name__} is there already, in {other.__module__}; choose another name.")
        if listed:
            _KINDS[cls.__name__] = cls

    def __post_init__(self) -> None:
        if not self.name:
            object.__setattr__(self, "name", self.kind.lower())
        if not isinstance(self.name, str) or "/" in self.name:
            raise GainError(
                f"name of the {self.kind.lower()} is {describe_value(self.name)}; "
                "leave out the slash, paths are cut there."
            )

    @property
    def ceiling(self) -> float:
        """The largest |sample| that can come out, in the unit that the stage gives; infinite where there is none."""
        return math.inf

    @property
    def corner(self) -> Corner | None:
        """Where the static curve starts to bend; None where there is none, or it bends everywhere."""
        return None

    @property
    def hears_rms(self) -> bool:
        """Whether the RMS (AES17) of what comes in decides how far the curve bends it, and not its peak."""
        return False

    @property
    def traced(self) -> bool:
        """Whether it gives a gain-reduction trace."""
        return False

    @property
    def plain_gain_db(self) -> float | None:
        """The gain of a stage that does nothing else below its ceiling; None for any other."""
        return None

    def curve_db(self, levels_db: ArrayLike) -> Floats | float:
        """The static curve of a stage that `bends`: the level at which a steady level comes out, both in dBFS."""
        raise GainError(f"the {self.kind.lower()} has no static curve; ask a stage that bends the level.")

    def channels_behind(self, channels: int) -> int:
        """How many channels come out where so many go in."""
        return channels

    def latency_samples(self, rate_hz: int) -> int:
        """The delay that this stage has when it works live; `process` takes it out again, so that taps stay in time."""
        del rate_hz
        return 0

    def process(self, signal: Signal) -> StageResult:
        """The signal after this stage."""
        raise NotImplementedError


_KINDS: dict[str, type[Stage]] = {}


def stage_kinds() -> dict[str, type[Stage]]:
    """Every kind of stage that is defined, by the name that session files and exercise files use.

    Returns
    -------
    dict of str to type
        The classes, in the order of their names.

    Examples
    --------
    >>> stage_kinds()["StoredFile"].kind
    'Stored file'
    """
    return dict(sorted(_KINDS.items()))


def unit_of(name: str) -> str:
    """The unit that a name ends in; empty where it ends in none.

    >>> unit_of("release_ms"), unit_of("ratio")
    ('ms', '')
    """
    return _UNITS.get(name.rsplit("_", 1)[-1], "")


def settings_of(stage: Any) -> dict[str, Setting]:
    """The settings of a stage that a control may move, by name.

    Parameters
    ----------
    stage : Stage
        Any stage, or a send or a group, which describe their settings in the same way.

    Returns
    -------
    dict of str to Setting
        In the order of the stage's fields.

    Examples
    --------
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


def choices_of(stage: Any) -> dict[str, Choice]:
    """The settings of a stage that have a few named values, by name.

    Parameters
    ----------
    stage : Stage
        Any stage.

    Returns
    -------
    dict of str to Choice
        In the order of the stage's fields.

    Examples
    --------
    >>> from gainlib.stages import Compressor
    >>> choices_of(Compressor())["detector"].options
    ('peak', 'rms')
    """
    return {
        field.name: Choice(field.name, field.metadata["choice"], field.metadata["options"])
        for field in dataclasses.fields(stage)
        if "choice" in field.metadata
    }


def is_number(value: object) -> bool:
    """Whether it is one that floating point can hold, a whole one of 64 bits; a switch is none."""
    if isinstance(value, bool) or not isinstance(value, int | float | np.integer | np.floating):
        return False
    return isinstance(value, float | np.number) or abs(value) < 2**63


def shown(value: object) -> str:
    """A value as it was given, where that is short."""
    return repr(value) if is_number(value) or isinstance(value, bool) else describe_value(value)


def require_finite(stage: Stage, *names: str) -> None:
    """Refuse settings that are not finite numbers, by name."""
    for name in names:
        value = getattr(stage, name)
        if not is_number(value) or not math.isfinite(value):
            raise GainError(f"{name} of the {stage.kind.lower()} is {shown(value)}; it must be a finite number.")


def require_within(
    stage: Stage, name: str, low: float = -math.inf, high: float = math.inf, *, above: bool = False
) -> None:
    """Refuse a setting outside its range, by name; `above` leaves the lower end itself out.

    Infinite values pass only where the range reaches them.
    """
    value = getattr(stage, name)
    unit = unit_of(name)
    if is_number(value) and (low < value <= high or (value == low and not above)):
        return
    least, most = f"{low:g} {unit}".rstrip(), f"{high:g} {unit}".rstrip()
    wanted = f"above {least}" if above else f"{least} or above"
    if low == -math.inf:
        wanted = f"{most} or below"
    elif high != math.inf:
        wanted = f"above {low:g} and at most {most}" if above else f"from {low:g} to {most}"
    raise GainError(f"{name} of the {stage.kind.lower()} is {shown(value)}; it must be {wanted}.")


def require_gain(stage: Stage, *names: str) -> None:
    """Refuse gains and levels that are not finite, or so large that no sample would come out of them as a number."""
    require_finite(stage, *names)
    for name in names:
        require_within(stage, name, -MOST_DB, MOST_DB)


def require_seed(stage: Stage, name: str) -> None:
    """Refuse what nothing can be drawn from: it must be a whole number of 0 or more."""
    require_within(stage, name, 0)
    if not isinstance(getattr(stage, name), int | np.integer):
        raise GainError(f"{name} of the {stage.kind.lower()} is {shown(getattr(stage, name))}; give a whole number.")


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
                wanted = suggest(value, options)
            else:
                wanted = f"give {' or '.join(repr(each) for each in options)}."
            raise GainError(f"{field.name} of the {stage.kind.lower()} is {shown(value)}; {wanted}")


def frozen(samples: Floats) -> Floats:
    """The same array, read-only from now on."""
    samples.flags.writeable = False
    return samples


def amplified(signal: Signal, gain: float) -> Signal:
    """The signal times a gain, its noise floor with it."""
    samples = frozen(signal.samples * gain)
    return dataclasses.replace(signal, samples=samples, noise_power=signal.noise_power * gain * gain)


@functools.lru_cache(maxsize=3)
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
