"""A session as data: strips into buses into the main, and the settings that can be read and replaced by their path."""

from __future__ import annotations

import dataclasses
import math
import os
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

from gainlib.audio import Audio
from gainlib.errors import GainError, suggest
from gainlib.stages import Converter, Delivery, Fader, Signal, Stage, StageResult
from gainlib.stages.base import MOST_DB

if TYPE_CHECKING:
    from gainlib.flow.rendering import Rendering

__all__ = ["MAIN", "Bus", "Chain", "Send", "Session", "Strip", "Sum"]

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

    Its gain is moved under the path `strip/send to bus/gain_db`. Raises GainError for a gain that is not a number.

    >>> Send(to="hall", gain_db=-12.0).name
    'send to hall'
    """

    to: str
    gain_db: float = 0.0
    pre_fader: bool = False

    def __post_init__(self) -> None:
        gain: object = self.gain_db
        if isinstance(gain, bool) or not isinstance(gain, int | float) or math.isnan(gain) or gain == math.inf:
            raise GainError(f"gain_db of the {self.name} is {gain!r}; it must be a number, -inf for none.")
        if gain > MOST_DB:
            raise GainError(f"gain_db of the {self.name} is {gain!r}; it must be {MOST_DB:g} dB or below.")
        if not isinstance(self.pre_fader, bool):
            raise GainError(f"pre_fader of the {self.name} is {self.pre_fader!r}; give True or False.")

    @property
    def name(self) -> str:
        """How the send is found in a path."""
        return f"send to {self.to}"


class Chain:
    """What strips and buses share: stages in a row, found by name."""

    name: str
    stages: tuple[Stage, ...]
    to: str
    sends: tuple[Send, ...]

    @property
    def chain(self) -> tuple[Stage, ...]:
        """The stages that have a tap, in order."""
        return self.stages

    @property
    def stage_names(self) -> tuple[str, ...]:
        """The stages' names in order."""
        return tuple(each.name for each in self.chain)

    def stage(self, name: str) -> Stage:
        """The stage of that name; GainError with the nearest name where there is none."""
        for each in self.chain:
            if each.name == name:
                return each
        raise GainError(f"{self._what} has no stage {name!r}; {suggest(name, self.stage_names)}")

    def full_scale_after(self, index: int) -> float:
        """The amplitude behind stage `index` that is 0 dBFS: 1.0, or the volts that fill the next converter."""
        if self.chain[index].output_domain == "digital":
            return 1.0
        following = next(each for each in self.chain[index + 1 :] if isinstance(each, Converter))
        return following.full_scale_volts

    @property
    def _what(self) -> str:
        return f"{type(self).__name__.lower()} {self.name!r}"

    def _check(self) -> None:
        if not isinstance(self.name, str) or not self.name or "/" in self.name:
            raise GainError(f"{self._what} needs a name without a slash; paths are cut there.")
        twice = [name for name, count in Counter(self.stage_names).items() if count > 1]
        if twice:
            raise GainError(f"{self._what} has two stages named {twice[0]!r}; give one of them another name.")
        domain = "digital"
        for index, each in enumerate(self.chain):
            if each.input_domain != domain:
                where = "the converter's digital" if domain == "digital" else "the analogue"
                raise GainError(
                    f"{self._what} puts the {each.kind.lower()} on {where} side; it takes {each.input_domain} signal."
                )
            domain = each.output_domain
            if isinstance(each, Delivery) and index + 1 < len(self.chain):
                raise GainError(
                    f"{self._what} puts the {self.chain[index + 1].name} behind the delivery; "
                    "what is delivered is not changed any more, put the delivery last."
                )
        if domain != "digital":
            raise GainError(f"{self._what} ends before a converter; put a Converter after its analogue stages.")
        sends = [name for name, count in Counter(each.to for each in self.sends).items() if count > 1]
        if sends:
            raise GainError(f"{self._what} has two sends to {sends[0]!r}; leave one.")
        if any(each.pre_fader for each in self.sends) and not any(isinstance(each, Fader) for each in self.chain):
            raise GainError(f"{self._what} sends before its fader, but has no fader; add a Fader or send at the end.")


