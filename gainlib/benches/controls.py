"""What can be moved on a bench: a number in its range, a choice or a switch, the breakpoints of a ride."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from gainlib.decibels import ALIGNMENTS
from gainlib.errors import GainError
from gainlib.flow import FaderGroup, Send, Session
from gainlib.flow.channels import GROUP
from gainlib.stages import TAPER, Fader, Pan, Taper, choices_of, settings_of
from gainlib.stages.base import Stage, unit_of
from gainlib.storage.foreign import is_number
from gainlib.text import is_gain, plain, signed

__all__ = ["Breakpoints", "Control", "Pick", "Range", "control_of"]

_FEW: dict[str, tuple[str, tuple[Any, ...]]] = {
    "alignment": ("Alignment", tuple(ALIGNMENTS)),
    "inverted": ("Polarity inverted", (False, True)),
    "bits": ("Word length", (16, 24)),
}
"""Settings with a few usual values that do not say so themselves: the usual full scales, the converter's words."""

_RIDE_REACH_DB = 24.0
"""How far a ride is drawn, up and down (a choice of this course)."""


@dataclass(frozen=True)
class Control:
    """A control for one setting, by its path; what is not given comes from the setting itself.

    Parameters
    ----------
    path : str
        The setting, such as `preamp/gain_db`.
    low, high, step : float, optional
        The control's range and step, in the setting's own unit.
    label : str, optional
        What it is headed with.
    options : tuple, optional
        The values of a choice.
    unit : str, optional
        What the figure is written in, such as dBu for the gain of a desk whose output stands at 0 dBu without it.

    Examples
    --------
    >>> Control("preamp/gain_db", high=50.0).high
    50.0
    """

    path: str
    low: float | None = None
    high: float | None = None
    step: float | None = None
    label: str | None = None
    options: tuple[Any, ...] | None = None
    unit: str | None = None


@dataclass(frozen=True)
class Range:
    """A number as it stands on the bench: whose setting it moves, from where to where, and how it is written.

    A fader's slider has the fader's `taper`: equal travel on the page is equal travel in millimetres, not in decibels.
    A pan has `ends`, the words for what lies below 0 and above.
    """

    path: str
    tap: str
    label: str
    name: str
    unit: str
    low: float
    high: float
    step: float
    start: float
    taper: Taper | None = None
    ends: tuple[str, str] | None = None

    @property
    def digits(self) -> int:
        """Decimals that are shown: tenths of a decibel, else what the step needs."""
        return 1 if self.in_decibels or self.step % 1 else 0

    @property
    def in_decibels(self) -> bool:
        """Whether it is a level, or a change of one."""
        return self.unit in ("dB", "dBu", "dBV")

    @property
    def signed(self) -> bool:
        """Whether it is written with a plus as well: a gain, or a voltage in dBu or dBV."""
        return is_gain(self.path) if self.unit == "dB" else self.in_decibels

    def printed(self, value: float) -> str:
        """A value as the bench writes it."""
        if self.ends:
            size = f"{abs(value):.{self.digits}f}"
            return f"{self.ends[value > 0]} {size}" if float(size) else "middle"
        return signed(value, self.digits, self.unit, plus=self.signed)

    def held(self, value: Any) -> float:
        """The setting of a session as this control's value."""
        return float(value)

    def checked(self, value: object) -> float:
        """The value as a number within the range, or a GainError that says what is wrong with it."""
        if not is_number(value) or not math.isfinite(value):
            raise GainError(
                f"{self.path} is {value!r}; give a number from {self.printed(self.low)} to {self.printed(self.high)}."
            )
        if not self.low <= value <= self.high:
            raise GainError(
                f"{self.path} is {self.printed(value)}; this control goes from {self.printed(self.low)} "
                f"to {self.printed(self.high)}: give a value in between."
            )
        return float(value)


@dataclass(frozen=True)
class Pick:
    """One of a few values, or a switch: what it may be, and how that is written."""

    path: str
    tap: str
    label: str
    name: str
    unit: str
    options: tuple[Any, ...]
    start: Any

    @property
    def switch(self) -> bool:
        """Whether it is only on or off."""
        return self.options == (False, True)

    def printed(self, value: Any) -> str:
        """A value as the bench writes it."""
        if isinstance(value, bool):
            return "yes" if value else "no"  # a switch is headed by what it does: "Fader muted"
        if isinstance(value, int | float):
            return signed(value, 1 if self.unit == "dB" else 0, self.unit, plus=False)
        text = str(value)
        if self.path.endswith("/alignment") and text in ALIGNMENTS:
            dbu = signed(ALIGNMENTS[text].dbu_at_full_scale, 0, "dBu")
            return dbu if text.startswith("+") else f"{dbu}, {text}"
        return f"−{text[1:]}" if text.startswith("-") else text

    def held(self, value: Any) -> Any:
        """The setting of a session as this control's value: an alignment by its name."""
        return _plain(value)

    def checked(self, value: object) -> Any:
        """The option that is meant, or a GainError that names them all."""
        for each in self.options:
            if value == each and isinstance(value, bool) == isinstance(each, bool):
                return each
        raise GainError(f"{self.path} is {value!r}; give {' or '.join(repr(each) for each in self.options)}.")


