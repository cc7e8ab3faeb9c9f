"""Strips, buses and sends as data: stages in a row, found by name, and where their signal goes."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import Any, ClassVar

from gainlib.audio import Audio
from gainlib.errors import GainError, suggest
from gainlib.stages import Converter, Delivery, Fader, Signal, Stage, StageResult
from gainlib.stages.base import MOST_DB, is_number, shown

__all__ = ["MAIN", "Bus", "Channel", "Send", "Strip", "Sum"]

MAIN = "main"
"""The name of the last bus, where a strip goes unless it says otherwise."""


@dataclass(frozen=True)
class Sum(Stage, listed=False):
    """Where the signals of a bus meet: each sample the sum of all, in double precision, which cannot clip.

    Signals without relation add to 10 log10 N, the same signal to 20 log10 N. It has no settings.
    *Derived*: powers of unrelated signals add, amplitudes of equal ones.

    >>> Sum().name
    'sum'
    """

    cache_output: ClassVar[bool] = True

    def process(self, signal: Signal) -> StageResult:
        """The signal as it is: the rendering has summed it already."""
        return StageResult(signal)


@dataclass(frozen=True)
class Send:
    """A copy of a strip's or a bus's signal to another bus, taken before the fader or at the end.

    Its gain is moved under the path `strip/send to bus/gain_db`.

    Parameters
    ----------
    to : str
        The bus that it goes to.
    gain_db : float, optional
        At most 200 dB; -inf for none.
    pre_fader : bool, optional
        Whether it is taken before the fader, where the fader's moves do not reach it.

    Raises
    ------
    GainError
        For a gain that is not a number or too large.

    Examples
    --------
    >>> Send(to="hall", gain_db=-12.0).name
    'send to hall'
    """

    to: str
    gain_db: float = 0.0
    pre_fader: bool = False

    def __post_init__(self) -> None:
        gain: Any = self.gain_db
        if not is_number(gain) or math.isnan(gain) or gain == math.inf:
            raise GainError(f"gain_db of the {self.name} is {shown(gain)}; it must be a number, -inf for none.")
        if gain > MOST_DB:
            raise GainError(f"gain_db of the {self.name} is {gain!r}; it must be {MOST_DB:g} dB or below.")
        if not isinstance(self.pre_fader, bool):
            raise GainError(f"pre_fader of the {self.name} is {shown(self.pre_fader)}; give True or False.")

    @property
    def name(self) -> str:
        """How the send is found in a path."""
        return f"send to {self.to}"


class Channel:
    """What strips and buses share: stages in a row, found by name."""

    name: str
    stages: tuple[Stage, ...]
    to: str
    sends: tuple[Send, ...]

    @property
    def tapped_stages(self) -> tuple[Stage, ...]:
        """The stages that have a tap, in order."""
        return self.stages

    @property
    def stage_names(self) -> tuple[str, ...]:
        """The stages' names in order."""
        return tuple(each.name for each in self.tapped_stages)

    def stage(self, name: str) -> Stage:
        """The stage of that name; GainError with the nearest name where there is none."""
        for each in self.tapped_stages:
            if each.name == name:
                return each
        raise GainError(f"{self._what} has no stage {name!r}; {suggest(name, self.stage_names)}")

    def full_scale_after(self, index: int) -> float:
        """The amplitude behind stage `index` that is 0 dBFS: 1.0, or the volts that fill the next converter."""
        if self.tapped_stages[index].output_domain == "digital":
            return 1.0
        following = next(each for each in self.tapped_stages[index + 1 :] if isinstance(each, Converter))
        return following.full_scale_volts

    @property
    def _what(self) -> str:
        return f"{type(self).__name__.lower()} {self.name!r}"

    def __post_init__(self) -> None:
        object.__setattr__(self, "stages", tuple(self.stages))
        object.__setattr__(self, "sends", tuple(self.sends))
        if not self.tapped_stages:
            raise GainError(f"{self._what} has no stages; give at least one, such as Trim().")
        if not isinstance(self.name, str) or not self.name or "/" in self.name:
            raise GainError(f"{self._what} needs a name without a slash; paths are cut there.")
        twice = [name for name, count in Counter(self.stage_names).items() if count > 1]
        if twice:
            raise GainError(f"{self._what} has two stages named {twice[0]!r}; give one of them another name.")
        domain = "digital"
        for index, each in enumerate(self.tapped_stages):
            if each.input_domain != domain:
                where = "the converter's digital" if domain == "digital" else "the analogue"
                raise GainError(
                    f"{self._what} puts the {each.kind.lower()} on {where} side; it takes {each.input_domain} signal."
                )
            domain = each.output_domain
            if isinstance(each, Delivery) and index + 1 < len(self.tapped_stages):
                raise GainError(
                    f"{self._what} puts the {self.tapped_stages[index + 1].name} behind the delivery; "
                    "what is delivered is not changed any more, put the delivery last."
                )
        if domain != "digital":
            raise GainError(f"{self._what} ends before a converter; put a Converter after its analogue stages.")
        sends = [name for name, count in Counter(each.to for each in self.sends).items() if count > 1]
        if sends:
            raise GainError(f"{self._what} has two sends to {sends[0]!r}; leave one.")
        if any(each.pre_fader for each in self.sends) and not any(
            isinstance(each, Fader) for each in self.tapped_stages
        ):
            raise GainError(f"{self._what} sends before its fader, but has no fader; add a Fader or send at the end.")


@dataclass(frozen=True)
class Strip(Channel):
    """One recording and the stages that it passes, in order; then to the bus `to`, with copies along its `sends`.

    Parameters
    ----------
    name : str
        How paths and taps call it; without a slash.
    take : Audio
        The recording.
    stages : tuple of Stage
        At least one.
    to : str, optional
        The bus that it goes to, the main unless said.
    sends : tuple of Send, optional
        Copies to other buses.

    Raises
    ------
    GainError
        When there is no stage, when two stages have one name, or when an order cannot be (a preamp behind the
        converter, a source with no converter after it, a stage behind the delivery).

    Examples
    --------
    >>> import numpy as np
    >>> from gainlib.stages import Trim
    >>> Strip("voice", Audio(np.zeros(480), 48000), (Trim(),)).stage("trim").kind
    'Trim'
    """

    name: str
    take: Audio
    stages: tuple[Stage, ...]
    to: str = MAIN
    sends: tuple[Send, ...] = ()


@dataclass(frozen=True)
class Bus(Channel):
    """Where strips and other buses are summed, and the stages that the sum passes; its first tap is named "sum".

    Mono signals into a stereo bus go to both sides. Signals of different length are summed to the longest.

    Parameters
    ----------
    name : str
        How paths and taps call it; "main" for the last one.
    stages : tuple of Stage, optional
        What the sum passes; there may be none.
    to : str, optional
        The bus that it goes to, the main unless said.
    sends : tuple of Send, optional
        Copies to other buses.

    Raises
    ------
    GainError
        As a strip does, for names, orders and sends that cannot be.

    Examples
    --------
    >>> from gainlib.stages import Trim
    >>> Bus("band", (Trim(),)).stage_names
    ('sum', 'trim')
    """

    name: str
    stages: tuple[Stage, ...] = ()
    to: str = MAIN
    sends: tuple[Send, ...] = ()

    @property
    def tapped_stages(self) -> tuple[Stage, ...]:
        """The sum and the stages behind it."""
        return (Sum(), *self.stages)