@dataclass(frozen=True)
class Strip(Chain):
    """One recording and the stages that it passes, in order; then to the bus `to`, with copies along its `sends`.

    `stem` is the recording's path as a session file has it. Raises GainError when there is no stage, when two stages
    have one name, or when an order cannot be (a preamp behind the converter, a source with no converter after it, a
    stage behind the delivery).

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
    stem: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "stages", tuple(self.stages))
        object.__setattr__(self, "sends", tuple(self.sends))
        if not self.stages:
            raise GainError(f"strip {self.name!r} has no stages; give at least one, such as Trim().")
        self._check()


@dataclass(frozen=True)
class Bus(Chain):
    """Where strips and other buses are summed, and the stages that the sum passes; its first tap is named "sum".

    Mono signals into a stereo bus go to both sides. Signals of different length are summed to the longest. Raises
    GainError as a strip does; a bus may have no stages of its own.

    >>> from gainlib.stages import Trim
    >>> Bus("band", (Trim(),)).stage_names
    ('sum', 'trim')
    """

    name: str
    stages: tuple[Stage, ...] = ()
    to: str = MAIN
    sends: tuple[Send, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "stages", tuple(self.stages))
        object.__setattr__(self, "sends", tuple(self.sends))
        self._check()

    @property
    def chain(self) -> tuple[Stage, ...]:
        """The sum and the stages behind it."""
        return (Sum(), *self.stages)


@dataclass(frozen=True)
class Session:
    """Strips into buses into the main, rendered together; every setting has a path such as `voice/preamp/gain_db`.

    Without buses and without a main the strips stand side by side, each to its own end. With one strip the strip's
    name may be left out of a path. Raises GainError, one sentence a fault, when there is no strip, when two parts have
    one name, when a route leads nowhere or in a loop, or when strips that are summed differ in rate.

    >>> import numpy as np
    >>> from gainlib.stages import Trim
    >>> session = Session.of(Audio(np.ones(480), 48000), [Trim()])
    >>> session.replaced({"trim/gain_db": -6.0}).setting("trim/gain_db")
    -6.0
    """

    strips: tuple[Strip, ...]
    buses: tuple[Bus, ...] = ()
    main: Bus | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "strips", tuple(self.strips))
        object.__setattr__(self, "buses", tuple(self.buses))
        if self.buses and self.main is None:
            object.__setattr__(self, "main", Bus(MAIN))
        _require_kind("strips", self.strips, Strip)
        _require_kind("buses", self.buses, Bus)
        _require_kind("main", () if self.main is None else (self.main,), Bus)
        faults = self._faults()
        if faults:
            raise GainError("\n".join(faults))

    @classmethod
    def of(cls, take: Audio, stages: Iterable[Stage], *, name: str = "") -> Session:
        """A session of one strip: one recording through these stages."""
        return cls((Strip(name or take.name or "take", take, tuple(stages)),))

    @classmethod
    def load(cls, path: str | os.PathLike[str]) -> Session:
        """A session from its TOML file, stems read from beside it; GainError with one sentence for each fault.

        >>> import tempfile, numpy as np
        >>> from gainlib.stages import Trim
        >>> folder = tempfile.mkdtemp()
        >>> made = Session.of(Audio(np.zeros(480), 48000), [Trim(-3.0)], name="voice")
        >>> Session.load(made.save(f"{folder}/session.toml")).setting("voice/trim/gain_db")
        -3.0
        """
        from gainlib.flow.session_table import loaded

        return loaded(path)

    def save(self, path: str | os.PathLike[str], *, overwrite: bool = False) -> Path:
        """The session as a TOML file; a strip that has no stem file yet gets one beside it, bit for bit.

        Gives the path back. Raises GainError for a file that is there already unless `overwrite` is set.
        """
        from gainlib.flow.session_table import saved

        return saved(self, path, overwrite=overwrite)

    @property
    def chains(self) -> tuple[Strip | Bus, ...]:
        """The strips, the buses in an order in which each comes after what feeds it, and the main."""
        return (*self.strips, *_in_order(self.buses), *([self.main] if self.main else []))

    def strip(self, name: str) -> Strip:
        """The strip of that name; GainError with the nearest name where there is none."""
        for each in self.strips:
            if each.name == name:
                return each
        raise GainError(f"the session has no strip {name!r}; {suggest(name, [each.name for each in self.strips])}")

    def part(self, name: str) -> Strip | Bus:
        """The strip or bus of that name, or the main; GainError with the nearest name where there is none."""
        for each in self.chains:
            if each.name == name:
                return each
        if self.main is None:
            return self.strip(name)
        known = [each.name for each in (*self.strips, *self.buses)]
        raise GainError(f"the session has no strip or bus {name!r}; {suggest(name, [*known, MAIN])}")

    def tap(self, path: str) -> tuple[str, str]:
        """Strip (or bus) and stage of a tap such as `voice/preamp`, or `preamp` where there is one strip."""
        parts = self._parts(path)
        if len(parts) != 2:
            raise GainError(f"{path!r} is not a tap; write strip/stage, for example {self._example()}.")
        part, stage = parts
        self.part(part).stage(stage)
        return part, stage

    def setting(self, path: str) -> Any:
        """The value of a setting, by its path."""
        part, owner, name = self._found(path)
        return getattr(_owner(self.part(part), owner), name)

    def replaced(self, values: Mapping[str, Any]) -> Session:
        """The same session with some settings changed, given by their paths; nothing else is touched."""
        changed: dict[str, Strip | Bus] = {}
        for path, value in values.items():
            part, owner, name = self._found(path)
            held = changed.get(part) or self.part(part)
            change = {name: value}
            stages = tuple(dataclasses.replace(each, **change) if each.name == owner else each for each in held.stages)
            sends = tuple(dataclasses.replace(each, **change) if each.name == owner else each for each in held.sends)
            changed[part] = dataclasses.replace(held, stages=stages, sends=sends)
        return self._with(changed)

    def with_take(self, take: Audio, *, strip: str | None = None) -> Session:
        """The same session with another recording on a strip (the only one, unless named)."""
        name = self.strips[0].name if strip is None and len(self.strips) == 1 else strip or ""
        return self._with({name: dataclasses.replace(self.strip(name), take=take, stem="")})

    def render(self, after: Rendering | None = None) -> Rendering:
        """Every stage's output; stages that did not change since the rendering `after` are taken over from it."""
        from gainlib.flow.rendering import rendered

        return rendered(self, after)

    def _with(self, changed: Mapping[str, Any]) -> Session:
        return Session(
            tuple(changed.get(each.name, each) for each in self.strips),
            tuple(changed.get(each.name, each) for each in self.buses),
            changed.get(MAIN, self.main) if self.main else None,
        )

    def _parts(self, path: str) -> list[str]:
        parts = path.split("/")
        if len(parts) == 1 and len(self.strips) == 1:
            parts = [self.strips[0].name, *parts]
        return parts

    def _found(self, path: str) -> tuple[str, str, str]:
        place, _, name = path.rpartition("/")
        parts = self._parts(place) if place else []
        if len(parts) != 2:
            part, owner = self.tap(place or path)
        else:
            part, owner = parts
        fields = [field.name for field in dataclasses.fields(_owner(self.part(part), owner)) if field.name != "name"]
        if name not in fields:
            raise GainError(f"{part}/{owner} has no setting {name!r}; {suggest(name, fields)}")
        return part, owner, name

    def _example(self) -> str:
        first = self.strips[0]
        return f"{first.name}/{first.stage_names[0]}"

    def _faults(self) -> list[str]:
        """Everything that keeps this session from being rendered, one sentence each."""
        if not self.strips:
            return ["the session has no strips; give at least one."]
        faults = []
        strips = [each.name for each in self.strips]
        faults += [
            f"the session has two strips named {name!r}; give one of them another name."
            for name, count in Counter(strips).items()
            if count > 1
        ]
        buses = [each.name for each in self.buses]
        faults += [
            f"the name {name!r} is taken twice by strips and buses; give one of them another name."
            for name, count in Counter([*set(strips), *buses]).items()
            if count > 1
        ]
        if self.main is None:
            routed = [each.name for each in self.strips if each.sends or each.to != MAIN]
            return [
                *faults,
                *(f"strip {name!r} goes to a bus, but there is none; add buses or a main." for name in routed),
            ]
        if self.main.name != MAIN:
            faults.append(f"the main is named {self.main.name!r}; it must be named {MAIN!r}.")
        if self.main.sends:
            faults.append("the main has sends; it is the end of all routes, take them away.")
        if MAIN in strips or MAIN in buses:
            faults.append(f"a strip or bus is named {MAIN!r}; that name is kept for the main.")
        parts: tuple[Strip | Bus, ...] = (*self.strips, *self.buses)
        for each in parts:
            what = f"{type(each).__name__.lower()} {each.name!r}"
            for target in _targets(each):
                if target not in (MAIN, *buses):
                    faults.append(f"{what} goes to {target!r}, which is no bus; {suggest(target, [MAIN, *buses])}")
            if any(isinstance(stage, Delivery) for stage in each.stages):
                faults.append(f"{what} has a delivery, but goes on to a bus; put the delivery last on the main.")
        if faults:
            return faults
        loop = _loop(self.buses)
        if loop:
            return [f"the buses feed each other in a loop: {' to '.join(loop)}; take one of these routes away."]
        goals = {target for each in parts for target in _targets(each)}
        faults += [
            f"nothing goes to {each.name!r}; give a strip to={each.name!r} or a send, or take the bus away."
            for each in (*self.buses, self.main)
            if each.name not in goals
        ]
        first = self.strips[0]
        faults += [
            f"strip {each.name!r} has {each.take.rate_hz} Hz and strip {first.name!r} {first.take.rate_hz} Hz; "
            "convert one of them, signals are summed at one rate."
            for each in self.strips[1:]
            if each.take.rate_hz != first.take.rate_hz
        ]
        return faults