@dataclass(frozen=True)
class Breakpoints:
    """A drawn ride: pairs of seconds and decibels in rising order of time, within the recording."""

    path: str
    tap: str
    label: str
    name: str
    unit: str
    low: float
    high: float
    seconds: float
    start: tuple[tuple[float, float], ...]

    def printed(self, value: Iterable[tuple[float, float]]) -> str:
        """The breakpoints as the bench writes them."""
        told = [f"{seconds:.2f} s {signed(gain_db, 1, 'dB', plus=True)}" for seconds, gain_db in value]
        return ", ".join(told) or "no breakpoints"

    def held(self, value: Any) -> tuple[tuple[float, float], ...]:
        """The setting of a session as this control's value."""
        return tuple((float(seconds), float(gain_db)) for seconds, gain_db in value)

    def checked(self, value: Any) -> tuple[tuple[float, float], ...]:
        """The breakpoints, or a GainError that names the one that cannot be."""
        try:
            points = self.held(value)
        except (TypeError, ValueError):
            raise GainError(f"{self.path} is {value!r}; give pairs of seconds and decibels.") from None
        last = -math.inf
        for seconds, gain_db in points:
            if not 0.0 <= seconds <= self.seconds:
                raise GainError(f"{self.path} has a point at {seconds:g} s; give 0 s to {self.seconds:.2f} s.")
            if not self.low <= gain_db <= self.high:
                raise GainError(
                    f"{self.path} has a point of {signed(gain_db, 1, 'dB', plus=True)}; "
                    f"this ride goes from {signed(self.low, 1, 'dB')} to {signed(self.high, 1, 'dB', plus=True)}."
                )
            if seconds <= last:
                raise GainError(f"{self.path} goes from {last:g} s to {seconds:g} s; times must rise.")
            last = seconds
        return points


def control_of(session: Session, given: str | Control) -> Range | Pick | Breakpoints:
    """How a setting is moved on a bench, with the range, step or options that the setting itself tells.

    Raises GainError for a setting that is not there, one that has no usual range, and a start out of its range.

    >>> import numpy as np
    >>> from gainlib import Audio, Fader, Session
    >>> session = Session.of(Audio(np.zeros(480), 48000), [Fader()])
    >>> control_of(session, "fader/muted").printed(True)
    'yes'
    """
    control = given if isinstance(given, Control) else Control(given)
    if not isinstance(control.path, str):
        raise GainError(f"{control.path!r} is not a control; give the path of a setting, such as 'preamp/gain_db'.")
    path = control.path
    start = _plain(session.setting(path))
    part, stage, name = session.held(path)
    stage_name = GROUP if isinstance(stage, FaderGroup) else stage.name
    number, choice = settings_of(stage).get(name), choices_of(stage).get(name)
    unitless = name.rsplit("_", 1)[0] if unit_of(name) else name  # the unit stands beside the figure
    usual_label, usual = _FEW.get(name, (unitless.replace("_", " ").capitalize(), None))
    told = number or choice
    if isinstance(stage, Send):  # named after where it goes
        usual_label = stage.name.capitalize() + (", before the fader" if name == "pre_fader" else "")
    elif isinstance(stage, Stage):
        usual_label = _called_after(stage, told.label if told else usual_label)
    elif told:
        usual_label = told.label
    label = control.label or usual_label
    spoken = label if stage_name.lower() in label.lower() else f"{stage_name} {label.lower()}"
    named_already = label.lower().startswith(f"{plain(part).lower()}, ")
    whose = "" if len(session.channels) == 1 or named_already else f"{plain(part)}, "
    named = f"{whose}{spoken[:1].lower()}{spoken[1:]}"
    place = (path, f"{part}/{stage_name}", label, named[:1].upper() + named[1:])

    options = control.options or (choice.options if choice else usual)
    if isinstance(start, bool):
        return Pick(*place, "", (False, True), start)
    if options:
        unit = "dB" if name.endswith("_db") else "bit" if name == "bits" else ""
        return Pick(*place, unit, tuple(options) if start in options else (start, *options), start)
    if isinstance(start, tuple) and name in ("points", "ride"):
        low = -_RIDE_REACH_DB if control.low is None else control.low
        high = _RIDE_REACH_DB if control.high is None else control.high
        longest = max(each.take.seconds for each in session.strips if part in (each.name, *_buses(session)))
        line = Breakpoints(*place, "dB", low, high, longest, ())
        return Breakpoints(*place, "dB", low, high, longest, line.checked(start))
    if not isinstance(start, int | float):
        raise GainError(f"{path} is {start!r}; a control moves numbers, choices and switches: take another setting.")

    low_, high_, step = (
        getattr(control, each) if getattr(control, each) is not None else getattr(number, each, None)
        for each in ("low", "high", "step")
    )
    if low_ is None or high_ is None or step is None:
        raise GainError(f"{path} has no usual range; give Control({path!r}, low=..., high=..., step=...).")
    if not (low_ < high_ and step > 0):
        raise GainError(
            f"the control of {path} has low {low_:g}, high {high_:g}, step {step:g}; give low < high, step > 0."
        )
    unit = control.unit or (number.unit if number else unit_of(name))
    taper = TAPER if isinstance(stage, Fader | FaderGroup) and name == "gain_db" else None
    ends = ("left", "right") if isinstance(stage, Pan) and name == "position" else None
    made = Range(*place, unit, float(low_), float(high_), float(step), float(start), taper, ends)
    made.checked(float(start))
    return made


def _called_after(stage: Stage, label: str) -> str:
    """What a control is headed with: a stage that has a name of its own gives it to its controls."""
    kind, name = plain(stage.kind).lower(), plain(stage.name)
    if name.lower() == kind:
        return label
    named = name[:1].upper() + name[1:]
    return named if label.lower() == kind else f"{named} {label.lower().removeprefix(f'{kind} ')}"


def _plain(value: Any) -> Any:
    """A setting as it is written: a published alignment by its name."""
    return getattr(value, "name", value)


def _buses(session: Session) -> tuple[str, ...]:
    return tuple(each.name for each in session.channels if each not in session.strips)
