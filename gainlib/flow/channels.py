"""Strips, buses and sends as data: stages in a row, found by name, and where their signal goes."""

from __future__ import annotations

import dataclasses
import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, ClassVar

from gainlib.audio import Audio
from gainlib.decibels import ratio_from_db
from gainlib.errors import GainError, suggest
from gainlib.stages import Converter, Delivery, Fader, Signal, Stage, StageResult
from gainlib.stages.base import MOST_DB, amplified, is_number, setting, shown

__all__ = ["GROUP", "MAIN", "NOWHERE", "Bus", "Channel", "FaderGroup", "Send", "Strip", "Sum", "driven_by"]

MAIN = "main"
NOWHERE = ""
"""Where a bus goes that ends by itself, such as a cue mix: nobody sums it."""
"""The name of the last bus, where a strip goes unless it says otherwise."""

GROUP = "group"
"""The name under which a group's gain is found: `drums/group/gain_db`."""


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
    gain_db: float = setting(0.0, label="Send", low=-60.0, high=10.0, step=0.5)
    pre_fader: bool = False

    def __post_init__(self) -> None:
        _require_send_gain(self.gain_db, self.name)
        if not isinstance(self.pre_fader, bool):
            raise GainError(f"pre_fader of the {self.name} is {shown(self.pre_fader)}; give True or False.")

    @property
    def name(self) -> str:
        """How the send is found in a path."""
        return f"send to {self.to}"


@dataclass(frozen=True)
class FaderGroup:
    """A fader that no signal passes: its decibels are added to the fader of each member (in the trade a VCA group).

    The members' sends behind their faders move with it, those before them do not; the members' own faders stay where
    they stand. Its gain is moved under the path `name/group/gain_db`.

    Parameters
    ----------
    name : str
        Another name than those of strips and buses.
    members : tuple of str
        The strips or buses whose faders it moves; each has exactly one fader.
    gain_db : float, optional
        At most 200 dB; -inf for silence.

    Raises
    ------
    GainError
        For no members, one that is named twice, and a gain that is not a number or too large.

    References
    ----------
    *Derived*: decibels add. That consoles add one control voltage to another is *common practice*.

    Examples
    --------
    >>> FaderGroup("drums", ("kick", "snare"), -3.0).gain_db
    -3.0
    """

    name: str
    members: tuple[str, ...]
    gain_db: float = setting(0.0, label="Group fader", low=-60.0, high=10.0, step=0.5)

    def __post_init__(self) -> None:
        object.__setattr__(self, "members", tuple(self.members))
        if not isinstance(self.name, str) or not self.name or "/" in self.name:
            raise GainError(f"group {self.name!r} needs a name without a slash; paths are cut there.")
        if not self.members or len(set(self.members)) < len(self.members):
            raise GainError(f"group {self.name!r} has the members {self.members!r}; name one or more, each once.")
        _require_send_gain(self.gain_db, f"group {self.name!r}")


def _require_send_gain(gain: Any, whose: str) -> None:
    if not is_number(gain) or math.isnan(gain) or gain == math.inf:
        raise GainError(f"gain_db of the {whose} is {shown(gain)}; it must be a number, -inf for none.")
    if gain > MOST_DB:
        raise GainError(f"gain_db of the {whose} is {gain!r}; it must be {MOST_DB:g} dB or below.")


@dataclass(frozen=True)
class _DrivenFader(Fader, listed=False):
    """A fader with what its groups add, which may lie above the top of its own travel."""

    kind: ClassVar[str] = "Fader"

    group_db: float = 0.0

    def process(self, signal: Signal) -> StageResult:
        """The signal at the fader's level, moved by its groups."""
        return StageResult(amplified(super().process(signal).signal, ratio_from_db(self.group_db)))


def driven_by(groups: Iterable[FaderGroup], channels: Iterable[Strip | Bus]) -> tuple[Strip | Bus, ...]:
    """The channels as they are rendered, each fader moved by the groups that it belongs to."""
    added: dict[str, float] = {}
    for group in groups:
        for member in group.members:
            added[member] = added.get(member, 0.0) + group.gain_db
    return tuple(_driven(each, added[each.name]) if added.get(each.name) else each for each in channels)


def _driven(channel: Strip | Bus, group_db: float) -> Strip | Bus:
    stages = tuple(
        _DrivenFader(each.gain_db, each.muted, each.ride, group_db, name=each.name) if isinstance(each, Fader) else each
        for each in channel.stages
    )
    return dataclasses.replace(channel, stages=stages)


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
        The bus that it goes to, the main unless said; "" where it ends by itself, as a cue mix does.
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