def _owner(part: Strip | Bus, name: str) -> Stage | Send:
    for each in part.sends:
        if each.name == name:
            return each
    return part.stage(name)


def _targets(part: Strip | Bus) -> tuple[str, ...]:
    return (part.to, *(send.to for send in part.sends))


def _loop(buses: Iterable[Bus]) -> list[str]:
    """The names along a loop, the first again at the end; nothing where there is none."""
    targets = {each.name: _targets(each) for each in buses}

    def onward(path: list[str]) -> list[str]:
        for target in targets.get(path[-1], ()):
            if target in path:
                return [*path[path.index(target) :], target]
            found = onward([*path, target])
            if found:
                return found
        return []

    for name in targets:
        found = onward([name])
        if found:
            return found
    return []


def _in_order(buses: tuple[Bus, ...]) -> list[Bus]:
    """The buses, each after all that feed it."""
    left, ordered = list(buses), []
    while left:
        ready = next(each for each in left if not any(each.name in _targets(other) for other in left))
        left.remove(ready)
        ordered.append(ready)
    return ordered


def _require_kind(name: str, given: tuple[object, ...], wanted: type[Chain]) -> None:
    for each in given:
        if not isinstance(each, wanted):
            example = f"{wanted.__name__}({name!r}, stages)" if wanted is Bus else "Strip(name, take, stages)"
            raise GainError(f"{name} holds a {type(each).__name__}; give a {wanted.__name__}, such as {example}.")
